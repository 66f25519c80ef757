"""The words of the green and of likeness that terminal and page share, one line a lot and one a comparison."""

from collections.abc import Mapping
from typing import Final

from evenhand.output.words import UNKNOWN, format_number
from evenhand.verdict.green import CoffeeGreen, GreenReading, LotOutlook
from evenhand.verdict.likeness import LotComparison

ACTION_WORD: Final[Mapping[str, str]] = {
    "sell faster or move to a blend": "Sell or blend",
    "taste sooner": "Taste sooner",
    "carry on": "Carry on",
    "": "Cannot tell",
}
"""What to do about a lot in words, most pressing first; the empty one is for a lot without sales or stock."""

ACTION_SIGN: Final[Mapping[str, str]] = {
    "sell faster or move to a blend": "■",
    "taste sooner": "▲",
    "carry on": "●",
    "": "–",
}
"""A shape for each, so that colour only repeats it."""

READING_GREEN: Final[tuple[tuple[str, str], ...]] = (
    (
        "Likely to leave its tolerance",
        "The calendar month by which an attribute of the lot has left its tolerance with a chance of one half, and the "
        "months for 10 and 90 %. It is a prompt to taste, never an expiry: no source supports one.",
    ),
    (
        "Months since harvest",
        "From the middle of the picking to the roast. Warm, damp or airy storage makes months count for more, by how "
        "much is uncertain and is in the intervals. What was not written down is taken as 20 °C and a water activity "
        "of 0.55.",
    ),
    (
        "Left and sales",
        "Delivered less what the batches took; sales are the green roasted in the last three months.",
    ),
    (
        "Tolerances apart",
        "The root mean square of the differences, each over its tolerance, drawn in by what noise explains. 1 is as "
        "far as if every attribute stood at the edge of its tolerance.",
    ),
    (
        "Not shown",
        "A test that fails to show a difference does not show likeness, and one that fails to show likeness does not "
        "show a difference.",
    ),
)
"""How to read the green and the likeness of lots."""

_ORDER: Final = tuple(ACTION_WORD)


def action_of(lot: LotOutlook) -> str:
    """Give what to do about a lot, as a key of `ACTION_WORD`."""
    return lot.advice.action if lot.advice else ""


def live_lots(green: GreenReading) -> tuple[tuple[CoffeeGreen, LotOutlook], ...]:
    """Give the lots that are in use or have stock that ages, what presses most first; not those of unknown history."""
    found = [
        (coffee, lot)
        for coffee in green.coffees
        for lot in coffee.lots
        if (lot.current or lot.attributes) and (lot.months_now is not None or lot.stock is not None)
    ]
    return tuple(sorted(found, key=lambda pair: _ORDER.index(action_of(pair[1]))))


def describe_unknown(green: GreenReading) -> str:
    """Say in a sentence of how many lots in use neither harvest nor delivery is known; empty where none is."""
    unknown = [
        lot.lot
        for coffee in green.coffees
        for lot in coffee.lots
        if lot.current and lot.months_now is None and lot.stock is None
    ]
    if not unknown:
        return ""
    lots = "one lot" if len(unknown) == 1 else f"{len(unknown)} lots"
    return f"Neither harvest nor delivery is written down of {lots} in use, so nothing is said of their age and stock."


def lot_name(lot: LotOutlook) -> str:
    """Name a lot with its harvest."""
    return f"{lot.lot} ({lot.harvest})" if lot.harvest else lot.lot


def lot_cells(lot: LotOutlook) -> tuple[str, str, str, str]:
    """Months since harvest, stock, sales and the first attribute to leave, each short; a dash where unknown."""
    months = UNKNOWN if lot.months_now is None else format_number(lot.months_now, 0)
    left = sales = UNKNOWN
    if lot.stock is not None:
        left = f"{format_number(lot.stock.left, 1)} {lot.stock.unit}"
        sales = format_number(lot.stock.a_month.value, 1)
    return months, left, sales, first_to_leave(lot)


def first_to_leave(lot: LotOutlook) -> str:
    """Name the attribute that matters most for the stock, with its month and interval."""
    first = next((one for one in lot.attributes if one.likely is not None), None)
    if first is None:
        return UNKNOWN
    if first.p_left_now >= 0.5:
        return f"{first.name}: likely {first.toward} already"
    return f"{first.name}: {first.likely} ({first.early} to {first.late or 'later'})"


def describe_test(one: LotComparison) -> str:
    """Say in a sentence how many answers a blind test of two lots would take; empty against a target."""
    if one.difference is None or one.similarity is None:
        return ""
    size = f"d' {one.difference.d_prime:.1f}"
    return (
        f"Blind, a difference of {size} would take {one.difference.answers} {one.difference.method} answers to find "
        f"({one.sittings[0]} sittings of {one.difference.tasters} tasters), and {one.similarity.answers} to show that "
        f"it is not there ({one.sittings[1]} sittings), each with a chance of {100 * one.difference.power:.0f} %. Not "
        "finding one shows nothing."
    )
