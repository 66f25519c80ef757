"""`evenhand season`: check the way out first, read the season, then show and write; bad input ends in status 2."""

from datetime import date
from pathlib import Path

from rich.console import Console

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError
from evenhand.output.season_terminal import show_season
from evenhand.output.write import check_writable, write_beside_then_rename
from evenhand.records.seasons import whole_season


def run(folder: Path, *, coffees: tuple[str, ...], html: Path | None, on: date | None = None) -> int:
    """Read the season of a folder, show it, write the page if asked for.

    Parameters
    ----------
    folder
        The folder or workbook.
    coffees
        Only these, in full; empty for all.
    html
        Where the page goes; None for no page.
    on
        The day of reading; None for today.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reasons on standard error and no file written.
    """
    try:
        if html is not None:
            check_writable(html)
        read = whole_season(folder, on=on, coffees=coffees)
        if html is not None:
            from evenhand.output.season_page import season_page

            write_beside_then_rename(html, season_page(read.season, read.green, read.likeness).encode())
    except EvenhandError as error:
        return complain(error)
    console = Console()
    show_season(read.season, console, green=read.green, likeness=read.likeness, full=bool(coffees))
    if html is not None:
        console.print(f"Written: {html}", markup=False, highlight=False, soft_wrap=True)
    return 0
