"""Blind three-digit codes that say nothing and are hard to mix up.

The rule, all of it common practice, no source for the details:

- from 100 to 999, so no code starts with 0;
- three different digits (no 111, 343), and no even steps (no 123, 321, 135, 975), which look like a rank or a series;
- not of the digits 0, 1, 6, 8, 9 alone (no 619, 806), as these can be read upside down;
- on one table two codes differ in at least two places and are not each other's digits in another order (not 427 beside
  428 or 472), so that one slip of the pen never gives another cup's code.
"""

from collections.abc import Iterable

import numpy as np

from evenhand.errors import DesignError
from evenhand.words import say

MOST_CODES = 40  # on one table; random search finds 55 or more, so this is always met when nothing is to be avoided
_ORDERS_TO_TRY = 200


def is_blind_code(code: int) -> bool:
    """Whether a number may be a blind code by itself.

    Parameters
    ----------
    code
        The number.

    Returns
    -------
    bool
        False outside 100 to 999, for repeated digits, for even steps, and for what reads upside down.
    """
    if not 100 <= code <= 999:
        return False
    first, second, third = (int(digit) for digit in str(code))
    if len({first, second, third}) < 3 or second - first == third - second:
        return False
    return not {first, second, third} <= {0, 1, 6, 8, 9}


def are_alike(code: int, other: int) -> bool:
    """Whether two codes are too easily mixed up to stand on one table.

    Parameters
    ----------
    code, other
        Two three-digit codes.

    Returns
    -------
    bool
        True if they differ in fewer than two places or hold the same digits.
    """
    here, there = str(code), str(other)
    places = sum(a != b for a, b in zip(here, there, strict=True))
    return places < 2 or sorted(here) == sorted(there)


def blind_codes(n: int, rng: np.random.Generator, avoid: Iterable[int] = ()) -> tuple[int, ...]:
    """Draw blind codes for one table.

    Parameters
    ----------
    n
        Number of codes, 1 to ``MOST_CODES``.
    rng
        Source of randomness.
    avoid
        Codes not to be drawn, such as those of the last tables, which tasters may remember. Codes that merely look like
        them may be drawn.

    Returns
    -------
    tuple of int
        Codes in random order, no two alike.

    Raises
    ------
    DesignError
        If so many codes cannot be had.
    """
    if not 1 <= n <= MOST_CODES:
        raise DesignError(
            say("A table takes 1 to {most} blind codes, not {n}; split it into several tables.", most=MOST_CODES, n=n)
        )
    avoided = set(avoid)
    pool = [code for code in range(100, 1000) if is_blind_code(code) and code not in avoided]
    for _ in range(_ORDERS_TO_TRY):
        drawn: list[int] = []
        for code in rng.permutation(pool).tolist():
            if not any(are_alike(code, other) for other in drawn):
                drawn.append(code)
                if len(drawn) == n:
                    return tuple(drawn)
    raise DesignError(
        say(
            "No {n} codes that are unlike each other are left after leaving out {avoided}; avoid fewer old codes.",
            n=n,
            avoided=len(avoided),
        )
    )
