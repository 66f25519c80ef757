"""To the roaster: which roast measures go with a profile off target, told as association and never as cause.

Loss is judged on dry basis, because water that leaves the green is no roast: see `dry_loss_pct`. A batch is set against
its fellows, the other batches of its coffee. See docs/explanation/to-the-roaster.md.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.special import stdtr, stdtrit

from evenhand.errors import DesignError
from evenhand.season import _roaster_words as words
from evenhand.season._charts_baseline import estimate_baseline
from evenhand.season._roaster_line import measure_columns, outcome_columns, within, within_line
from evenhand.season._roaster_loss import dry_loss_pct
from evenhand.season._roaster_records import (
    Association,
    Departure,
    FaultChance,
    OffTarget,
    RoasterReading,
    RoastMeasure,
    colour_measure,
    dry_loss_measure,
    roast_time_measure,
)
from evenhand.units import Measured
from evenhand.words import say

__all__ = [
    "Association",
    "Departure",
    "FaultChance",
    "OffTarget",
    "RoastMeasure",
    "RoasterReading",
    "associate",
    "colour_measure",
    "dry_loss_measure",
    "dry_loss_pct",
    "roast_time_measure",
    "set_against_fellows",
    "tell_roaster",
]

_FEWEST_FELLOWS = 4


def set_against_fellows(measure: RoastMeasure, coffee: Sequence[str]) -> tuple[Departure, ...]:
    """Set each batch against the others of its coffee; batches with fewer than four measured fellows are passed over.

    Parameters
    ----------
    measure
        One roast measure of all batches.
    coffee
        Which coffee each batch is, shape (batches,); give green lot or scale with it where they matter.

    Raises
    ------
    DesignError
        If shapes differ.
    """
    x, u, group = measure_columns(measure, coffee)
    found = []
    for i in np.flatnonzero(np.isfinite(x)):
        others = (group == group[i]) & np.isfinite(x)
        others[i] = False
        if np.count_nonzero(others) < _FEWEST_FELLOWS:
            continue
        if np.ptp(x[others]) == 0 and not np.any(u[others]):
            continue  # fellows that never differ tell nothing of how far batches scatter
        base = estimate_baseline(x[others], u[others])
        off = float(x[i] - base.centre)
        scatter = float(np.hypot(base.spread(u[i : i + 1])[0], base.centre_sd))
        found.append(
            Departure(
                batch=int(i),
                measure=measure.name,
                difference=Measured(off, float(np.hypot(u[i], base.centre_sd))),
                p=float(2.0 * stdtr(base.freedom, -abs(off) / scatter)),
                fellows=base.batches,
            )
        )
    return tuple(found)


def associate(
    measures: Sequence[RoastMeasure],
    outcomes: Sequence[OffTarget | FaultChance],
    coffee: Sequence[str],
) -> tuple[Association, ...]:
    """Look at every measure beside every attribute and fault, within coffees; the clearest pair first.

    Parameters
    ----------
    measures, outcomes
        Columns over the same batches.
    coffee
        Which coffee each batch is, shape (batches,): differences between coffees do not count.

    Returns
    -------
    tuple of Association
        A pair is left out where fewer than three batches more than coffees have both, or where one of them, or every
        fault probability, is nearly the same everywhere.

    Raises
    ------
    DesignError
        If shapes differ or a probability is outside 0 to 1.

    Notes
    -----
    Weighted least squares with a level for each coffee; the weights are 1 / (u² + extra), and the extra variance is
    that which makes the weighted residuals as large as they should be (Paule and Mandel, 1982). For a fault the measure
    is regressed on its probability; probabilities that are right on average leave that slope unbiased (Berkson, 1950).
    """
    pairs = []
    for measure in measures:
        x, u, group = measure_columns(measure, coffee)
        for outcome in outcomes:
            y, v = outcome_columns(outcome, x.size)
            both = np.isfinite(x) & np.isfinite(y)
            fault = isinstance(outcome, FaultChance)
            line = (
                within_line(x[both], u[both], y[both], group[both])
                if fault
                else within_line(y[both], v[both], x[both], group[both])
            )
            if line is None or (fault and np.ptp(y[both]) < 0.5):
                continue
            slope, slope_sd, freedom = line
            inner = within(x[both], group[both])
            groups = np.unique(group[both]).size
            variance = float(inner @ inner / (both.sum() - groups))
            step = float(np.sqrt(variance))
            unit = 1.0 if fault else step
            effect = Measured(slope * unit, slope_sd * unit)
            wide = float(stdtrit(freedom, 0.95)) * effect.sd
            pairs.append(
                Association(
                    measure=measure.name,
                    outcome=outcome.name,
                    kind="fault" if fault else "attribute",
                    effect=effect,
                    lower90=effect.value - wide,
                    upper90=effect.value + wide,
                    step=step,
                    batches=int(both.sum()),
                    p=float(2.0 * stdtr(freedom, -abs(slope) / slope_sd)),
                    p_family=1.0,
                    reliability=float(np.clip(1.0 - np.mean(u[both] ** 2) / variance, 0.0, 1.0)),
                )
            )
    return _with_family(sorted(pairs, key=lambda one: one.p))


def tell_roaster(
    measures: Sequence[RoastMeasure],
    outcomes: Sequence[OffTarget | FaultChance],
    coffee: Sequence[str],
    batches: Sequence[str],
) -> RoasterReading:
    """Say to the roaster which batches are off target and what else was different about them.

    Parameters
    ----------
    measures, outcomes, coffee
        As in `associate`.
    batches
        A label for each batch, as it is to be read.

    Raises
    ------
    DesignError
        If shapes differ or a probability is outside 0 to 1.
    """
    if len(batches) != len(coffee):
        raise DesignError(
            say(
                "There are {batches} batches, but {labels} labels; give one for each.",
                batches=len(coffee),
                labels=len(batches),
            )
        )
    by_name = {measure.name: measure for measure in measures}
    departures = tuple(one for measure in measures for one in set_against_fellows(measure, coffee))
    associations = associate(measures, outcomes, coffee)
    tastes = words.say_off_target(outcomes, len(coffee))
    told = tuple(
        (i, words.say_batch(batches[i], taste, [one for one in departures if one.batch == i], by_name))
        for i, taste in tastes.items()
    )
    seen = [one for one in associations if one.p < words.SIGN_P]
    said: list[str] = [words.say_association(one, by_name[one.measure]) for one in seen]
    if seen:
        said += words.say_together(measures, coffee, {one.measure for one in seen})
    else:
        said.append(words.say_no_association(associations))
    if seen or any(one.p < words.SIGN_P for one in departures):
        said.append(words.WARNING)
    return RoasterReading(departures=departures, associations=associations, batch_sentences=told, sentences=tuple(said))


def _with_family(pairs: Sequence[Association]) -> tuple[Association, ...]:
    found, least = [], 0.0
    for rank, one in enumerate(pairs):
        least = max(least, min(1.0, (len(pairs) - rank) * one.p))
        found.append(replace(one, p_family=least))
    return tuple(found)
