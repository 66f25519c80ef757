"""Holds a record's fields to the limits that the folder's rows state, with the same sentence for the same slip."""

import functools
import math
import re
from typing import Any, get_args, get_type_hints

from annotated_types import Ge, Gt, Le, Lt
from django.db import models

from evenhand.records._cells import LARGEST_NUMBER, SMALLEST_NUMBER
from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.rows import Allowed

Bound = Gt | Ge | Lt | Le


@functools.cache
def limits_of(row: type) -> dict[str, tuple[tuple[Bound, ...], str]]:
    """Return the bounds of each column of a row type, and what is allowed in words."""
    found = {}
    for name, hint in get_type_hints(row, include_extras=True).items():
        marks = get_args(hint)[1:]
        bounds = tuple(mark for mark in marks if isinstance(mark, Gt | Ge | Lt | Le))
        words = next((mark.text for mark in marks if isinstance(mark, Allowed)), "")
        if bounds:
            found[name] = (bounds, words)
    return found


def check_number(field: "models.Field[Any, Any]", value: Any, row: type | None) -> None:
    """Refuse a number that the folder would refuse.

    Raises
    ------
    RecordError
        When it is not finite, out of all reason, or outside the limits of its column.
    """
    if value is None or isinstance(value, bool) or not isinstance(value, int | float):
        return
    name = field.name
    if not math.isfinite(value):
        raise RecordError(f"{name}: {quoted(value)} is not a number; leave it out where nothing was measured.")
    if isinstance(value, float) and (abs(value) > LARGEST_NUMBER or 0 < abs(value) < SMALLEST_NUMBER):
        raise RecordError(f"{name}: {quoted(value)} is too large, or too close to 0, to be meant.")
    bounds, words = limits_of(row).get(name, ((), "")) if row is not None else ((), "")
    if not all(_holds(bound, value) for bound in bounds):
        raise RecordError(f"{name}: {quoted(value)} is not allowed; {words or _in_words(bounds)}.")


def _holds(bound: Bound, value: float) -> bool:
    if isinstance(bound, Gt):
        return value > bound.gt  # type: ignore[operator]
    if isinstance(bound, Ge):
        return value >= bound.ge  # type: ignore[operator]
    if isinstance(bound, Lt):
        return value < bound.lt  # type: ignore[operator]
    return value <= bound.le  # type: ignore[operator]


def _in_words(bounds: tuple[Bound, ...]) -> str:
    signs = {Gt: ("above", "gt"), Ge: ("at least", "ge"), Lt: ("below", "lt"), Le: ("at most", "le")}
    return "it is " + " and ".join(f"{signs[type(b)][0]} {getattr(b, signs[type(b)][1])}" for b in bounds)


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
