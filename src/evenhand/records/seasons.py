"""From a folder of tastings to its season, its green and its plan: the door that the commands and Python share."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from math import inf
from pathlib import Path

from evenhand.errors import DesignError
from evenhand.records.folder import Folder, read
from evenhand.records.judging import arrange
from evenhand.verdict.green import GreenReading, read_green
from evenhand.verdict.judge import judge
from evenhand.verdict.likeness import LotComparison, compare_seasons
from evenhand.verdict.season import SeasonBench, SeasonReading, lay_out, read_season
from evenhand.verdict.tastings import Tastings
from evenhand.verdict.week import Palate, WeekPlan, plan_week, tasters_of_late
from evenhand.words import say

CUPS_A_WEEK, MINUTES_A_WEEK = 12, 60.0
"""What a taster has for tasting in a week where nobody says (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WholeSeason:
    """A season: its charts, its green, its lots beside those of the harvest before, and the fit they rest on."""

    season: SeasonReading
    green: GreenReading
    likeness: tuple[LotComparison, ...]
    bench: SeasonBench


def season(
    path: str | Path, *, today: date | None = None, on: date | None = None, coffees: Sequence[str] = ()
) -> SeasonReading:
    """Read the season of every coffee in a folder of CSV files, or in one XLSX workbook: its charts alone.

    Parameters
    ----------
    path
        The folder or workbook, as described in docs/formats.md.
    today
        Later dates in the folder are errors. The computer's own date if left out.
    on
        The day of reading, not before the last day in the folder. Today if left out; a folder that is marked as
        invented is read on its own last day, so that its stock and sales mean something whenever it is read.
    coffees
        Give only these coffees; all sheets still inform them.

    Returns
    -------
    SeasonReading
        Charts, alerts and what goes with what.

    Raises
    ------
    FolderError
        If the folder holds anything that cannot be read; it lists every problem found.
    DesignError
        If a coffee asked for is not there or has no batch, or the day of reading is too early.
    """
    return read_season(_tastings(path, today, on), coffees=coffees)


def whole_season(
    path: str | Path, *, today: date | None = None, on: date | None = None, coffees: Sequence[str] = ()
) -> WholeSeason:
    """Read the season of a folder with its green and the likeness of its lots, from one fit.

    Parameters
    ----------
    path, today, on, coffees
        As in `season`.

    Raises
    ------
    FolderError, DesignError
        As in `season`.
    """
    return read_whole(_tastings(path, today, on), coffees=coffees)


def read_whole(tastings: Tastings, *, coffees: Sequence[str] = ()) -> WholeSeason:
    """Read all of a season from tastings, wherever they come from.

    Parameters
    ----------
    tastings
        All that was tasted.
    coffees
        Only these; empty for all.

    Raises
    ------
    DesignError
        If a coffee asked for is not there or has no batch.
    """
    bench = lay_out(tastings)
    charts = read_season(tastings, coffees=coffees, bench=bench)
    return WholeSeason(
        season=charts,
        green=read_green(tastings, coffees=coffees, season=charts, bench=bench),
        likeness=compare_seasons(tastings, coffees=coffees, bench=bench),
        bench=bench,
    )


def plan(
    path: str | Path,
    *,
    today: date | None = None,
    on: date | None = None,
    tasters: Sequence[str] = (),
    cups: int = CUPS_A_WEEK,
    minutes: float = MINUTES_A_WEEK,
    money: float = inf,
    bench_minutes: float = inf,
) -> WeekPlan:
    """Plan the week's tasting of a folder.

    Parameters
    ----------
    path, today, on
        As in `season`.
    tasters
        Who tastes this week; those of the last three months if left out.
    cups, minutes
        What each of them has.
    money, bench_minutes
        What it may cost, and minutes at the machine.

    Returns
    -------
    WeekPlan
        What to taste, by whom, and what each row is worth.

    Raises
    ------
    FolderError, DesignError
        As in `season`, or if nobody tastes.
    QuantityError
        If a number is below 0.
    """
    return plan_from(
        _tastings(path, today, on),
        tasters=tasters,
        cups=cups,
        minutes=minutes,
        money=money,
        bench_minutes=bench_minutes,
    )


def plan_from(
    tastings: Tastings,
    *,
    tasters: Sequence[str] = (),
    cups: int = CUPS_A_WEEK,
    minutes: float = MINUTES_A_WEEK,
    money: float = inf,
    bench_minutes: float = inf,
) -> WeekPlan:
    """Plan the week's tasting from tastings, wherever they come from.

    Parameters
    ----------
    tastings
        All that was tasted.
    tasters, cups, minutes, money, bench_minutes
        As in `plan`.

    Raises
    ------
    DesignError, QuantityError
        As in `plan`.
    """
    names = tuple(dict.fromkeys(tasters)) or tasters_of_late(tastings)
    if not names:
        raise DesignError(say("Nobody has tasted anything in this folder yet; name who tastes this week."))
    palates = [Palate(name=name, cups=cups, minutes=minutes) for name in names]
    bench = lay_out(tastings)
    charts = read_season(tastings, bench=bench)
    return plan_week(
        tastings,
        judge(tastings),
        charts,
        read_green(tastings, season=charts, bench=bench),
        palates,
        money=money,
        bench_minutes=bench_minutes,
        bench=bench,
    )


def _tastings(path: str | Path, today: date | None, on: date | None) -> Tastings:
    clock = date.today() if today is None else today
    folder = read(Path(path), today=clock)
    last = _last_day(folder)
    if on is not None and last is not None and on < last:
        raise DesignError(
            say("The folder holds days up to {last}; read it on that day or later, not on {day}.", last=last, day=on)
        )
    if on is None:
        on = last if today is None and folder.invented and last is not None else clock
    return arrange(folder, judged_on=on)


def _last_day(folder: Folder) -> date | None:
    """Last day that anything was roasted, pulled or measured."""
    pulled = [one.pulled_at for one in folder.pulls]
    days = [
        *(one.roasted_on for one in folder.batches),
        *(one.date() if isinstance(one, datetime) else one for one in pulled),
        *(one.read_on for one in folder.green_readings),
    ]
    return max(days, default=None)
