"""Holds a record's fields to the limits that the folder's rows state, with the same sentence for the same slip."""

import functools
import math
import re
from typing import Any, get_args, get_type_hints

from annotated_types import Ge, Gt, Le, Lt
from django.db import models

from evenhand.records._cells import LARGEST_NUMBER, SMALLEST_NUMBER
from evenhand.records._problems import quoted
from evenhand.records._refusals import FieldError
from evenhand.records.rows import Allowed
from evenhand.words import Words, join, say

Bound = Gt | Ge | Lt | Le


@functools.cache
def limits_of(row: type) -> dict[str, tuple[tuple[Bound, ...], Words | None]]:
    """Return the bounds of each column of a row type, and what is allowed in words."""
    found = {}
    for name, hint in get_type_hints(row, include_extras=True).items():
        marks = get_args(hint)[1:]
        bounds = tuple(mark for mark in marks if isinstance(mark, Gt | Ge | Lt | Le))
        words = next((mark.text for mark in marks if isinstance(mark, Allowed)), None)
        if bounds:
            found[name] = (bounds, words)
    return found


def check_number(field: "models.Field[Any, Any]", value: Any, row: type | None) -> None:
    """Refuse a number that the folder would refuse.

    Raises
    ------
    FieldError
        When it is not finite, out of all reason, or outside the limits of its column.
    """
    if value is None or isinstance(value, bool) or not isinstance(value, int | float):
        return
    name, shown = field.name, quoted(value)
    if not math.isfinite(value):
        reason = say("{value} is not a number; leave it out where nothing was measured.", value=shown)
        raise FieldError(name, reason)
    if isinstance(value, float) and (abs(value) > LARGEST_NUMBER or 0 < abs(value) < SMALLEST_NUMBER):
        raise FieldError(name, say("{value} is too large, or too close to 0, to be meant.", value=shown))
    bounds, words = limits_of(row).get(name, ((), None)) if row is not None else ((), None)
    if not all(_holds(bound, value) for bound in bounds):
        allowed = words or _in_words(bounds)
        raise FieldError(name, say("{value} is not allowed; {allowed}.", value=shown, allowed=allowed))


def _holds(bound: Bound, value: float) -> bool:
    if isinstance(bound, Gt):
        return value > bound.gt  # type: ignore[operator]
    if isinstance(bound, Ge):
        return value >= bound.ge  # type: ignore[operator]
    if isinstance(bound, Lt):
        return value < bound.lt  # type: ignore[operator]
    return value <= bound.le  # type: ignore[operator]


def _in_words(bounds: tuple[Bound, ...]) -> Words:
    return say("it is {bounds}", bounds=join(map(_bound_in_words, bounds), " and "))


def _bound_in_words(bound: Bound) -> Words:
    if isinstance(bound, Gt):
        return say("above {limit}", limit=bound.gt)
    if isinstance(bound, Ge):
        return say("at least {limit}", limit=bound.ge)
    if isinstance(bound, Lt):
        return say("below {limit}", limit=bound.lt)
    return say("at most {limit}", limit=bound.le)


def constraints_of(row: type, prefix: str, fields: tuple[str, ...]) -> list[models.BaseConstraint]:
    """Return the limits of the named columns as constraints, so that the database refuses too what the pen refuses."""
    found: list[models.BaseConstraint] = []
    for name in fields:
        if name not in limits_of(row):
            continue
        bounds, _ = limits_of(row)[name]
        condition = models.Q()
        for bound in bounds:
            sign = re.sub("Ge", "gte", re.sub("Le", "lte", type(bound).__name__)).lower()
            limit = getattr(bound, type(bound).__name__.lower())
            condition &= models.Q(**{f"{name}__{sign}": limit})
        found.append(models.CheckConstraint(condition=condition, name=f"{prefix}_{name}"))
    return found
