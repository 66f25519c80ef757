"""The command `evenhand`: thin shells around calls that Python has under the same names."""

from evenhand.cli.app import app, main

__all__ = ["app", "main"]
