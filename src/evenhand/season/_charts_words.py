"""What the charts of a measure say, in sentences as mild as the evidence."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, log10

import numpy as np
from numpy.typing import NDArray

from evenhand.season._charts_baseline import Baseline
from evenhand.season._charts_change import ChangePoint, Coincidence, half_width90
from evenhand.season._charts_rules import RULES, RuleHit
from evenhand.season._charts_runlength import run_length_of_individuals
from evenhand.season._charts_series import Chart, Cusum
from evenhand.season._charts_t2 import JointChart

Floats = NDArray[np.float64]

CLEAR_P, SIGN_P = 0.01, 0.05
# With fewer batches nothing is called clear.
_FEW = 12
# Measures that carry at least this share of the largest part of T² are named, so many at most.
_TOLD_SHARE, _MOST_TOLD = 0.25, 3
# Baselines that give twice the false alarms of known limits say so.
_TOO_MANY = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Names:
    """How a measure and its batches are spoken of."""

    measure: str
    unit: str
    batches: Sequence[str]
    dates: Sequence[str] | None

    def batch(self, i: int) -> str:
        """Name a batch, with its date where there is one."""
        return self.batches[i] if self.dates is None else f"{self.batches[i]} ({self.dates[i]})"


def amount(number: float, spread: float, unit: str = "") -> str:
    """Write a number to about a tenth of the spread."""
    places = int(min(4, max(0, 1 - floor(log10(spread))))) if spread > 0 else 2
    text = f"{number:.{places}f}"
    text = text.lstrip("-") if float(text) == 0 else text
    return f"{text} {unit}" if unit else text


def say_baseline(base: Baseline, names: Names) -> list[str]:
    """Say what is usual, and how far the limits can be trusted."""
    centre = amount(base.centre, base.typical_sd, names.unit)
    if base.batches == 0:
        return [f"{names.measure} is set against the stated level {centre}."]
    scatter = f"batches scatter by {amount(base.batch_sd, base.typical_sd, names.unit)}"
    if base.batch_sd == 0:
        scatter = "batches scatter no more than measurement explains"
    said = [f"{names.measure}: usual is {centre}, and {scatter} (from {base.batches} batches)."]
    expected, known = base.false_alarm(), 1.0 / run_length_of_individuals()
    if expected > _TOO_MANY * known:
        said.append(
            f"Limits from {base.batches} batches are uncertain: a sound new batch lies outside about once in "
            f"{1 / expected:.0f}, not once in {1 / known:.0f}."
        )
    return said


def say_individuals(chart: Chart, base: Baseline, shift: ChangePoint, names: Names) -> list[str]:
    """Say where each batch beyond its limits lies; and which lies far out, but is known too little to say so.

    Three or more beyond their limits on the side of a step that is told are told together.
    """
    side = [i for i in chart.signals if i >= shift.earliest and (chart.value[i] - base.centre) * shift.shift > 0]
    together = side if shift.p < SIGN_P and len(side) > 2 else []
    said = []
    for i in np.flatnonzero(np.isfinite(chart.value)):
        value, lower, upper = float(chart.value[i]), float(chart.lower[i]), float(chart.upper[i])
        off = value - base.centre
        where = f"{amount(abs(off), base.typical_sd, names.unit)} {'above' if off > 0 else 'below'} the usual level"
        if i in together:
            continue
        if i in chart.signals:
            span = f"{amount(lower, base.typical_sd)} and {amount(upper, base.typical_sd, names.unit)}"
            said.append(f"Batch {names.batch(int(i))} lies {where}; sound ones lie between {span}.")
        elif abs(off) > 3.0 * base.typical_sd:
            said.append(
                f"Batch {names.batch(int(i))} lies {where}, but too little is known of it to say so: "
                f"it counts as {chart.weight[i]:.1f} of a usual batch."
            )
    if together:
        way = "above" if shift.shift > 0 else "below"
        listed = f"{', '.join(names.batches[i] for i in together[:-1])} and {names.batches[together[-1]]}"
        said.append(f"Batches {listed} lie {way} their limits.")
    return said


def say_moving_range(chart: Chart, told: Sequence[int], names: Names) -> list[str]:
    """Say where neighbours differ too much, except beside a batch that was told already."""
    known = np.flatnonzero(chart.weight > 0)
    said = []
    for i in chart.signals:
        before = int(known[np.searchsorted(known, i) - 1])
        if i in told or before in told:
            continue
        spread = float(chart.centre[i])
        said.append(
            f"A sign only: from batch {names.batch(before)} to {names.batch(i)} it jumps by "
            f"{amount(float(chart.value[i]), spread, names.unit)}; "
            f"neighbours usually differ by {amount(spread, spread, names.unit)}."
        )
    return said


def say_ewma(chart: Chart, told: Sequence[int], names: Names) -> list[str]:
    """Say where the moving average left its limits, once a stay, and whether it is still out."""

    def tell(first: int, last: int, lasting: bool) -> str:
        side = "above" if chart.value[first] > chart.centre[first] else "below"
        if first == last:
            return f"The moving average lies {side} its limit at batch {names.batch(first)}."
        until = "and is still there" if lasting else f"until batch {names.batch(last)}"
        return f"The moving average lies {side} its limit from batch {names.batch(first)} on, {until}."

    return _stays(chart.signals, chart.weight, told, tell)


def say_cusum(chart: Cusum, told: Sequence[int], names: Names) -> list[str]:
    """Say where small deviations have gathered beyond the decision limit, and since when."""
    onset = dict(zip(chart.signals, chart.onset, strict=True))

    def tell(first: int, last: int, lasting: bool) -> str:
        way = "rises" if chart.high[first] > chart.low[first] else "falls"
        return (
            f"Small {way} have gathered beyond the limit at batch {names.batch(first)}; "
            f"they began at about batch {names.batch(onset[first])}."
        )

    return _stays(chart.signals, chart.weight, told, tell)


def _stays(
    signals: Sequence[int], weight: Floats, told: Sequence[int], tell: Callable[[int, int, bool], str]
) -> list[str]:
    """Tell each unbroken stay beyond a limit once, except a lone batch that was told already.

    A batch that was not measured does not break a stay.
    """
    known = [int(i) for i in np.flatnonzero(weight > 0)]
    out = set(signals)
    said, stay = [], list[int]()
    for i in [*known, -1]:
        if i in out:
            stay.append(i)
        elif stay:
            if len(stay) > 1 or stay[0] not in told:
                said.append(tell(stay[0], stay[-1], i == -1))
            stay = []
    return said


def say_rules(hits: Sequence[RuleHit], before: int, names: Names) -> list[str]:
    """Say each pattern inside the limits, once a run of batches; what lies beyond the limits is told elsewhere.

    From batch `before` on a shift is told already, and patterns would only say it again.
    """
    said = []
    last: dict[str, int] = {}
    for hit in hits:
        if hit.rule == "beyond" or hit.batch >= before:
            continue
        if hit.rule not in last or hit.batch > last[hit.rule] + 1:
            said.append(f"A sign only: batch {names.batch(hit.batch)} {RULES[hit.rule]}.")
        last[hit.rule] = hit.batch
    return said


def say_change(
    change: ChangePoint, coincidences: Sequence[Coincidence], looked_at: Sequence[str], base: Baseline, names: Names
) -> list[str]:
    """Say from which batch on the level lies elsewhere, and what changed with it; silent where chance would do."""
    if change.p >= SIGN_P:
        return []
    wide = half_width90(base.freedom) * change.shift_sd
    size = abs(change.shift)
    way = "higher" if change.shift > 0 else "lower"
    verb = "lies" if change.p < CLEAR_P and change.batches >= _FEW else "may lie"
    span = f"{amount(size - wide, base.typical_sd)} to {amount(size + wide, base.typical_sd, names.unit)}"
    said = [
        f"From batch {names.batch(change.first)} on it {verb} {amount(size, base.typical_sd, names.unit)} {way} "
        f"(90 % interval {span}; chance alone would do so with probability {_chance(change.p)}). "
        + (
            f"The step lies between {names.batch(change.earliest)} and {names.batch(change.latest)}."
            if change.earliest != change.latest
            else "No other batch is as likely to be the first."
        )
    ]
    said += [_say_coincidence(one, names) for one in coincidences]
    if coincidences:
        said.append("What changed at the same time need not be the cause: change it back, or wait for the next time.")
    elif looked_at:
        said.append(f"Nothing else that is on record changed then ({', '.join(looked_at)}).")
    return said


def _say_coincidence(one: Coincidence, names: Names) -> str:
    rare = "" if one.by_chance <= 0.1 else f"; but it changes at {one.by_chance:.0%} of all batches"
    return (
        f"{one.what[:1].upper()}{one.what[1:]} changed from {one.before} to {one.after} at batch "
        f"{names.batch(one.batch)} (probability {one.probability:.2f} that the step lies there{rare})."
    )


def _chance(p: float) -> str:
    return "under 0.001" if p < 0.001 else f"{p:.3f}" if p < 0.01 else f"{p:.2f}"


def say_joint(
    chart: JointChart, away: Floats, measures: Sequence[str], batches: Sequence[str], dates: Sequence[str] | None
) -> list[str]:
    """Say which batches are odd as a whole, and by which measures most.

    Parameters
    ----------
    chart
        From `t_squared`.
    away
        How far each batch lies from the centre, shape (batches, measures).
    measures, batches, dates
        Labels.
    """
    names = Names(measure="", unit="", batches=batches, dates=dates)
    said = []
    for i in chart.signals:
        part = np.nan_to_num(chart.part[i], nan=-1.0)
        order = [int(j) for j in np.argsort(-part) if part[j] >= _TOLD_SHARE * part.max()][:_MOST_TOLD]
        parts = ", ".join(f"{measures[j]} ({'high' if away[i, j] > 0 else 'low'})" for j in order)
        size = f"T-squared {chart.t_squared[i]:.2f}, limit {chart.limit[i]:.2f}"
        said.append(f"Batch {names.batch(i)} is odd as a whole ({size}); given the others it shows most in {parts}.")
    return said or ["No batch is odd as a whole."]
