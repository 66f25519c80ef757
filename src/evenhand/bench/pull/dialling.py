"""The next grind step of a coffee, learned from its last pulls and the one that is being typed."""

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from evenhand.bench.pull.reading import NEEDED
from evenhand.errors import EvenhandError
from evenhand.espresso.extraction import measure
from evenhand.espresso.recipe import HouseRecipe
from evenhand.records.models import Pull


@dataclass(frozen=True, slots=True)
class Shot:
    """One pull as the grinder learns it; masses in g, time in s, water in °C, pressure in bar."""

    at: dt.date
    roasted_on: dt.date
    batch: str
    dose_g: float
    beverage_g: float
    time_s: float
    water_c: float | None
    pressure_bar: float | None
    grind_setting: str | None
    tds_pct: float | None


@dataclass(frozen=True, slots=True)
class NextStep:
    """The advice for the next pull in the engine's sentences: the advice itself, then what stands behind it."""

    advice: str
    reasons: tuple[str, ...]
    batch: str
    pulls: int


def shot_of(pull: Pull) -> Shot:
    """Turn a pull of the records into what the grinder learns from."""
    return Shot(
        at=pull.pulled_at,
        roasted_on=pull.batch.roasted_on,
        batch=pull.batch.label,
        dose_g=pull.dose_g,
        beverage_g=pull.beverage_g,
        time_s=pull.time_s,
        water_c=pull.water_c,
        pressure_bar=pull.pressure_bar,
        grind_setting=pull.grind_setting,
        tds_pct=pull.tds_pct,
    )


def shot_typed(
    typed: Mapping[str, float | None], setting: str, *, batch: str, roasted_on: dt.date, at: dt.date
) -> Shot | None:
    """Turn what was typed into a shot; None while dose, beverage or time is missing or is no positive number."""
    dose_g, beverage_g, time_s = (typed.get(column) or 0.0 for column in NEEDED)
    water_c, pressure_bar = typed.get("water_c"), typed.get("pressure_bar")
    if min(dose_g, beverage_g, time_s) <= 0:
        return None
    return Shot(
        at=at,
        roasted_on=roasted_on,
        batch=batch,
        dose_g=dose_g,
        beverage_g=beverage_g,
        time_s=time_s,
        # Out of their limits they are a slip of the finger, which the records refuse in words: not learned from.
        water_c=water_c if water_c is not None and 0 < water_c <= 130 else None,
        pressure_bar=pressure_bar if pressure_bar is not None and pressure_bar > 0 else None,
        grind_setting=setting or None,
        tds_pct=typed.get("tds_pct"),
    )


def next_step(shots: Sequence[Shot], recipe: HouseRecipe, coffee: str) -> NextStep | None:
    """Advise on the next pull; None while there is no pull to learn from.

    Parameters
    ----------
    shots
        A coffee's pulls from the earliest to the latest.
    recipe
        What they aim at.
    coffee
        The coffee's name.
    """
    # Kept out of the start of the pages, since the forecast brings scipy with it.
    from evenhand.espresso.dial import advise, read_evenness_of, say
    from evenhand.espresso.grinder import Shots, learn, parse_setting

    if not shots:
        return None

    def numbers(values: Sequence[float | None]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    days = [_day(shot.at) for shot in shots]
    learned = Shots(
        day=np.array(days, dtype=float),
        nth=numbers(_order_within_days(shots)),
        rest_days=numbers([day - shot.roasted_on.toordinal() for day, shot in zip(days, shots, strict=True)]),
        coffee=np.array([coffee] * len(shots), dtype=np.str_),
        batch=np.array([shot.batch for shot in shots], dtype=np.str_),
        setting=numbers([parse_setting(shot.grind_setting) for shot in shots]),
        dose_g=numbers([shot.dose_g for shot in shots]),
        beverage_g=numbers([shot.beverage_g for shot in shots]),
        time_s=numbers([shot.time_s for shot in shots]),
        pressure_bar=numbers([shot.pressure_bar for shot in shots]),
        water_c=numbers([shot.water_c for shot in shots]),
    )
    try:
        grinder = learn(learned)
        extraction_pct = numbers([_extraction_pct(shot) for shot in shots])
        evenness = read_evenness_of(grinder, learned, extraction_pct, [recipe.ratio] * len(shots))
        advice = advise(grinder, learned, recipe, coffee, evenness)
    except EvenhandError as error:
        return NextStep(str(error), (), shots[-1].batch, len(shots))
    first, *reasons = say(advice)
    return NextStep(first, tuple(reasons), advice.batch, len(shots))


def _day(at: dt.date) -> int:
    return (at.date() if isinstance(at, dt.datetime) else at).toordinal()


def _order_within_days(shots: Sequence[Shot]) -> list[float | None]:
    """Count the pulls that each day had seen before, for the burrs' warming; None on days of which one lacks its time.

    Other coffees' pulls warm the burrs too and are not counted here: the coffee is dialled by its own history alone.
    """
    timed: dict[int, bool] = {}
    for shot in shots:
        timed[_day(shot.at)] = timed.get(_day(shot.at), True) and isinstance(shot.at, dt.datetime)
    seen: Counter[int] = Counter()
    order: list[float | None] = []
    for shot in shots:
        day = _day(shot.at)
        order.append(float(seen[day]) if timed[day] else None)
        seen[day] += 1
    return order


def _extraction_pct(shot: Shot) -> float | None:
    try:
        found = measure(shot.dose_g, shot.beverage_g, shot.time_s, shot.tds_pct).extraction_pct
    except EvenhandError:
        return None
    return None if found is None else found.value
