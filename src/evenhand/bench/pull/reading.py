"""Reads a pull against its recipe while it is still being typed: what is known is read, what is not is left open."""

from collections.abc import Mapping
from dataclasses import dataclass

from evenhand.bench.pull.words import Row, rows_of
from evenhand.errors import QuantityError
from evenhand.espresso.extraction import HAND_SD_S, Extraction, measure
from evenhand.espresso.recipe import QUANTITIES, HouseRecipe, Pull, describe, deviation, judgeable
from evenhand.records.models import Pull as PullRecord

COLUMNS = {
    "dose": "dose_g",
    "beverage": "beverage_g",
    "time": "time_s",
    "water": "water_c",
    "pressure": "pressure_bar",
}
"""Quantity of a recipe and the pull's column that measures it."""
NEEDED = ("dose_g", "beverage_g", "time_s")
"""A pull without one of these is none."""

Typed = Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Reading:
    """What is made of a pull, finished or not.

    Attributes
    ----------
    rows
        One for each quantity that the recipe asks for.
    state
        "judge", "again" (something measured is too far off), or "waiting" while dose, beverage or time is missing.
    off
        What was off by more than a tolerance, in words of the engine; empty if nothing was.
    extraction
        Ratio, flow and yield; None until dose, beverage and time are known.
    """

    rows: tuple[Row, ...]
    state: str
    off: str
    extraction: Extraction | None

    @property
    def worst(self) -> Row | None:
        """The quantity furthest from the recipe, None where nothing was measured."""
        known = [row for row in self.rows if row.off is not None]
        return max(known, key=lambda row: abs(row.off or 0.0)) if known else None


def read(typed: Typed, recipe: HouseRecipe, *, moisture_pct: float | None = None, units: str = "metric") -> Reading:
    """Read what is known of a pull.

    Parameters
    ----------
    typed
        The pull's columns as far as they are known: grams, seconds, degrees Celsius, bar, per cent.
    recipe
        What it aims at.
    moisture_pct
        Moisture of the roast, for the yield on dry basis.
    units
        "metric" or "us", for words.
    """
    pull = _with_stand_ins(typed, recipe)
    known = {quantity for quantity in QUANTITIES if typed.get(COLUMNS[quantity]) is not None}
    # The stand-ins lie on the recipe: their distance is nil, and it is no measurement, so it is not told.
    deviations = {quantity: off if quantity in known else None for quantity, off in deviation(pull, recipe).items()}
    complete = all(typed.get(column) is not None for column in NEEDED)
    state = "again" if not judgeable(deviations) else "judge" if complete else "waiting"
    return Reading(
        rows=rows_of(deviations, recipe, units),
        state=state,
        off=describe(pull, recipe),
        extraction=_measure(typed, moisture_pct) if complete else None,
    )


def columns_of(pull: PullRecord) -> dict[str, float | None]:
    """Return the columns of a pull in the records that a reading wants."""
    return {name: getattr(pull, name) for name in (*COLUMNS.values(), "tds_pct", "time_sd_s")}


def _with_stand_ins(typed: Typed, recipe: HouseRecipe) -> Pull:
    def number(column: str, otherwise: float) -> float:
        value = typed.get(column)
        return otherwise if value is None else value

    return Pull(
        name="",
        dose_g=number("dose_g", recipe.dose_g),
        beverage_g=number("beverage_g", recipe.beverage_g),
        time_s=number("time_s", recipe.time_s),
        water_c=typed.get("water_c"),
        pressure_bar=typed.get("pressure_bar"),
        tds_pct=typed.get("tds_pct"),
    )


def _measure(typed: Typed, moisture_pct: float | None) -> Extraction | None:
    dose_g, beverage_g, time_s = (typed[column] for column in NEEDED)
    assert dose_g is not None
    assert beverage_g is not None
    assert time_s is not None
    sd = typed.get("time_sd_s")
    try:
        return measure(
            dose_g,
            beverage_g,
            time_s,
            typed.get("tds_pct"),
            moisture_pct,
            hand_sd_s=HAND_SD_S if sd is None else sd,
        )
    except QuantityError:  # half typed, such as the 0 of 0.5; the records say so if it is saved like this
        return None
