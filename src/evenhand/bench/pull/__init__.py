"""Pull: the stopwatch, what was dosed and what came out, whether to judge it, and the next grind step."""
