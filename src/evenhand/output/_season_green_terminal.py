"""Shows the green and the likeness of lots on a terminal: what presses in full, the rest in one line each."""

from collections.abc import Sequence
from typing import Final

from evenhand.output._season_green_words import (
    ACTION_SIGN,
    ACTION_WORD,
    action_of,
    describe_test,
    describe_unknown,
    first_to_leave,
    live_lots,
    lot_cells,
    lot_name,
)
from evenhand.output.terminal import _Screen
from evenhand.verdict.green import CoffeeGreen, GreenReading, LotOutlook
from evenhand.verdict.likeness import LotComparison

_COLOUR: Final = {
    "sell faster or move to a blend": "bold red",
    "taste sooner": "bold yellow",
    "carry on": "bold green",
    "": "bold",
}
_BULLET: Final = "    \N{BULLET} "


def show_green(green: GreenReading, screen: _Screen, full: bool) -> None:
    """Print every lot in use, what presses most first, and what months do to each coffee.

    Parameters
    ----------
    green
        The green of a season.
    screen
        Where to.
    full
        Also print every lot's sentences and what no line could be drawn for.
    """
    screen.line("")
    screen.line("The green: a prompt to taste, never an expiry", style="bold")
    for coffee, lot in live_lots(green):
        _show_lot(coffee, lot, screen, full)
    if describe_unknown(green):
        screen.line(describe_unknown(green), first="  - ", rest="    ")
    for coffee in green.coffees:
        said = [one for one in coffee.sentences if full or not one.startswith("No change")]
        if said:
            screen.line(f"{coffee.coffee}. {' '.join(said)}", first="  \N{BULLET} ", rest="    ")
        if full and coffee.too_little:
            screen.line(coffee.too_little, first="  - ", rest="    ")
        for lot in coffee.lots:
            if full and lot.gap:
                screen.line(lot.gap, first="  - ", rest="    ")


def _show_lot(coffee: CoffeeGreen, lot: LotOutlook, screen: _Screen, full: bool) -> None:
    action = action_of(lot)
    months, left, _, _ = lot_cells(lot)
    heading = screen.text(f"{ACTION_SIGN[action]} {ACTION_WORD[action]}", _COLOUR[action])
    words = f"  {lot_name(lot)}, {coffee.coffee}: {months} months since harvest, {left} left."
    if action == "carry on" and not full:
        words += f" First to leave, {first_to_leave(lot)}." if any(one.likely for one in lot.attributes) else ""
    screen.wrapped(heading.append_text(screen.text(words)), rest="  ")
    if full or action != "carry on":
        for sentence in lot.sentences if full else lot.sentences[:2]:
            screen.line(sentence, first=_BULLET, rest="      ")


def show_likeness(likeness: Sequence[LotComparison], screen: _Screen, full: bool) -> None:
    """Print how far each lot lies from that of the harvest before, and in full from its target.

    Parameters
    ----------
    likeness
        Comparisons.
    screen
        Where to.
    full
        Also print the plans of tests in full, and comparisons with targets.
    """
    screen.line("")
    screen.line("Is this lot like last year's?" if not full else "Likeness of lots", style="bold")
    for one in likeness:
        if one.other is None and not full:
            continue
        said = one.sentences if full else (*_without_plans(one), describe_test(one))
        for number, sentence in enumerate(part for part in said if part):
            lead = f"{one.coffee}: " if number == 0 else ""
            screen.line(f"{lead}{sentence}", first="  \N{BULLET} " if number == 0 else "    ", rest="    ")


def _without_plans(one: LotComparison) -> Sequence[str]:
    plans = sum(plan is not None for plan in (one.difference, one.similarity))
    return one.sentences[: len(one.sentences) - plans]
