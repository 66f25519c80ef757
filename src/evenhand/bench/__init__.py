"""The bench: the pages that people use, on a tablet beside the machine and on tasters' phones."""
