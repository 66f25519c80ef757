"""Shows the plan of a week on a terminal: what to taste, by whom, what it is worth, and why the rest is left out."""

from typing import Final

from rich.console import Console

from evenhand.output.terminal import _Screen
from evenhand.output.words import format_number
from evenhand.verdict.week import WeekPlan, WeekRow

KIND_WORD: Final = {"batch": "Batch", "ageing": "Green", "calibration": "Control"}
"""Why a row is on the list, in one word."""

_WORTH_A_LINE: Final = 0.5


def show_plan(plan: WeekPlan, console: Console) -> None:
    """Print the plan, the most worth first, then what is left out and why.

    Parameters
    ----------
    plan
        The week.
    console
        A Rich console.
    """
    screen = _Screen(console)
    screen.line(f"{plan.title}, week of {plan.read_on}", style="bold")
    if plan.invented:
        screen.line("Invented data: this folder is a made-up example, not a real roastery.")
    screen.line("")
    screen.line(plan.says)
    table = screen.new_table(("Taste",), ("Why",), ("Worth", "Price", "Cups"), ("Tasters",))
    screen.table(table, (_row(one) for one in plan.planned))
    if plan.planned:
        screen.line("")
    for one in plan.planned:
        screen.line(f"{one.name}. {one.why}", first="  \N{BULLET} ", rest="    ")
    drinking = [
        f"{one.name} {one.cups} of {one.cups_there} cups, {one.minutes:.0f} of {one.minutes_there:.0f} minutes"
        for one in plan.tasters
    ]
    screen.line("")
    screen.line(f"Tasters: {'; '.join(drinking)}. At the machine: {plan.bench_minutes:.0f} minutes.")
    if plan.left_out:
        screen.line("")
        screen.line("Left out", style="bold")
        for one in plan.left_out:
            if one.worth >= _WORTH_A_LINE:
                screen.line(f"{one.says} {one.why}", first="  - ", rest="    ")
        nothing = [one.name for one in plan.left_out if one.worth < _WORTH_A_LINE]
        if nothing:
            screen.line(f"Would change no choice this week: {'; '.join(nothing)}.", first="  - ", rest="    ")
    screen.line("")
    screen.line("What the worths rest on", style="bold")
    for sentence in plan.assumptions:
        screen.line(sentence, first="  ", rest="  ")


def _row(one: WeekRow) -> tuple[str, ...]:
    return (
        one.name,
        KIND_WORD[one.kind],
        format_number(one.worth, 0),
        format_number(one.price, 0),
        str(one.cups),
        ", ".join(one.tasters),
    )
