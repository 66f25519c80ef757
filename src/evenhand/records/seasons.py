"""From a folder of tastings to its season: the door that the command and Python share."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

from evenhand.records.folder import read
from evenhand.records.judging import arrange
from evenhand.verdict.season import SeasonReading, read_season


def season(path: str | Path, *, today: date | None = None, coffees: Sequence[str] = ()) -> SeasonReading:
    """Read the season of every coffee in a folder of CSV files, or in one XLSX workbook.

    Parameters
    ----------
    path
        The folder or workbook, as described in docs/formats.md.
    today
        The day of reading; later dates in the folder are errors. The computer's own date if left out.
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
        If a coffee asked for is not there or has no batch.
    """
    read_on = date.today() if today is None else today
    return read_season(arrange(read(Path(path), today=read_on), judged_on=read_on), coffees=coffees)
