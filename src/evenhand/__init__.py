"""Evenhand judges the roast, not the shot."""

__version__ = "0.1.0"
