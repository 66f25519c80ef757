"""Shows a season on a terminal: one line a coffee where nothing is wrong, and every alert with what explains it.

Nothing depends on colour, as in `terminal`, whose screen this shares.
"""

from collections.abc import Sequence
from typing import Final

from rich.console import Console

from evenhand.output._season_green_terminal import show_green, show_likeness
from evenhand.output._season_green_words import READING_GREEN
from evenhand.output._season_words import (
    READING,
    STATE_SIGN,
    STATE_WORD,
    decimals,
    describe_coffee,
    describe_gaps,
    describe_gaps_briefly,
    describe_measure,
    describe_season,
    is_weak,
    newest,
    sort_for_attention,
)
from evenhand.output.terminal import _Screen
from evenhand.output.words import UNKNOWN, format_number
from evenhand.verdict.green import GreenReading
from evenhand.verdict.likeness import LotComparison
from evenhand.verdict.season import CoffeeSeason, MeasureSeason, SeasonReading, State

_COLOUR: Final[dict[State, str]] = {
    "shifted": "bold red",
    "alert": "bold yellow",
    "steady": "bold green",
    "too_little": "bold",
}


def show_season(
    season: SeasonReading,
    console: Console,
    *,
    green: GreenReading | None = None,
    likeness: Sequence[LotComparison] = (),
    full: bool = False,
) -> None:
    """Print every coffee, what needs somebody first, then the green, then what goes with what.

    Parameters
    ----------
    season
        The season to be shown.
    console
        A Rich console.
    green, likeness
        The green of the same season, and its lots set beside others; nothing is said of them where they are left out.
    full
        Also print every measure, every sign, every gap and the weaker links.
    """
    screen = _Screen(console)
    screen.line(f"{season.title}, season read on {season.read_on}", style="bold")
    if season.invented:
        screen.line("Invented data: this folder is a made-up example, not a real roastery.")
    for warning in season.warnings:
        screen.line(f"Warning: {warning}", style="yellow")
    screen.line("")
    screen.line(describe_season(season))
    if season.coffees:
        screen.line("")
    for coffee in sort_for_attention(season):
        _show_coffee(coffee, screen, full)
    if season.across:
        screen.line("")
        screen.line("In several coffees at once", style="bold")
        for sentence in season.across:
            screen.line(sentence, first="  ", rest="  ")
    if green is not None and green.coffees:
        show_green(green, screen, full)
    if any(one.other is not None or full for one in likeness):
        show_likeness(likeness, screen, full)
    _show_links(season, screen, full)
    pressing = any(one.state in ("shifted", "alert") for one in season.coffees)
    if full or pressing:
        screen.line("")
        screen.line("How to read this", style="bold")
        for term, text in (*READING, *(READING_GREEN if green is not None and green.coffees else ())):
            screen.line(f"{term}. {text}", first="  ", rest="  ")


def _show_coffee(coffee: CoffeeSeason, screen: _Screen, full: bool) -> None:
    heading = screen.text(f"{STATE_SIGN[coffee.state]} {STATE_WORD[coffee.state]}", _COLOUR[coffee.state])
    screen.wrapped(heading.append_text(screen.text(f"  {describe_coffee(coffee)}")), rest="  ")
    doubt = ""
    for measure in coffee.measures:
        if not (measure.alerts or (full and measure.sign)):
            continue
        said, limits = describe_measure(measure, coffee)
        screen.line(f"{measure.measure}. {said}", first="    \N{BULLET} ", rest="      ")
        doubt = doubt or limits
    for sentence in (*coffee.together, *(one for joint in coffee.joint for one in joint.sentences)):
        screen.line(sentence, first="    \N{BULLET} ", rest="      ")
    if doubt:
        screen.line(doubt, first="      ", rest="      ")
    for sentence in coffee.off_target:
        screen.line(sentence, first="    \N{BULLET} ", rest="      ")
    if full:
        for sentence in describe_gaps(coffee):
            screen.line(sentence, first="    - ", rest="      ")
        _show_measures(coffee, screen)
        screen.line("")
    elif coffee.state in ("shifted", "alert") and describe_gaps_briefly(coffee):
        screen.line(describe_gaps_briefly(coffee), first="      ", rest="      ")


def _show_measures(coffee: CoffeeSeason, screen: _Screen) -> None:
    table = screen.new_table(("Measure",), ("State",), ("Batches", "Usual", "Scatter", "Newest", "±"))
    screen.table(table, (_row(one) for one in coffee.measures))


def _row(one: MeasureSeason) -> tuple[str, ...]:
    last, places = newest(one), decimals(one)
    state = f"{STATE_SIGN[one.state]} {STATE_WORD[one.state]}{', sign' if one.sign else ''}"
    shown = (
        (format_number(float(one.value[last]), places), format_number(float(one.sd[last]), places))
        if last is not None
        else (UNKNOWN, UNKNOWN)
    )
    if one.reading is None:
        return (one.measure, state, UNKNOWN, UNKNOWN, UNKNOWN, *shown)
    base = one.reading.base
    return (
        one.measure,
        state,
        str(base.batches),
        format_number(base.centre, places),
        format_number(base.batch_sd, places),
        *shown,
    )


def _show_links(season: SeasonReading, screen: _Screen, full: bool) -> None:
    said = season.roaster.sentences
    weak = [one for one in said if is_weak(one)]
    shown = [one for one in said if full or not is_weak(one)]
    screen.line("")
    screen.line("To the roaster: what goes with what, over all coffees", style="bold")
    for sentence in shown:
        screen.line(sentence, first="  \N{BULLET} ", rest="    ")
    if weak and not full:
        number = "One weaker link is" if len(weak) == 1 else f"{len(weak)} weaker links are"
        screen.line(f"{number} left out here; the page and --coffee show them.", first="    ", rest="    ")
