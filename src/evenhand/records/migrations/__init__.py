"""The tables of the records, step by step."""
