"""Times by the 24-hour clock, as CLDR gives them for the English of Ireland (from memory)."""

TIME_FORMAT = "H:i"
DATETIME_FORMAT = "j N Y, H:i"
SHORT_DATETIME_FORMAT = "d/m/Y H:i"
