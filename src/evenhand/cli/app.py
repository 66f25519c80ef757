"""The command line: options and exit status; everything slow is imported by the command that needs it."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from evenhand import __version__

app = typer.Typer(
    name="evenhand",
    help="Judge the roast, not the shot: release, taste again or hold for every espresso roast, with its risk.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)


class Paper(StrEnum):
    """Sizes of paper for the PDF."""

    A4 = "a4"
    US_LETTER = "us-letter"


def _say_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"evenhand {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Say the version and stop.")
    ] = False,
) -> None:
    """Judge the roast, not the shot."""


@app.command()
def judge(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    json: Annotated[Path | None, typer.Option(help="Write the verdicts for other programs to this file.")] = None,
    html: Annotated[Path | None, typer.Option(help="Write a page to open in a browser to this file.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write a PDF to file away to this file.")] = None,
    batch: Annotated[
        list[str] | None,
        typer.Option(help="Show this batch only; give it again for more. All sheets still inform it."),
    ] = None,
    paper: Annotated[Paper, typer.Option(help="Size of paper of the PDF.")] = Paper.A4,
) -> None:
    """Judge every batch of a folder: release, taste again or hold, with its risk and reasons.

    The exit status is 0 when all was judged and written, and 2 when something in the folder or an output path has to be
    mended first; nothing is then written.
    """
    from evenhand.cli.judging import run

    raise typer.Exit(run(folder, json=json, html=html, pdf=pdf, batches=tuple(batch or ()), paper=paper.value))


@app.command()
def study(
    world: Annotated[list[str] | None, typer.Option(help="Only this world; give it again for more.")] = None,
    seasons: Annotated[int, typer.Option(min=2, help="Seasons to draw in each world.")] = 10,
    seed: Annotated[int, typer.Option(min=0, help="Number that fixes every draw.")] = 1,
    jobs: Annotated[int, typer.Option(min=1, help="Processes to use at once.")] = 2,
    json: Annotated[Path | None, typer.Option(help="Write the figures to this file.")] = None,
) -> None:
    """Simulate roasteries with known truth and show how often the verdicts are right, and what they cost.

    Ten seasons take about a minute in each world.
    """
    from evenhand.cli.studying import study as run_study

    raise typer.Exit(run_study(worlds=world or (), seasons=seasons, seed=seed, jobs=jobs, json=json))


def main() -> None:
    """Run the command line."""
    app()
