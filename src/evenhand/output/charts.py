"""Draws the two charts of a batch as SVG: its profile and its pulls, both as distance in tolerances.

One picture serves both: what was wanted is the line in the middle, the band around it is one tolerance to either side,
and a mark is as far out as the coffee or the pull was. The same drawing goes to the page, where classes take their
colours from the page's light or dark theme, and to paper, where the colours are written into the marks.

Why these are drawn here and not by a chart library is told, with figures, in docs/decisions/0003-own-svg-charts.md.
"""

import math
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape
from itertools import count
from typing import Final, TypeGuard

from evenhand.output.telling import write
from evenhand.output.words import DEVIATION_WORD, DEVIATIONS, MINUS, clean_text, format_number
from evenhand.verdict._service_words import name_service
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict, PullReading
from evenhand.words import Words, capitalise, join, say

WIDTH: Final = 340.0
"""Width of every chart in its own units; one unit is one CSS pixel on a phone of 360 pixels."""

REACH: Final = 3.0
"""How many tolerances the axis shows to either side; what lies beyond sits at the edge and has an arrow."""

_LEFT, _RIGHT = 120.0, 322.0
_ROW, _HEAD, _AXIS = 20.0, 20.0, 36.0
_LANE, _RADIUS = 14.0, 6.5
_LABEL_UNITS = 16
_QUANTITY_WORD: Final[Mapping[str, str]] = {**DEVIATION_WORD, "beverage": say("beverage"), "water": say("water")}


@dataclass(frozen=True, slots=True)
class Chart:
    """An SVG drawing with the words that stand for it where it cannot be seen, and its height for a width of 340.

    The drawing is in the language that was asked for when it was drawn (see `telling`); title and description beside it
    are English.
    """

    svg: str
    title: str
    description: str
    height: float


Ink = Mapping[str, str]
"""From the role of a mark (band, edge, dot ...) to the attributes that colour it."""

PAGE_INK: Final[Ink] = {
    role: f'class="k-{role}"'
    for role in (
        "band",
        "edge",
        "zero",
        "grid",
        "label",
        "group",
        "faint",
        "span",
        "dot",
        "out",
        "raw",
        "off",
        "number",
        "off-number",
    )
}
"""Marks carry classes; the page's style sheet gives them the colours of its theme."""

PAPER_INK: Final[Ink] = {
    "band": 'fill="#e3ebe6"',
    "edge": 'stroke="#7d8983" stroke-width="1"',
    "zero": 'stroke="#4a534e" stroke-width="1"',
    "grid": 'stroke="#d9d7cf" stroke-width="1"',
    "label": 'fill="#1c2126" font-size="13.5" font-family="Libertinus Serif"',
    "group": 'fill="#1c2126" font-size="13.5" font-weight="bold" font-family="Libertinus Serif"',
    "faint": 'fill="#4d565d" font-size="12.5" font-family="Libertinus Serif"',
    "span": 'stroke="#12495a" stroke-width="2.5"',
    "dot": 'fill="#12495a"',
    "out": 'fill="#9d1f27" stroke="#9d1f27"',
    "raw": 'fill="none" stroke="#5d564a" stroke-width="1.4"',
    "off": 'fill="#ffffff" stroke="#9d1f27" stroke-width="1.6"',
    "number": 'fill="#ffffff" font-size="10.5" font-weight="bold" font-family="Libertinus Serif"',
    "off-number": 'fill="#9d1f27" font-size="10.5" font-weight="bold" font-family="Libertinus Serif"',
}
"""Marks carry their colours; the only font is one that the PDF writer brings along."""


def draw_profile(verdict: BatchVerdict, ink: Ink, ident: str = "") -> Chart:
    """Draw a batch's profile: each attribute's estimate, its 90 % interval and the raw mean, against its target.

    Parameters
    ----------
    verdict
        The batch; attributes are grouped by service in their given order.
    ink
        `PAGE_INK` or `PAPER_INK`.
    ident
        Start of the ids of title and description; empty for a drawing that stands alone, which then has neither.

    Returns
    -------
    Chart
        An estimate within tolerance is a round dot, one outside is a square; the raw mean is a hollow diamond.
    """
    parts: list[str] = []
    y = 4.0
    for service in dict.fromkeys(row.service for row in verdict.profile):
        parts.append(_text(4, y + 14, capitalise(name_service(service)), ink["group"]))
        y += _HEAD
        for row in (row for row in verdict.profile if row.service == service):
            parts.append(_profile_row(row, y + _ROW / 2, ink))
            y += _ROW
    back, height = _background(y, ink, say("← less"), say("more →"))
    title = say("Profile of {batch} at the house recipe", batch=verdict.batch)
    return _finish(back + parts, height, title, describe_profile(verdict), ident)


def draw_pulls(verdict: BatchVerdict, ink: Ink, ident: str = "") -> Chart:
    """Draw how far each pull ran from the house recipe, quantity by quantity.

    Parameters
    ----------
    verdict
        The batch; its pulls are numbered from 1 in their given order.
    ink
        `PAGE_INK` or `PAPER_INK`.
    ident
        Start of the ids of title and description; empty for a drawing that stands alone, which then has neither.

    Returns
    -------
    Chart
        A pull is its number in a disc; one that may not be judged is its number in a hollow square.
    """
    parts: list[str] = []
    y = 6.0
    for quantity in DEVIATIONS:
        marks = [
            (number, deviation, pull.judgeable)
            for number, pull in enumerate(verdict.pulls, start=1)
            if _is_known(deviation := pull.deviation.get(quantity))
        ]
        if not marks:
            continue
        lanes = _assign_lanes([_place(deviation) for _, deviation, _ in marks])
        depth = (max(lanes) + 1) * _LANE + 6
        parts.append(_text(4, y + depth / 2 + 4.5, _QUANTITY_WORD[quantity], ink["label"]))
        for (number, deviation, judgeable), lane in zip(marks, lanes, strict=True):
            parts.append(_pull_mark(number, deviation, judgeable, y + 3 + (lane + 0.5) * _LANE, ink))
        y += depth
        parts.append(_line(0, y, WIDTH, y, ink["grid"]))
    back, height = _background(y, ink, say("← under"), say("over →"))
    title = say("Pulls of {batch} against the house recipe", batch=verdict.batch)
    return _finish(back + parts, height, title, describe_pulls(verdict), ident)


def describe_profile(verdict: BatchVerdict) -> Words:
    """Say in words what the profile chart shows: what lies outside, what may, what lies within.

    Parameters
    ----------
    verdict
        The batch.

    Returns
    -------
    str
        One to three sentences; the numbers themselves are in the table beside the chart.
    """
    outside: list[str] = []
    unsure: list[str] = []
    inside: list[str] = []
    for row in verdict.profile:
        name = say("{attribute} in {service}", attribute=row.attribute, service=name_service(row.service))
        where = _in_tolerances(row.estimate, row)
        if abs(where) > 1:
            size = format_number(abs(where), 1)
            if where > 0:
                outside.append(say("{attribute} {size} tolerances above", attribute=name, size=size))
            else:
                outside.append(say("{attribute} {size} tolerances below", attribute=name, size=size))
        elif _in_tolerances(row.upper90, row) > 1 or _in_tolerances(row.lower90, row) < -1:
            unsure.append(name)
        else:
            inside.append(name)
    said = []
    if outside:
        said.append(say("Outside tolerance: {attributes}.", attributes=join(outside)))
    if unsure:
        said.append(say("Within, but the interval reaches outside: {attributes}.", attributes=join(unsure)))
    if inside:
        said.append(say("Within with the whole interval: {attributes}.", attributes=join(inside)))
    return join(said, " ") if said else say("No attribute was scored.")


def describe_pulls(verdict: BatchVerdict) -> Words:
    """Say in words what the chart of pulls shows: for each pull, what ran outside its tolerance.

    Parameters
    ----------
    verdict
        The batch.

    Returns
    -------
    str
        One sentence a pull.
    """
    return join(map(_describe_pull, count(1), verdict.pulls), " ") if verdict.pulls else say("No pull was recorded.")


def _describe_pull(number: int, pull: PullReading) -> Words:
    off = []
    for quantity in DEVIATIONS:
        deviation = pull.deviation.get(quantity)
        if not _is_known(deviation) or abs(deviation) <= 1:
            continue
        size, name = format_number(abs(deviation), 1), DEVIATION_WORD[quantity]
        if deviation > 0:
            off.append(say("{quantity} {size} tolerances over", quantity=name, size=size))
        else:
            off.append(say("{quantity} {size} tolerances under", quantity=name, size=size))
    found = join(off) if off else say("all measured quantities within tolerance")
    if pull.judgeable:
        return say("Pull {number}: {found}.", number=number, found=found)
    return say("Pull {number}, not judged: {found}.", number=number, found=found)


def shorten(label: str, units: int = _LABEL_UNITS) -> str:
    """Cut a label to the room beside the axis; wide signs count twice. The full name is in the table.

    Parameters
    ----------
    label
        The name of an attribute.
    units
        The room, in letters.

    Returns
    -------
    str
        The label, or its beginning and an ellipsis.
    """
    label = clean_text(label)
    widths = [2 if unicodedata.east_asian_width(sign) in "WF" else 1 for sign in label]
    if sum(widths) <= units:
        return label
    kept, used = "", 1
    for sign, width in zip(label, widths, strict=True):
        if used + width > units:
            break
        kept, used = kept + sign, used + width
    return kept.rstrip() + "…"


def _profile_row(row: AttributeVerdict, y: float, ink: Ink) -> str:
    low, middle, high = (_in_tolerances(value, row) for value in (row.lower90, row.estimate, row.upper90))
    parts = [_text(12, y + 4.5, shorten(row.attribute, _LABEL_UNITS), ink["label"])]
    if not _is_known(middle):
        return "".join(parts)
    if row.raw_mean is not None:
        x = _place(_in_tolerances(row.raw_mean, row))
        parts.append(_path(f"M{_n(x)} {_n(y - 5)}l5 5l-5 5l-5 -5z", ink["raw"]))
    if _is_known(low) and _is_known(high):
        parts.append(_line(_place(low), y, _place(high), y, ink["span"]))
    outside = abs(middle) > 1
    x = _place(middle)
    if outside:
        parts.append(_path(f"M{_n(x - 4.5)} {_n(y - 4.5)}h9v9h-9z", ink["out"]))
    else:
        parts.append(f'<circle cx="{_n(x)}" cy="{_n(y)}" r="4.5" {ink["dot"]}/>')
    if abs(middle) > REACH:
        parts.append(_arrow(middle, y, 7, ink["out"]))
    return "".join(parts)


def _pull_mark(number: int, deviation: float, judgeable: bool, y: float, ink: Ink) -> str:
    x = _place(deviation)
    if judgeable:
        mark = f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(_RADIUS)}" {ink["dot"]}/>'
        words = _text(x, y + 3.5, str(number), ink["number"], "middle")
    else:
        mark = _path(f"M{_n(x - 6)} {_n(y - 6)}h12v12h-12z", ink["off"])
        words = _text(x, y + 3.7, str(number), ink["off-number"], "middle")
    arrow = _arrow(deviation, y, 9, ink["out"]) if abs(deviation) > REACH else ""
    return mark + words + arrow


def _arrow(value: float, y: float, gap: float, ink: str) -> str:
    side = math.copysign(1, value)
    return _path(f"M{_n(_place(value) + side * gap)} {_n(y - 4)}v8l{_n(side * 6)} -4z", ink)


def _background(bottom: float, ink: Ink, less: str, more: str) -> tuple[list[str], float]:
    """Draw band, lines and axis for rows that end at `bottom`; return them and the height of the whole drawing."""
    left, right = _place(-1), _place(1)
    parts = [f'<rect x="{_n(left)}" y="0" width="{_n(right - left)}" height="{_n(bottom)}" {ink["band"]}/>']
    for tick in range(-int(REACH), int(REACH) + 1):
        role = "zero" if tick == 0 else "edge" if abs(tick) == 1 else "grid"
        x = _place(tick)
        parts.append(_line(x, 0, x, bottom, ink[role]))
        sign = "" if tick == 0 else "+" if tick > 0 else MINUS
        parts.append(_text(x, bottom + 15, f"{sign}{abs(tick)}", ink["faint"], "middle"))
    parts.append(_text(_place(-REACH) - 8, bottom + 31, less, ink["faint"]))
    parts.append(_text(_place(REACH) + 8, bottom + 31, more, ink["faint"], "end"))
    parts.append(_text(4, bottom + 15, say("tolerances"), ink["faint"]))
    return parts, bottom + _AXIS


def _finish(parts: Sequence[str], height: float, title: str, description: str, ident: str) -> Chart:
    if ident:
        head = (
            f'<svg viewBox="0 0 {_n(WIDTH)} {_n(height)}" role="img" aria-labelledby="{ident}-t {ident}-d">'
            f'<title id="{ident}-t">{escape(write(title))}</title>'
            f'<desc id="{ident}-d">{escape(write(description))}</desc>'
        )
    else:
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(WIDTH)} {_n(height)}" '
            f'width="{_n(WIDTH)}" height="{_n(height)}">'
        )
    svg = f"{head}{''.join(parts)}</svg>"
    return Chart(svg=svg, title=clean_text(title), description=clean_text(description), height=height)


def _assign_lanes(places: Sequence[float]) -> list[int]:
    """Give each mark the lowest lane in which it touches no mark drawn before it."""
    taken: list[list[float]] = []
    lanes: list[int] = []
    for place in places:
        lane = next(
            (i for i, row in enumerate(taken) if all(abs(place - other) >= 2 * _RADIUS + 1 for other in row)),
            len(taken),
        )
        if lane == len(taken):
            taken.append([])
        taken[lane].append(place)
        lanes.append(lane)
    return lanes


def _in_tolerances(value: float, row: AttributeVerdict) -> float:
    """Return the signed distance from the target in tolerances; a target without tolerance allows no distance."""
    distance = value - row.target
    if row.tolerance > 0:
        return distance / row.tolerance
    return 0.0 if distance == 0 else math.copysign(math.inf, distance)


def _is_known(value: float | None) -> TypeGuard[float]:
    return value is not None and not math.isnan(value)


def _place(tolerances: float) -> float:
    inside = min(REACH, max(-REACH, tolerances))
    return (_LEFT + _RIGHT) / 2 + inside * (_RIGHT - _LEFT) / (2 * REACH)


def _n(number: float) -> str:
    return f"{number:.1f}".removesuffix(".0")


def _line(x1: float, y1: float, x2: float, y2: float, ink: str) -> str:
    return f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}" {ink}/>'


def _path(d: str, ink: str) -> str:
    return f'<path d="{d}" {ink}/>'


def _text(x: float, y: float, words: str, ink: str, anchor: str = "start") -> str:
    at = "" if anchor == "start" else f' text-anchor="{anchor}"'
    return f'<text x="{_n(x)}" y="{_n(y)}"{at} {ink}>{escape(write(words))}</text>'
