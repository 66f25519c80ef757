"""Table: plan it, print its labels, open it, watch the sheets arrive, close it."""
