"""How the tables of the bench came to be."""
