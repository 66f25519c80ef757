"""People: who they are, how they log in, and what each role may do."""
