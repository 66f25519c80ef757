"""Draws one attribute of one lot over the months since its harvest as SVG: batches, line, tolerance, and today."""

from collections.abc import Callable
from typing import Final

from evenhand.output.charts import Chart, _finish, _line, _n, _path, _text
from evenhand.output.words import format_number
from evenhand.verdict.green import AttributeOutlook, LotOutlook
from evenhand.words import Words, capitalise, join, say

_LEFT, _RIGHT, _TOP, _BOTTOM = 40.0, 334.0, 8.0, 128.0
_HEIGHT: Final = 168.0
_NINETY: Final = 1.645
_STEP: Final = 3  # months between marks of the axis

INK: Final = {
    role: f'class="k-{role}"' for role in ("band", "edge", "zero", "faint", "own", "dot", "mean", "reach", "now")
}
"""Marks carry classes; the style sheet gives them the colours of its theme."""


def draw_ageing(one: AttributeOutlook, lot: LotOutlook, ident: str) -> Chart:
    """Draw where an attribute of a lot stood when it was tasted, and where it is likely to go.

    Parameters
    ----------
    one, lot
        The attribute and its lot.
    ident
        Start of the ids of title and description.

    Returns
    -------
    Chart
        Dots are batches with 90 % intervals, the band is the tolerance, the line with its shade is the level of the lot
        with its 90 % interval, and the upright line is today.
    """
    title = say("{attribute}, lot {lot}", attribute=capitalise(one.name), lot=lot.lot)
    low, high = _range(one)
    first, last = one.months[0], max(one.months[-1], 1.0)

    def up(value: float) -> float:
        return _BOTTOM - (min(max(value, low), high) - low) / (high - low) * (_BOTTOM - _TOP)

    def along(months: float) -> float:
        return _LEFT + (months - first) / (last - first) * (_RIGHT - _LEFT)

    top, bottom = up(high if one.high is None else one.high), up(low if one.low is None else one.low)
    parts = [
        f'<rect x="{_n(_LEFT)}" y="{_n(top)}" width="{_n(_RIGHT - _LEFT)}" height="{_n(bottom - top)}" {INK["band"]}/>'
    ]
    parts += [_line(_LEFT, up(end), _RIGHT, up(end), INK["edge"]) for end in (one.low, one.high) if end is not None]
    reach = [_NINETY * sd for sd in one.level_sd]
    above = [(along(m), up(v + r)) for m, v, r in zip(one.months, one.level, reach, strict=True)]
    below = [(along(m), up(v - r)) for m, v, r in zip(one.months, one.level, reach, strict=True)]
    parts.append(_path(f"M{_joined(above)}L{_joined(below[::-1])}z", INK["reach"]))
    parts.append(
        _path("M" + _joined([(along(m), up(v)) for m, v in zip(one.months, one.level, strict=True)]), INK["mean"])
    )
    for m, value, sd in zip(one.tasted_months, one.tasted, one.tasted_sd, strict=True):
        parts.append(_line(along(m), up(value - _NINETY * sd), along(m), up(value + _NINETY * sd), INK["own"]))
        parts.append(f'<circle cx="{_n(along(m))}" cy="{_n(up(value))}" r="3.2" {INK["dot"]}/>')
    if lot.months_now is not None:
        parts.append(_line(along(lot.months_now), _TOP, along(lot.months_now), _BOTTOM, INK["now"]))
    return _finish([*parts, *_labels(one, up, along, last)], _HEIGHT, title, describe(one, lot), ident)


def describe(one: AttributeOutlook, lot: LotOutlook) -> Words:
    """Say in words what the picture shows.

    Parameters
    ----------
    one, lot
        As drawn.
    """
    said = []
    if one.tasted:
        said.append(
            say(
                "{count} batches from month {first:.0f} to {last:.0f} after harvest, from {low} to {high} points.",
                count=len(one.tasted),
                first=one.tasted_months[0],
                last=one.tasted_months[-1],
                low=format_number(one.tasted[0], 1),
                high=format_number(one.tasted[-1], 1),
            )
        )
    else:
        said.append(say("No batch of it was tasted; the line is borrowed from other lots."))
    said.append(
        say(
            "The lot's level today is {now}, and {level} ± {sd} in month {month:.0f}.",
            now=format_number(one.now.value, 1),
            level=format_number(one.level[-1], 1),
            sd=format_number(one.level_sd[-1], 1),
            month=one.months[-1],
        )
    )
    said.append(say("The tolerance reaches from {low} to {high}.", low=_limit(one.low), high=_limit(one.high)))
    if one.likely is not None:
        if one.toward == "below":
            said.append(say("It is likely below it from {month} on.", month=one.likely))
        else:
            said.append(say("It is likely above it from {month} on.", month=one.likely))
    return join(said, " ")


def _limit(end: float | None) -> str:
    return say("the end of the scale") if end is None else format_number(end, 1)


def _joined(points: list[tuple[float, float]]) -> str:
    return "L".join(f"{_n(x)} {_n(y)}" for x, y in points)


def _range(one: AttributeOutlook) -> tuple[float, float]:
    """Ends of the scale: what was tasted, the line, and the tolerance with a little room."""
    ends = [*one.tasted, *one.level, *(end for end in (one.low, one.high) if end is not None)]
    room = max(0.1 * (max(ends) - min(ends)), 0.25)
    return min(ends) - room, max(ends) + room


def _labels(
    one: AttributeOutlook, up: Callable[[float], float], along: Callable[[float], float], last: float
) -> list[str]:
    said = [
        _text(_LEFT - 5, up(end) + 4, format_number(end, 1), INK["faint"], "end")
        for end in (one.low, one.high)
        if end is not None
    ]
    months = range(0, int(last) + 1, _STEP * (1 + int(last) // 30))
    said += [_text(along(m), _BOTTOM + 15, str(m), INK["faint"], "middle") for m in months]
    said.append(_text((_LEFT + _RIGHT) / 2, _BOTTOM + 31, say("months since harvest"), INK["faint"], "middle"))
    return said
