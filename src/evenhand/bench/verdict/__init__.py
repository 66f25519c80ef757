"""Verdict: one batch, what was the shot and what was the roast, and the signature."""
