"""Lets `python -m evenhand` do what the command `evenhand` does."""

from evenhand.cli import main

if __name__ == "__main__":
    main()
