"""Coffee: the season of one coffee at a glance, its batches and its green lots."""
