"""What a judgement looks like: JSON for programs, a terminal, a page to read, and paper to sign."""
