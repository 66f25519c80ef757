"""What is said to the roaster, with its uncertainty and never as a cause."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr

from evenhand.season._charts_words import amount
from evenhand.season._roaster_line import measure_columns, outcome_columns, within
from evenhand.season._roaster_records import Association, Departure, FaultChance, OffTarget, RoastMeasure

# A measure stands out in a batch below this chance, and an association is looked at below it.
SIGN_P = 0.05
# An association is told without "perhaps" from so many batches on, if it holds among all pairs looked at.
ENOUGH = 10
WARNING = (
    "What goes together need not be cause and effect: green, weather or the day may move both. "
    "Try it on one batch before changing the roast."
)
_MOVE_TOGETHER = 0.7
_NOISY = 0.8


def say_off_target(outcomes: Sequence[OffTarget | FaultChance], n: int) -> dict[int, str]:
    """Say of each batch that is more likely off target than on it what its taste is, by the batch's number."""
    said: dict[int, list[str]] = {}
    for outcome in outcomes:
        y, v = outcome_columns(outcome, n)
        for i in np.flatnonzero(np.isfinite(y)):
            if isinstance(outcome, FaultChance):
                if y[i] > 0.5:
                    said.setdefault(int(i), []).append(f"tastes {outcome.name} (probability {y[i]:.2f})")
                continue
            tolerance = float(np.broadcast_to(np.asarray(outcome.tolerance, dtype=float), (n,))[i])
            spread = max(float(v[i]), 1e-9 * max(1.0, abs(float(y[i]))))
            outside = float(ndtr((-tolerance - y[i]) / spread) + ndtr((y[i] - tolerance) / spread))
            if outside > 0.5:
                side = "above" if y[i] > 0 else "below"
                size = amount(abs(float(y[i])), max(float(v[i]), 0.1))
                said.setdefault(int(i), []).append(f"lies {size} points {side} target in {outcome.name}")
    return {i: " and ".join(parts) for i, parts in sorted(said.items())}


def say_departure(one: Departure, measure: RoastMeasure) -> str:
    """Say what was different about a batch, as the end of a sentence."""
    phrase = measure.higher if one.difference.value > 0 else measure.lower
    sd = one.difference.sd
    return f"{phrase.format(size=_rounded(abs(one.difference.value), sd, measure.unit))} (± {_rounded(sd, sd)})"


def say_association(one: Association, measure: RoastMeasure) -> str:
    """Say how a measure goes with a taste, with "perhaps" unless it holds among all pairs looked at."""
    perhaps = one.p_family >= SIGN_P or one.batches < ENOUGH
    up = one.effect.value > 0
    low, high = (one.lower90, one.upper90) if up else (-one.upper90, -one.lower90)
    sd = one.effect.sd
    span = f"(90 % interval {_rounded(low, sd)} to {_rounded(high, sd)}, {one.batches} batches)"
    if one.kind == "fault":
        done = (measure.higher if up else measure.lower).format(size=_rounded(abs(one.effect.value), sd, measure.unit))
        text = f"batches that taste {one.outcome} {done} than the others of their coffee {span}"
    else:
        text = (
            f"where {measure.name} is {amount(one.step, one.step, measure.unit)} higher, {one.outcome} lies "
            f"{_rounded(abs(one.effect.value), sd)} points {'higher' if up else 'lower'} {span}"
        )
        if one.reliability < _NOISY:
            text += f"; only {one.reliability:.0%} of what differs in {measure.name} is more than measurement error"
    return ("Perhaps " + text if perhaps else text[:1].upper() + text[1:]) + "."


def _rounded(number: float, sd: float, unit: str = "") -> str:
    """Write a number to the first digit of its standard uncertainty."""
    return amount(number, 10.0 * sd, unit)


def say_together(measures: Sequence[RoastMeasure], coffee: Sequence[str], named: set[str]) -> list[str]:
    """Say which measures move together, so that the batches cannot tell which of them it is."""
    said = []
    for i, first in enumerate(measures):
        for second in measures[i + 1 :]:
            x, _, group = measure_columns(first, coffee)
            y, _, _ = measure_columns(second, coffee)
            both = np.isfinite(x) & np.isfinite(y)
            a, b = within(x[both], group[both]), within(y[both], group[both])
            if not named & {first.name, second.name} or a @ a <= 0 or b @ b <= 0:
                continue
            correlation = float(a @ b / np.sqrt((a @ a) * (b @ b)))
            if abs(correlation) > _MOVE_TOGETHER and both.sum() >= ENOUGH:
                said.append(
                    f"{first.name[:1].upper()}{first.name[1:]} and {second.name} move together here (correlation "
                    f"{correlation:.2f}): these batches cannot tell which of the two it is."
                )
    return said
