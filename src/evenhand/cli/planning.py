"""`evenhand plan`: what to taste this week, by whom, and what each row is worth; bad input ends in status 2."""

from collections.abc import Sequence
from datetime import date
from math import inf
from pathlib import Path

from rich.console import Console

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError
from evenhand.output.plan_terminal import show_plan
from evenhand.records.seasons import plan


def run(
    folder: Path,
    *,
    tasters: Sequence[str],
    cups: int,
    minutes: float,
    money: float | None,
    bench_minutes: float | None,
    on: date | None,
) -> int:
    """Plan the week of a folder and show it.

    Parameters
    ----------
    folder
        The folder or workbook.
    tasters
        Who tastes; empty for those of the last three months.
    cups, minutes
        What each of them has.
    money, bench_minutes
        What it may cost, and minutes at the machine; None for no limit.
    on
        The day of planning; None for today.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error.
    """
    try:
        week = plan(
            folder,
            on=on,
            tasters=tasters,
            cups=cups,
            minutes=minutes,
            money=inf if money is None else money,
            bench_minutes=inf if bench_minutes is None else bench_minutes,
        )
    except EvenhandError as error:
        return complain(error)
    show_plan(week, Console())
    return 0
