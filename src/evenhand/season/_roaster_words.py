"""What is said to the roaster, with its uncertainty and never as a cause."""

from collections.abc import Mapping, Sequence

import numpy as np
from scipy.special import ndtr

from evenhand.season._charts_words import amount, count_batches
from evenhand.season._roaster_line import measure_columns, outcome_columns, within
from evenhand.season._roaster_records import Association, Departure, FaultChance, OffTarget, RoastMeasure
from evenhand.words import Words, capitalise, join, say, say_many

# A measure stands out in a batch below this chance, and an association is looked at below it.
SIGN_P = 0.05
# An association is told without "perhaps" from so many batches on, if it holds among all pairs looked at.
ENOUGH = 10
WARNING = say(
    "What goes together need not be cause and effect: green, weather or the day may move both. "
    "Try it on one batch before changing the roast."
)
_MOVE_TOGETHER = 0.7
_NOISY = 0.8


def say_off_target(outcomes: Sequence[OffTarget | FaultChance], n: int) -> dict[int, Words]:
    """Say of each batch that is more likely off target than on it what its taste is, by the batch's number."""
    said: dict[int, list[Words]] = {}
    for outcome in outcomes:
        y, v = outcome_columns(outcome, n)
        for i in np.flatnonzero(np.isfinite(y)):
            if isinstance(outcome, FaultChance):
                if y[i] > 0.5:
                    fault = say("tastes {fault} (probability {p:.2f})", fault=outcome.name, p=y[i])
                    said.setdefault(int(i), []).append(fault)
                continue
            tolerance = float(np.broadcast_to(np.asarray(outcome.tolerance, dtype=float), (n,))[i])
            spread = max(float(v[i]), 1e-9 * max(1.0, abs(float(y[i]))))
            outside = float(ndtr((-tolerance - y[i]) / spread) + ndtr((y[i] - tolerance) / spread))
            if outside > 0.5:
                said.setdefault(int(i), []).append(_say_off(outcome.name, float(y[i]), float(v[i])))
    return {i: join(parts, " and ") for i, parts in sorted(said.items())}


def _say_off(name: str, off: float, sd: float) -> Words:
    size = amount(abs(off), max(sd, 0.1))
    if off > 0:
        return say("lies {size} points above target in {taste}", size=size, taste=name)
    return say("lies {size} points below target in {taste}", size=size, taste=name)


def say_batch(batch: str, taste: str, own: Sequence[Departure], by_name: Mapping[str, RoastMeasure]) -> Words:
    """Say of a batch off target what it tastes of and what was different about its roast.

    Parameters
    ----------
    batch
        Its label.
    taste
        From `say_off_target`.
    own
        Its place among its fellows, by measure; empty where it has too few.
    by_name
        The measures.
    """
    odd = [_say_departure(one, by_name[one.measure]) for one in own if one.p < SIGN_P]
    if odd:
        return say(
            "Batch {batch} {did} than its fellows and {taste}.", batch=batch, did=join(odd, " and "), taste=taste
        )
    if own:
        return say("Batch {batch} {taste}; no roast measure stands out among its fellows'.", batch=batch, taste=taste)
    return say(
        "Batch {batch} {taste}; it has too few measured fellows to set its roast beside.", batch=batch, taste=taste
    )


def _say_departure(one: Departure, measure: RoastMeasure) -> Words:
    """Say what was different about a batch, as the middle of a sentence."""
    sd = one.difference.sd
    size = _rounded(abs(one.difference.value), sd, measure.unit)
    did = measure.higher(size) if one.difference.value > 0 else measure.lower(size)
    return say("{did} (± {sd})", did=did, sd=_rounded(sd, sd))


def say_association(one: Association, measure: RoastMeasure) -> Words:
    """Say how a measure goes with a taste, with "perhaps" unless it holds among all pairs looked at."""
    claim = _say_fault(one, measure) if one.kind == "fault" else _say_taste(one, measure)
    if one.p_family >= SIGN_P or one.batches < ENOUGH:
        return say("Perhaps {claim}.", claim=claim)
    return say("{claim}.", claim=capitalise(claim))


def _say_fault(one: Association, measure: RoastMeasure) -> Words:
    size = _rounded(abs(one.effect.value), one.effect.sd, measure.unit)
    return say(
        "batches that taste {fault} {did} than the others of their coffee {span}",
        fault=one.outcome,
        did=measure.higher(size) if one.effect.value > 0 else measure.lower(size),
        span=_say_span(one),
    )


def _say_taste(one: Association, measure: RoastMeasure) -> Words:
    step, size = amount(one.step, one.step, measure.unit), _rounded(abs(one.effect.value), one.effect.sd)
    claim = say(
        "where {measure} is {step} higher, {taste} lies {size} points {way} {span}",
        measure=measure.name,
        step=step,
        taste=one.outcome,
        size=size,
        way=say("higher") if one.effect.value > 0 else say("lower"),
        span=_say_span(one),
    )
    if one.reliability >= _NOISY:
        return claim
    return say(
        "{claim}; only {share:.0%} of what differs in {measure} is more than measurement error",
        claim=claim,
        share=one.reliability,
        measure=measure.name,
    )


def _say_span(one: Association) -> Words:
    low, high = (one.lower90, one.upper90) if one.effect.value > 0 else (-one.upper90, -one.lower90)
    return say(
        "(90 % interval {low} to {high}, {batches})",
        low=_rounded(low, one.effect.sd),
        high=_rounded(high, one.effect.sd),
        batches=count_batches(one.batches),
    )


def say_no_association(associations: Sequence[Association]) -> Words:
    """Say that no measure is seen to go with taste, or that there is too little to look at."""
    if not associations:
        return say("There are too few batches with both roast measures and tastes to set them side by side.")
    return say(
        "No roast measure is seen to go with taste ({pairs}, up to {batches}).",
        pairs=say_many("{count} pair", "{count} pairs", count=len(associations)),
        batches=count_batches(max(one.batches for one in associations)),
    )


def _rounded(number: float, sd: float, unit: str = "") -> Words:
    """Write a number to the first digit of its standard uncertainty."""
    return amount(number, 10.0 * sd, unit)


def say_together(measures: Sequence[RoastMeasure], coffee: Sequence[str], named: set[str]) -> list[str]:
    """Say which measures move together, so that the batches cannot tell which of them it is."""
    said: list[str] = []
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
                    say(
                        "{first} and {second} move together here (correlation {correlation:.2f}): these batches cannot "
                        "tell which of the two it is.",
                        first=capitalise(first.name),
                        second=second.name,
                        correlation=correlation,
                    )
                )
    return said
