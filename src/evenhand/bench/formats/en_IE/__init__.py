"""English of Ireland."""
