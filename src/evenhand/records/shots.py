"""Turns pulls that are kept, in a folder or in the records, into the shots from which a grinder is learned."""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import QuantityError
from evenhand.espresso.extraction import measure
from evenhand.espresso.grinder import Shots, parse_setting
from evenhand.records import rows

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptPull:
    """One pull as it was written down, and what a grinder is told of its batch.

    Masses in g, time in s, water in °C, pressure in bar, dissolved solids in %; None where not measured.
    """

    pulled_at: rows.Moment
    roasted_on: dt.date
    coffee: str
    batch: str
    dose_g: float
    beverage_g: float
    time_s: float
    water_c: float | None
    pressure_bar: float | None
    grind_setting: str | None
    tds_pct: float | None

    @property
    def day(self) -> int:
        """The day on which it was pulled, as a whole number."""
        return self.pulled_at.toordinal()


def gather_pulls(pulls: Iterable[rows.Pull], batches: Iterable[rows.Batch]) -> tuple[KeptPull, ...]:
    """Put together what a folder's rows say of each pull and of its batch, in the order of the pulls.

    Raises
    ------
    KeyError
        If a pull names a batch that is not among them; a folder that was read has none.
    """
    known = {row.batch: row for row in batches}
    return tuple(
        KeptPull(
            pulled_at=row.pulled_at,
            roasted_on=known[row.batch].roasted_on,
            coffee=known[row.batch].coffee,
            batch=row.batch,
            dose_g=row.dose_g,
            beverage_g=row.beverage_g,
            time_s=row.time_s,
            water_c=row.water_c,
            pressure_bar=row.pressure_bar,
            grind_setting=row.grind_setting,
            tds_pct=row.tds_pct,
        )
        for row in pulls
    )


def collect_shots(pulls: Sequence[KeptPull]) -> Shots:
    """Turn pulls into shots on one grinder, in the order in which they are given.

    The order within a day, for the burrs' warming, is read off the clock; it is left out on a day of which any pull
    lacks its time.
    """
    return Shots(
        day=np.array([pull.day for pull in pulls], dtype=float),
        nth=_numbers(_count_within_days(pulls)),
        rest_days=_numbers([pull.day - pull.roasted_on.toordinal() for pull in pulls]),
        coffee=np.array([pull.coffee for pull in pulls], dtype=np.str_),
        batch=np.array([pull.batch for pull in pulls], dtype=np.str_),
        setting=_numbers([parse_setting(pull.grind_setting) for pull in pulls]),
        dose_g=_numbers([pull.dose_g for pull in pulls]),
        beverage_g=_numbers([pull.beverage_g for pull in pulls]),
        time_s=_numbers([pull.time_s for pull in pulls]),
        pressure_bar=_numbers([pull.pressure_bar for pull in pulls]),
        water_c=_numbers([pull.water_c for pull in pulls]),
    )


def extractions_pct(pulls: Sequence[KeptPull]) -> FloatArray:
    """Work out each pull's extraction yield as is, %, shape (pulls,); NaN where it was not measured, or cannot be."""
    return _numbers([_extraction_pct(pull) for pull in pulls])


def _count_within_days(pulls: Sequence[KeptPull]) -> list[float | None]:
    """Count the pulls that each day had seen before each pull; None on days of which one lacks its time."""
    untimed = {pull.day for pull in pulls if not isinstance(pull.pulled_at, dt.datetime)}
    timed = [
        (pull.day, pull.pulled_at.time(), place)
        for place, pull in enumerate(pulls)
        if isinstance(pull.pulled_at, dt.datetime) and pull.day not in untimed
    ]
    counted: list[float | None] = [None] * len(pulls)
    seen: Counter[int] = Counter()
    for day, _clock, place in sorted(timed):
        counted[place] = float(seen[day])
        seen[day] += 1
    return counted


def _extraction_pct(pull: KeptPull) -> float | None:
    try:
        found = measure(pull.dose_g, pull.beverage_g, pull.time_s, pull.tds_pct).extraction_pct
    except QuantityError:
        return None
    return None if found is None else found.value


def _numbers(values: Sequence[float | None]) -> FloatArray:
    return np.array([np.nan if value is None else value for value in values], dtype=float)
