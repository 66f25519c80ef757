"""The first run: the demo, or a set-up of five questions."""
