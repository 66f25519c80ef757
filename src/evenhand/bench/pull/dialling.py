"""The next grind step of a coffee, learned from its last pulls and the one that is being typed."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from evenhand.bench.pull.reading import NEEDED
from evenhand.errors import EvenhandError
from evenhand.espresso.dial import advise, read_evenness_of, say_advice
from evenhand.espresso.grinder import learn
from evenhand.espresso.recipe import HouseRecipe
from evenhand.records.models import Batch, Pull
from evenhand.records.shots import KeptPull, collect_shots, extractions_pct


@dataclass(frozen=True, slots=True)
class NextStep:
    """The advice for the next pull in the engine's sentences: the advice itself, then what stands behind it."""

    advice: str
    reasons: tuple[str, ...]
    batch: str
    pulls: int


def kept_pull(pull: Pull) -> KeptPull:
    """Turn a pull of the records into what the grinder learns from."""
    return KeptPull(
        pulled_at=pull.pulled_at,
        roasted_on=pull.batch.roasted_on,
        coffee=pull.batch.version.coffee.name,
        batch=pull.batch.label,
        dose_g=pull.dose_g,
        beverage_g=pull.beverage_g,
        time_s=pull.time_s,
        water_c=pull.water_c,
        pressure_bar=pull.pressure_bar,
        grind_setting=pull.grind_setting,
        tds_pct=pull.tds_pct,
    )


def typed_pull(typed: Mapping[str, float | None], setting: str, *, batch: Batch, at: dt.datetime) -> KeptPull | None:
    """Turn what was typed into such a pull; None while dose, beverage or time is missing or is no positive number."""
    dose_g, beverage_g, time_s = (typed.get(column) or 0.0 for column in NEEDED)
    water_c, pressure_bar = typed.get("water_c"), typed.get("pressure_bar")
    if min(dose_g, beverage_g, time_s) <= 0:
        return None
    return KeptPull(
        pulled_at=at,
        roasted_on=batch.roasted_on,
        coffee=batch.version.coffee.name,
        batch=batch.label,
        dose_g=dose_g,
        beverage_g=beverage_g,
        time_s=time_s,
        # Out of their limits they are a slip of the finger, which the records refuse in words: not learned from.
        water_c=water_c if water_c is not None and 0 < water_c <= 130 else None,
        pressure_bar=pressure_bar if pressure_bar is not None and pressure_bar > 0 else None,
        grind_setting=setting or None,
        tds_pct=typed.get("tds_pct"),
    )


def next_step(pulls: Sequence[KeptPull], recipe: HouseRecipe) -> NextStep | None:
    """Advise on the next pull; None while there is no pull to learn from.

    Parameters
    ----------
    pulls
        The pulls of one coffee. Those of other coffees warm the burrs too and are not counted here: a coffee is
        dialled by its own history alone.
    recipe
        What they aim at.
    """
    if not pulls:
        return None
    shots = collect_shots(pulls)
    try:
        grinder = learn(shots)
        evenness = read_evenness_of(grinder, shots, extractions_pct(pulls), [recipe.ratio] * len(pulls))
        advice = advise(grinder, shots, recipe, pulls[-1].coffee, evenness)
    except EvenhandError as error:
        return NextStep(error.args[0], (), pulls[-1].batch, len(pulls))
    first, *reasons = say_advice(advice)
    return NextStep(first, tuple(reasons), advice.batch, len(pulls))
