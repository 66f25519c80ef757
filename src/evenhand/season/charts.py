"""Control charts over batches: is the roast steady, which batch stands out, and since when is something different.

One measure of one coffee at a time: mass loss on dry basis, colour, roast time, or a taste attribute at the house
recipe by the batch's own cups (see `own_evidence`). Every value may carry its own uncertainty: the limits of a batch
that was tasted once are wider, and it moves the charts with a memory less. See docs/explanation/control-charts.md.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.season import _charts_words as words
from evenhand.season._charts_baseline import Baseline, estimate_baseline, own_evidence, read_series, stated_baseline
from evenhand.season._charts_change import ChangePoint, Coincidence, find_change, what_else_changed
from evenhand.season._charts_constants import ShewhartFactors, shewhart_factors
from evenhand.season._charts_rules import NELSON, RULES, WESTERN_ELECTRIC, RuleHit, apply_rules
from evenhand.season._charts_runlength import (
    run_length_of_cusum,
    run_length_of_ewma,
    run_length_of_individuals,
    run_length_of_rules,
)
from evenhand.season._charts_series import Chart, Cusum, cusum, ewma, individuals, moving_range
from evenhand.season._charts_t2 import JointBaseline, JointChart, estimate_joint_baseline, t_squared
from evenhand.words import Words, say

__all__ = [
    "NELSON",
    "RULES",
    "WESTERN_ELECTRIC",
    "Baseline",
    "ChangePoint",
    "Chart",
    "Coincidence",
    "Cusum",
    "JointBaseline",
    "JointChart",
    "JointReading",
    "MeasureReading",
    "RuleHit",
    "ShewhartFactors",
    "apply_rules",
    "cusum",
    "estimate_baseline",
    "estimate_joint_baseline",
    "ewma",
    "find_change",
    "individuals",
    "moving_range",
    "own_evidence",
    "read_measure",
    "read_profile",
    "run_length_of_cusum",
    "run_length_of_ewma",
    "run_length_of_individuals",
    "run_length_of_rules",
    "shewhart_factors",
    "stated_baseline",
    "t_squared",
    "what_else_changed",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureReading:
    """All charts of one measure, and what they say.

    Attributes
    ----------
    measure, unit
        As given.
    base
        What the batches are set against.
    individuals, moving_range, ewma, cusum, rules
        The charts and run rules, one entry a batch. An odd batch between sound ones is told by the chart of single
        batches; averages, sums and the change point pass it over, since one batch is no shift.
    change
        The likeliest single step; look at its `p` before believing it.
    coincidences
        What else changed then, likeliest first; empty where no step is seen.
    alerts
        Numbers of the batches at which the chart of single batches, averages or sums signals. Ranges, patterns of the
        run rules and a change point are signs, not alerts.
    usual
        What is usual, as the rest of a sentence that begins with the measure.
    body
        Sentences on odd batches, shifts and signs, or one that says that nothing unusual is seen.
    doubt
        A sentence on how far to trust the limits; empty where they are as good as known ones.
    sentences
        All of these, the first with its measure.
    """

    measure: str
    unit: str
    base: Baseline
    individuals: Chart
    moving_range: Chart
    ewma: Chart
    cusum: Cusum
    rules: tuple[RuleHit, ...]
    change: ChangePoint
    coincidences: tuple[Coincidence, ...]
    alerts: tuple[int, ...]
    usual: str
    body: tuple[str, ...]
    doubt: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JointReading:
    """The joint chart of several measures, and what it says.

    Attributes
    ----------
    measures
        As given.
    away
        Shape (batches, measures): how far each value lies from its usual level, in standard deviations of its own; NaN
        where not measured.
    base
        What is usual for these.
    chart
        T² of every batch.
    complete
        Batches with all measures.
    sentences
        One for each batch that is odd as a whole, or one that says that none is.
    """

    measures: tuple[str, ...]
    away: NDArray[np.float64]
    base: JointBaseline
    chart: JointChart
    complete: int
    sentences: tuple[str, ...]


def read_measure(
    measure: str,
    value: ArrayLike,
    sd: ArrayLike | float = 0.0,
    *,
    batches: Sequence[str],
    dates: Sequence[str] | None = None,
    unit: str = "",
    base: Baseline | None = None,
    in_baseline: ArrayLike | None = None,
    rules: Sequence[str] = WESTERN_ELECTRIC,
    states: Mapping[str, Sequence[str | None]] | None = None,
) -> MeasureReading:
    """Draw up all charts of one measure of one coffee and say what they show.

    Parameters
    ----------
    measure
        What is measured, as it is to be read: "Dry mass loss", "Acidity, black".
    value
        Shape (batches,), in roasting order; NaN where not measured.
    sd
        Standard uncertainty of each value; one number for all, or shape (batches,). Infinite counts as not measured.
    batches, dates
        A label and a date for each batch, as they are to be read.
    unit
        Of the value, as it is to be read; empty for none.
    base
        What to set the batches against; learned from the batches if not given.
    in_baseline
        Which batches to learn from, shape (batches,); all by default. Leave out a batch only if its cause was found.
    rules
        Names from `RULES`.
    states
        What else is on record, by name: one label a batch, None where unknown.

    Returns
    -------
    MeasureReading

    Raises
    ------
    DesignError
        If shapes differ, fewer than four batches were measured, or nothing scatters.
    """
    x, u = read_series(value, sd)
    _check_labels(x.size, batches, dates)
    if base is None:
        chosen = np.ones(x.shape, dtype=bool) if in_baseline is None else np.asarray(in_baseline, dtype=bool)
        if chosen.shape != x.shape:
            raise DesignError(_say_marks(x.size, chosen.size))
        base = estimate_baseline(x[chosen], u[chosen])
    single, ranges = individuals(x, base, u), moving_range(x, base, u)
    lasting = _without_lone(x, base, single)
    average, sums = ewma(lasting, base, u), cusum(lasting, base, u)
    hits = apply_rules(x, base, u, rules)
    change = find_change(lasting, base, u)
    told = {} if states is None else states
    together = what_else_changed(change, told)
    coincidences = together if change.p < words.SIGN_P else ()

    names = words.Names(measure=measure, unit=unit, batches=batches, dates=dates)
    alerts = sorted({*single.signals, *average.signals, *sums.signals})
    shifted = min([*average.signals, *sums.signals, *([change.first] if change.p < words.SIGN_P else []), x.size])
    body = [
        *words.say_individuals(single, base, change, names),
        *words.say_ewma(average, single.signals, names),
        *words.say_cusum(sums, single.signals, names),
        *words.say_change(change, coincidences, list(told), base, names),
        *words.say_moving_range(ranges, single.signals, names),
        *words.say_rules(hits, shifted, names),
    ]
    if not body:
        body = [say("Nothing unusual is seen over {batches}.", batches=words.count_batches(change.batches))]
    usual, doubt = words.say_usual(base, names), words.say_doubt(base)
    return MeasureReading(
        measure=measure,
        unit=unit,
        base=base,
        individuals=single,
        moving_range=ranges,
        ewma=average,
        cusum=sums,
        rules=hits,
        change=change,
        coincidences=coincidences,
        alerts=tuple(alerts),
        usual=usual,
        body=tuple(body),
        doubt=doubt,
        sentences=(words.say_usual_of(usual, base, names), *body, *([doubt] if doubt else [])),
    )


def read_profile(
    values: Mapping[str, ArrayLike],
    sds: Mapping[str, ArrayLike | float],
    *,
    batches: Sequence[str],
    dates: Sequence[str] | None = None,
    bases: Mapping[str, Baseline] | None = None,
    in_baseline: ArrayLike | None = None,
    false_alarm: float = 0.0027,
) -> JointReading:
    """Chart several measures of one coffee as one, and say which batches are odd as a whole.

    Parameters
    ----------
    values, sds
        By measure: values of shape (batches,), NaN where not measured, and their standard uncertainties (0 where a
        measure has none).
    batches, dates
        A label and a date for each batch.
    bases
        By measure, what is usual, as `read_measure` learned it; learned from the batches where not given.
    in_baseline
        Which batches to learn from; all by default.
    false_alarm
        Chance of a signal for a sound batch.

    Notes
    -----
    Every value is first put in standard deviations of its own: its distance from the usual level, over the scatter of
    batches and its own uncertainty together. A batch tasted once then stands beside one tasted by all, and T² with the
    sample's covariance follows its Beta law (batches learned from) or F law (new ones) closely enough. How closely is
    told in docs/explanation/control-charts.md. A shift that lasts widens the sample's covariance; it is the affair of
    averages and sums.

    Raises
    ------
    DesignError
        If shapes differ, there are too few batches for so many measures, or measures follow from each other.
    """
    if not values:
        raise DesignError(say("A joint chart needs at least one measure."))
    series = {name: read_series(values[name], sds.get(name, 0.0)) for name in values}
    n = next(iter(series.values()))[0].size
    if any(x.size != n for x, _ in series.values()):
        raise DesignError(say("All measures of a joint chart need one entry for each batch."))
    _check_labels(n, batches, dates)
    chosen = np.ones(n, dtype=bool) if in_baseline is None else np.asarray(in_baseline, dtype=bool)
    if chosen.shape != (n,):
        raise DesignError(_say_marks(n, chosen.size))
    columns = []
    for name, (x, u) in series.items():
        known = bases.get(name) if bases else None
        usual = estimate_baseline(x[chosen], u[chosen]) if known is None else known
        columns.append((x - usual.centre) / usual.spread(np.where(np.isfinite(u), u, usual.typical_sd)))
    away = np.column_stack(columns)
    complete = np.isfinite(away).all(axis=1)
    base = estimate_joint_baseline(away[chosen], method="sample")
    # A batch with gaps took no part in the covariance: for its T² it is a new one.
    chart = t_squared(away, base, false_alarm=false_alarm, in_baseline=chosen & complete)
    return JointReading(
        measures=tuple(values),
        away=away,
        base=base,
        chart=chart,
        complete=int(complete.sum()),
        sentences=tuple(words.say_joint(chart, away, list(values), batches, dates)),
    )


def _without_lone(x: NDArray[np.float64], base: Baseline, single: Chart) -> NDArray[np.float64]:
    """Leave out odd batches with sound neighbours: one batch is no step."""
    known = np.flatnonzero(np.isfinite(x))
    side = np.zeros(x.size)
    odd = list(single.signals)
    side[odd] = np.sign(x[odd] - base.centre)
    beside = np.concatenate([[0.0], side[known], [0.0]])
    lone = (beside[1:-1] != 0) & (beside[1:-1] != beside[:-2]) & (beside[1:-1] != beside[2:])
    kept = x.copy()
    if known.size - lone.sum() >= 4:
        kept[known[lone]] = np.nan
    return kept


def _check_labels(n: int, batches: Sequence[str], dates: Sequence[str] | None) -> None:
    if len(batches) != n or (dates is not None and len(dates) != n):
        raise DesignError(
            say("There are {count} values; give one batch label, and one date if any, for each.", count=n)
        )


def _say_marks(batches: int, marks: int) -> Words:
    return say(
        "There are {batches} batches, but {marks} marks of the baseline; give one a batch.",
        batches=batches,
        marks=marks,
    )
