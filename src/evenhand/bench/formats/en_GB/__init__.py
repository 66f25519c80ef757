"""English of the United Kingdom."""
