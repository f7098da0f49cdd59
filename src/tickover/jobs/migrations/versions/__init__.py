"""One file a revision of the tables."""
