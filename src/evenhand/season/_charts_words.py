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
from evenhand.words import Words, capitalise, join, say, say_many

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


def amount(number: float, spread: float, unit: str = "") -> Words:
    """Write a number to about a tenth of the spread."""
    places = int(min(4, max(0, 1 - floor(log10(spread))))) if spread > 0 else 2
    if float(f"{number:.{places}f}") == 0:
        number = 0.0  # never "-0.00"
    if unit:
        return say("{number:.{places}f} {unit}", number=number, places=places, unit=unit)
    return say("{number:.{places}f}", number=number, places=places)


def count_batches(count: int) -> Words:
    """Say how many batches."""
    return say_many("{count} batch", "{count} batches", count=count)


def say_usual(base: Baseline, names: Names) -> Words:
    """Say what is usual, as the rest of a sentence that begins with the measure."""
    centre = amount(base.centre, base.typical_sd, names.unit)
    if base.batches == 0:
        return say("is set against the stated level {centre}.", centre=centre)
    batches = count_batches(base.batches)
    if base.batch_sd == 0:
        return say(
            "usual is {centre}, and batches scatter no more than measurement explains (from {batches}).",
            centre=centre,
            batches=batches,
        )
    scatter = amount(base.batch_sd, base.typical_sd, names.unit)
    return say(
        "usual is {centre}, and batches scatter by {scatter} (from {batches}).",
        centre=centre,
        scatter=scatter,
        batches=batches,
    )


def say_usual_of(usual: str, base: Baseline, names: Names) -> Words:
    """Put the measure before what `say_usual` gives."""
    if base.batches == 0:
        return say("{measure} {usual}", measure=names.measure, usual=usual)
    return say("{measure}: {usual}", measure=names.measure, usual=usual)


def say_doubt(base: Baseline) -> str:
    """Say how far the limits can be trusted; empty where they are as good as known ones."""
    expected, known = base.false_alarm(), 1.0 / run_length_of_individuals()
    if base.batches == 0 or expected <= _TOO_MANY * known:
        return ""
    return say(
        "Limits from {batches} are uncertain: a sound new batch lies outside about once in {seen:.0f}, not once in "
        "{known:.0f}.",
        batches=count_batches(base.batches),
        seen=1 / expected,
        known=1 / known,
    )


def say_individuals(chart: Chart, base: Baseline, shift: ChangePoint, names: Names) -> list[str]:
    """Say where each batch beyond its limits lies; and which lies far out, but is known too little to say so.

    Three or more beyond their limits on the side of a step that is told are told together.
    """
    side = [i for i in chart.signals if i >= shift.earliest and (chart.value[i] - base.centre) * shift.shift > 0]
    together = side if shift.p < SIGN_P and len(side) > 2 else []
    said: list[str] = []
    for i in np.flatnonzero(np.isfinite(chart.value)):
        if i in together:
            continue
        off = float(chart.value[i]) - base.centre
        batch, where = names.batch(int(i)), _say_where(off, base, names)
        if i in chart.signals:
            said.append(
                say(
                    "Batch {batch} lies {where}; sound ones lie between {lower} and {upper}.",
                    batch=batch,
                    where=where,
                    lower=amount(float(chart.lower[i]), base.typical_sd),
                    upper=amount(float(chart.upper[i]), base.typical_sd, names.unit),
                )
            )
        elif abs(off) > 3.0 * base.typical_sd:
            said.append(
                say(
                    "Batch {batch} lies {where}, but too little is known of it to say so: it counts as {weight:.1f} of "
                    "a usual batch.",
                    batch=batch,
                    where=where,
                    weight=chart.weight[i],
                )
            )
    if together:
        listed = say_list([names.batches[i] for i in together])
        if shift.shift > 0:
            said.append(say("Batches {batches} lie above their limits.", batches=listed))
        else:
            said.append(say("Batches {batches} lie below their limits.", batches=listed))
    return said


def _say_where(off: float, base: Baseline, names: Names) -> Words:
    size = amount(abs(off), base.typical_sd, names.unit)
    if off > 0:
        return say("{size} above the usual level", size=size)
    return say("{size} below the usual level", size=size)


def say_list(names: Sequence[str]) -> Words:
    """List names: commas between them, and a word before the last."""
    if len(names) < 2:
        return join(names)
    return say("{names} and {last}", names=join(names[:-1]), last=names[-1])


def say_moving_range(chart: Chart, told: Sequence[int], names: Names) -> list[str]:
    """Say where neighbours differ too much, except beside a batch that was told already."""
    known = np.flatnonzero(chart.weight > 0)
    said: list[str] = []
    for i in chart.signals:
        before = int(known[np.searchsorted(known, i) - 1])
        if i in told or before in told:
            continue
        spread = float(chart.centre[i])
        said.append(
            say(
                "A sign only: from batch {before} to {batch} it jumps by {jump}; neighbours usually differ by {usual}.",
                before=names.batch(before),
                batch=names.batch(i),
                jump=amount(float(chart.value[i]), spread, names.unit),
                usual=amount(spread, spread, names.unit),
            )
        )
    return said


def say_ewma(chart: Chart, told: Sequence[int], names: Names) -> list[str]:
    """Say where the moving average left its limits, once a stay, and whether it is still out."""

    def say_stay(first: int, last: int, lasting: bool) -> Words:
        high = chart.value[first] > chart.centre[first]
        side = say("above its limit") if high else say("below its limit")
        batch = names.batch(first)
        if first == last:
            return say("The moving average lies {side} at batch {batch}.", side=side, batch=batch)
        if lasting:
            return say(
                "The moving average lies {side} from batch {batch} on, and is still there.", side=side, batch=batch
            )
        return say(
            "The moving average lies {side} from batch {batch} on, until batch {last}.",
            side=side,
            batch=batch,
            last=names.batch(last),
        )

    return _stays(chart.signals, chart.weight, told, say_stay)


def say_cusum(chart: Cusum, told: Sequence[int], names: Names) -> list[str]:
    """Say where small deviations have gathered beyond the decision limit, and since when."""
    onset = dict(zip(chart.signals, chart.onset, strict=True))

    def say_stay(first: int, last: int, lasting: bool) -> Words:
        batch, began = names.batch(first), names.batch(onset[first])
        if chart.high[first] > chart.low[first]:
            return say(
                "Small rises have gathered beyond the limit at batch {batch}; they began at about batch {began}.",
                batch=batch,
                began=began,
            )
        return say(
            "Small falls have gathered beyond the limit at batch {batch}; they began at about batch {began}.",
            batch=batch,
            began=began,
        )

    return _stays(chart.signals, chart.weight, told, say_stay)


def _stays(
    signals: Sequence[int], weight: Floats, told: Sequence[int], say_stay: Callable[[int, int, bool], str]
) -> list[str]:
    """Tell each unbroken stay beyond a limit once, except a lone batch that was told already.

    A batch that was not measured does not break a stay.
    """
    known = [int(i) for i in np.flatnonzero(weight > 0)]
    out = set(signals)
    said, stay = list[str](), list[int]()
    for i in [*known, -1]:
        if i in out:
            stay.append(i)
        elif stay:
            if len(stay) > 1 or stay[0] not in told:
                said.append(say_stay(stay[0], stay[-1], i == -1))
            stay = []
    return said


def say_rules(hits: Sequence[RuleHit], before: int, names: Names) -> list[str]:
    """Say each pattern inside the limits, once a run of batches; what lies beyond the limits is told elsewhere.

    From batch `before` on a shift is told already, and patterns would only say it again.
    """
    said: list[str] = []
    last: dict[str, int] = {}
    for hit in hits:
        if hit.rule == "beyond" or hit.batch >= before:
            continue
        if hit.rule not in last or hit.batch > last[hit.rule] + 1:
            said.append(say("A sign only: batch {batch} {does}.", batch=names.batch(hit.batch), does=RULES[hit.rule]))
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
    step = say(
        "From batch {batch} on it {moved} (90 % interval {low} to {high}; chance alone would do so with probability "
        "{chance}).",
        batch=names.batch(change.first),
        moved=_say_moved(change, base, names),
        low=amount(size - wide, base.typical_sd),
        high=amount(size + wide, base.typical_sd, names.unit),
        chance=_say_chance(change.p),
    )
    said: list[str] = [join([step, _say_place(change, names)], " ")]
    said += [_say_coincidence(one, names) for one in coincidences]
    if coincidences:
        said.append(
            say("What changed at the same time need not be the cause: change it back, or wait for the next time.")
        )
    elif looked_at:
        said.append(say("Nothing else that is on record changed then ({records}).", records=join(looked_at)))
    return said


def _say_moved(change: ChangePoint, base: Baseline, names: Names) -> Words:
    size = amount(abs(change.shift), base.typical_sd, names.unit)
    if change.p < CLEAR_P and change.batches >= _FEW:
        return say("lies {size} higher", size=size) if change.shift > 0 else say("lies {size} lower", size=size)
    return say("may lie {size} higher", size=size) if change.shift > 0 else say("may lie {size} lower", size=size)


def _say_place(change: ChangePoint, names: Names) -> Words:
    if change.earliest == change.latest:
        return say("No other batch is as likely to be the first.")
    first, last = names.batch(change.earliest), names.batch(change.latest)
    return say("The step lies between {first} and {last}.", first=first, last=last)


def _say_coincidence(one: Coincidence, names: Names) -> Words:
    change = say(
        "{what} changed from {before} to {after} at batch {batch}",
        what=capitalise(one.what),
        before=one.before,
        after=one.after,
        batch=names.batch(one.batch),
    )
    if one.by_chance <= 0.1:
        return say(
            "{change} (probability {probability:.2f} that the step lies there).",
            change=change,
            probability=one.probability,
        )
    return say(
        "{change} (probability {probability:.2f} that the step lies there; but it changes at {often:.0%} of all "
        "batches).",
        change=change,
        probability=one.probability,
        often=one.by_chance,
    )


def _say_chance(p: float) -> Words:
    if p < 0.001:
        return say("under {p:.3f}", p=0.001)
    return say("{p:.3f}", p=p) if p < 0.01 else say("{p:.2f}", p=p)


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
    said: list[str] = []
    for i in chart.signals:
        part = np.nan_to_num(chart.part[i], nan=-1.0)
        order = [int(j) for j in np.argsort(-part) if part[j] >= _TOLD_SHARE * part.max()][:_MOST_TOLD]
        parts = [
            say("{measure} (high)", measure=measures[j])
            if away[i, j] > 0
            else say("{measure} (low)", measure=measures[j])
            for j in order
        ]
        said.append(
            say(
                "Batch {batch} is odd as a whole (T-squared {size:.2f}, limit {limit:.2f}); given the others it shows "
                "most in {measures}.",
                batch=names.batch(i),
                size=chart.t_squared[i],
                limit=chart.limit[i],
                measures=join(parts),
            )
        )
    return said or [say("No batch is odd as a whole.")]
