"""Commands of Django that the bench changes."""
