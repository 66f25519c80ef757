"""Writes a value as canonical JSON: equal values give equal bytes, so that a digest of them means something.

The form is that of RFC 8785 (JSON Canonicalization Scheme): no spaces, keys sorted by UTF-16 code units, numbers as
ECMAScript writes them, text as UTF-8 with the fewest escapes.
"""

import hashlib
import json
import math
from collections.abc import Mapping
from typing import Any

from evenhand.records._refusals import RecordError
from evenhand.words import say

LARGEST_WHOLE = 2**53
"""Whole numbers beyond this one are not told apart by every reader of JSON (RFC 8785, section 3.2.2.3)."""


def canonical(value: Any) -> bytes:
    """Return the canonical JSON of a value made of mappings, lists, tuples, text, numbers, truth values and None.

    Raises
    ------
    RecordError
        When a number is not finite or too large to be exact, a text holds half a surrogate pair, or a value is of
        another type.

    References
    ----------
    A. Rundgren, B. Jordan, S. Erdtman (2020). JSON Canonicalization Scheme (JCS). RFC 8785.
    """
    try:
        return _written(value).encode("utf-8")
    except UnicodeEncodeError as error:
        sentence = say("A text holds half of a two-part character (a lone surrogate); write it anew.")
        raise RecordError(sentence) from error


def digest(value: Any) -> str:
    """Return the SHA-256 of a value's canonical JSON, as 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value)).hexdigest()


def number(value: float) -> str:
    """Return a finite number in the shortest form that reads back as the same double, as ECMAScript writes it.

    Raises
    ------
    RecordError
        When the number is not finite.
    """
    if not math.isfinite(value):
        raise RecordError(
            say("{value} is not a finite number; leave it out where nothing was measured.", value=str(value))
        )
    if value == 0:
        return "0"
    sign = "-" if value < 0 else ""
    mantissa, _, exponent_text = f"{abs(value)!r}".partition("e")
    whole, _, fraction = mantissa.partition(".")
    digits = (whole + ("" if fraction == "0" else fraction)).lstrip("0")
    leading = len(whole + fraction) - len((whole + fraction).lstrip("0"))
    point = len(whole) - leading + int(exponent_text or 0)  # digits before the decimal point
    digits = digits.rstrip("0")
    count = len(digits)
    if count <= point <= 21:
        return sign + digits + "0" * (point - count)
    if 0 < point <= 21:
        return f"{sign}{digits[:point]}.{digits[point:]}"
    if -6 < point <= 0:
        return f"{sign}0.{'0' * -point}{digits}"
    power = f"e{'+' if point > 0 else '-'}{abs(point - 1)}"
    return sign + digits[0] + (f".{digits[1:]}" if count > 1 else "") + power


def _written(value: Any) -> str:
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int):
        if abs(value) > LARGEST_WHOLE:
            raise RecordError(say("{value} is too large a whole number to be kept exactly.", value=value))
        return str(value)
    if isinstance(value, float):
        return number(value)
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise RecordError(say("Every key of a record is a text."))
        keys = sorted(value, key=lambda key: key.encode("utf-16-be", "surrogatepass"))
        return "{" + ",".join(f"{json.dumps(key, ensure_ascii=False)}:{_written(value[key])}" for key in keys) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(_written(item) for item in value) + "]"
    raise RecordError(say("A {sort} cannot be written as canonical JSON.", sort=type(value).__name__))
