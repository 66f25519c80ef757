"""How dates and times are written where Django writes them otherwise than CLDR does."""
