"""How the tables came to be, step by step; run when a store is opened."""
