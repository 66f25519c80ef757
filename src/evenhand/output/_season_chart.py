"""Draws one measure of one coffee over its batches as SVG: every batch with its limits, and the moving average."""

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from evenhand.output._season_words import decimals
from evenhand.output.charts import Chart, _finish, _line, _n, _path, _text
from evenhand.output.words import format_number
from evenhand.verdict.season import CoffeeSeason, MeasureSeason
from evenhand.words import Words, join, say, say_many

_LEFT, _RIGHT, _TOP, _BOTTOM = 52.0, 334.0, 8.0, 118.0
_HEIGHT: Final = 140.0
# Limits and intervals of batches that are hardly known would press all others flat: the picture ends here.
_REACH: Final = 5.0
_NINETY: Final = 1.645

INK: Final = {role: f'class="k-{role}"' for role in ("band", "edge", "zero", "faint", "own", "dot", "out", "mean")}
"""Marks carry classes; the page's style sheet gives them the colours of its theme."""


def draw_measure(measure: MeasureSeason, coffee: CoffeeSeason, ident: str) -> Chart:
    """Draw the charts of single batches and of the moving average in one picture.

    Parameters
    ----------
    measure
        One that has a reading.
    coffee
        Whose batches they are.
    ident
        Start of the ids of title and description.

    Returns
    -------
    Chart
        A round dot lies within its own limits (the band, wider where little is known of the batch), a square beyond;
        thin lines are 90 % intervals, and the joined line is the moving average.
    """
    title = say("{measure}, {coffee}", measure=measure.measure, coffee=coffee.coffee)
    reading = measure.reading
    if reading is None:
        return _finish([], 1.0, title, measure.too_little, ident)
    single, average = reading.individuals, reading.ewma
    low, high = _range(measure)

    def up(value: float) -> float:
        return _BOTTOM - (min(max(value, low), high) - low) / (high - low) * (_BOTTOM - _TOP)

    count = len(coffee.batches)
    step = (_RIGHT - _LEFT) / count
    known = np.flatnonzero(np.isfinite(single.value)).tolist()
    back, marks = [], []
    for i in known:
        x, half = _LEFT + (i + 0.5) * step, step / 2
        top, bottom = up(float(single.upper[i])), up(float(single.lower[i]))
        back.append(
            f'<rect x="{_n(x - half)}" y="{_n(top)}" width="{_n(2 * half)}" height="{_n(bottom - top)}" {INK["band"]}/>'
        )
        back += [_line(x - half, edge, x + half, edge, INK["edge"]) for edge in (top, bottom)]
        value, reach = float(single.value[i]), _NINETY * float(measure.sd[i])
        marks.append(_line(x, up(value - reach), x, up(value + reach), INK["own"]))
        size = min(3.2, max(1.2, 0.35 * step))
        if i in single.signals:
            side = 2 * size + 1
            marks.append(
                _path(f"M{_n(x - side / 2)} {_n(up(value) - side / 2)}h{_n(side)}v{_n(side)}h-{_n(side)}z", INK["out"])
            )
        else:
            marks.append(f'<circle cx="{_n(x)}" cy="{_n(up(value))}" r="{_n(size)}" {INK["dot"]}/>')
    back.append(_line(_LEFT, up(reading.base.centre), _RIGHT, up(reading.base.centre), INK["zero"]))
    points = [
        (_LEFT + (i + 0.5) * step, up(float(average.value[i]))) for i in range(count) if np.isfinite(average.value[i])
    ]
    mean = [_path("M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points), INK["mean"])] if points else []
    return _finish(
        [*back, *mean, *marks, *_labels(measure, coffee, up)], _HEIGHT, title, describe(measure, coffee), ident
    )


def describe(measure: MeasureSeason, coffee: CoffeeSeason) -> str:
    """Say in words what the picture shows.

    Parameters
    ----------
    measure, coffee
        As drawn.
    """
    reading = measure.reading
    if reading is None:
        return measure.too_little
    places, base, average = decimals(measure), reading.base, reading.ewma
    known = np.flatnonzero(np.isfinite(reading.individuals.value)).tolist()
    low, high = (base.centre + side * 3.0 * base.typical_sd for side in (-1.0, 1.0))
    said = [
        say_many(
            "{count} batch from {first} to {last}.",
            "{count} batches from {first} to {last}.",
            count=len(known),
            first=coffee.batches[known[0]],
            last=coffee.batches[known[-1]],
        ),
        say(
            "Usual is {usual}; a batch of usual tasting or measurement lies between {low} and {high}.",
            usual=_level(base.centre, measure),
            low=format_number(low, places),
            high=_level(high, measure),
        ),
        _describe_signals(measure, coffee),
    ]
    seen = np.flatnonzero(np.isfinite(average.value))
    if seen.size:
        last = int(seen[-1])
        level = _level(float(average.value[last]), measure)
        if last in average.signals:
            said.append(say("The moving average ends at {level}, beyond its limits.", level=level))
        else:
            said.append(say("The moving average ends at {level}, within its limits.", level=level))
    return join(said, " ")


def _describe_signals(measure: MeasureSeason, coffee: CoffeeSeason) -> Words:
    signals = measure.reading.individuals.signals if measure.reading else ()
    if not signals:
        return say("No batch lies beyond its limits.")
    out = [
        say(
            "{batch} at {value}",
            batch=coffee.batches[i],
            value=format_number(float(measure.value[i]), decimals(measure)),
        )
        for i in signals
    ]
    return say("Beyond their limits: {batches}.", batches=join(out))


def _level(value: float, measure: MeasureSeason) -> str:
    """Write a value as it is read, with its unit."""
    number = format_number(value, decimals(measure))
    return say("{number} {unit}", number=number, unit=measure.unit) if measure.unit else number


def _range(measure: MeasureSeason) -> tuple[float, float]:
    """Ends of the scale: all values, and the limits of usual batches with a little room."""
    reading = measure.reading
    if reading is None:
        return 0.0, 1.0
    base, known = reading.base, measure.value[np.isfinite(measure.value) & np.isfinite(measure.sd)]
    reach = 3.4 * base.typical_sd
    limit = _REACH * base.typical_sd
    ends = np.concatenate([reading.individuals.lower, reading.individuals.upper])
    ends = np.clip(ends[np.isfinite(ends)], base.centre - limit, base.centre + limit)
    low = min(float(known.min()), float(ends.min()), base.centre - reach)
    high = max(float(known.max()), float(ends.max()), base.centre + reach)
    room = 0.03 * (high - low)
    return low - room, high + room


def _labels(measure: MeasureSeason, coffee: CoffeeSeason, up: Callable[[float], float]) -> Sequence[str]:
    reading = measure.reading
    if reading is None:
        return ()
    base, places = reading.base, decimals(measure)
    said = [
        _text(_LEFT - 5, up(level) + 4, format_number(level, places), INK["faint"], "end")
        for level in (base.centre - 3.0 * base.typical_sd, base.centre, base.centre + 3.0 * base.typical_sd)
    ]
    said.append(_text(_LEFT, _BOTTOM + 17, coffee.dates[0], INK["faint"]))
    if len(coffee.dates) > 1:
        said.append(_text(_RIGHT, _BOTTOM + 17, coffee.dates[-1], INK["faint"], "end"))
    return said
