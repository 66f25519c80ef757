"""Today: what waits to be tasted and why, verdicts that wait for a signature, what the season needs."""
