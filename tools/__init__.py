"""Tools for people who change the code; none of this is shipped."""
