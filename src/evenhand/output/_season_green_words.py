"""The words of the green and of likeness that terminal and page share, one line a lot and one a comparison."""

from collections.abc import Mapping
from typing import Final

from evenhand.output.words import UNKNOWN, format_number
from evenhand.panel._discrimination_psychometric import method_word
from evenhand.verdict._naming import name_unit
from evenhand.verdict.green import CoffeeGreen, GreenReading, LotOutlook
from evenhand.verdict.likeness import LotComparison
from evenhand.words import Words, say, say_many

ACTION_WORD: Final[Mapping[str, Words]] = {
    "sell faster or move to a blend": say("Sell or blend"),
    "taste sooner": say("Taste sooner"),
    "carry on": say("Carry on"),
    "": say("Cannot tell"),
}
"""What to do about a lot in words, most pressing first; the empty one is for a lot without sales or stock."""

ACTION_SIGN: Final[Mapping[str, str]] = {
    "sell faster or move to a blend": "■",
    "taste sooner": "▲",
    "carry on": "●",
    "": "–",
}
"""A shape for each, so that colour only repeats it."""

READING_GREEN: Final[tuple[tuple[Words, Words], ...]] = (
    (
        say("Likely to leave its tolerance"),
        say(
            "The calendar month by which an attribute of the lot has left its tolerance with a chance of one half, and "
            "the months for 10 and 90 %. It is a prompt to taste, never an expiry: no source supports one."
        ),
    ),
    (
        say("Months since harvest"),
        say(
            "From the middle of the picking to the roast. Warm, damp or airy storage makes months count for more, by "
            "how much is uncertain and is in the intervals. What was not written down is taken as 20 °C and a water "
            "activity of 0.55."
        ),
    ),
    (
        say("Left and sales"),
        say("Delivered less what the batches took; sales are the green roasted in the last three months."),
    ),
    (
        say("Tolerances apart"),
        say(
            "The root mean square of the differences, each over its tolerance, drawn in by what noise explains. 1 is "
            "as far as if every attribute stood at the edge of its tolerance."
        ),
    ),
    (
        say("Not shown"),
        say(
            "A test that fails to show a difference does not show likeness, and one that fails to show likeness does "
            "not show a difference."
        ),
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
    return say_many(
        "Neither harvest nor delivery is written down of one lot in use, so nothing is said of their age and stock.",
        "Neither harvest nor delivery is written down of {count} lots in use, so nothing is said of their age and "
        "stock.",
        count=len(unknown),
    )


def lot_name(lot: LotOutlook) -> str:
    """Name a lot with its harvest."""
    return f"{lot.lot} ({lot.harvest})" if lot.harvest else lot.lot


def lot_cells(lot: LotOutlook) -> tuple[str, str, str, str]:
    """Months since harvest, stock, sales and the first attribute to leave, each short; a dash where unknown."""
    months: str = UNKNOWN
    left: str = UNKNOWN
    sales: str = UNKNOWN
    if lot.months_now is not None:
        months = format_number(lot.months_now, 0)
    if lot.stock is not None:
        left = say("{left} {unit}", left=format_number(lot.stock.left, 1), unit=name_unit(lot.stock.unit))
        sales = format_number(lot.stock.a_month.value, 1)
    return months, left, sales, first_to_leave(lot)


def first_to_leave(lot: LotOutlook) -> str:
    """Name the attribute that matters most for the stock, with its month and interval."""
    first = next((one for one in lot.attributes if one.likely is not None), None)
    if first is None:
        return UNKNOWN
    if first.p_left_now >= 0.5:
        if first.toward == "below":
            return say("{attribute}: likely below already", attribute=first.name)
        return say("{attribute}: likely above already", attribute=first.name)
    return say(
        "{attribute}: {likely} ({early} to {late})",
        attribute=first.name,
        likely=first.likely,
        early=first.early,
        late=first.late or say("later"),
    )


def describe_test(one: LotComparison) -> str:
    """Say in a sentence how many answers a blind test of two lots would take; empty against a target."""
    if one.difference is None or one.similarity is None:
        return ""
    return say(
        "Blind, a difference of d' {d_prime:.1f} would take {find} {method} answers to find ({find_sittings} sittings "
        "of {tasters} tasters), and {show} to show that it is not there ({show_sittings} sittings), each with a chance "
        "of {chance:.0f} %. Not finding one shows nothing.",
        d_prime=one.difference.d_prime,
        find=one.difference.answers,
        method=method_word(one.difference.method),
        find_sittings=one.sittings[0],
        tasters=one.difference.tasters,
        show=one.similarity.answers,
        show_sittings=one.sittings[1],
        chance=100 * one.difference.power,
    )
