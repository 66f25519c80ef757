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


class Finer(StrEnum):
    """Which way the numbers of a grinder run."""

    HIGHER = "higher"
    LOWER = "lower"


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
def dial(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    coffee: Annotated[
        list[str] | None, typer.Option(help="Only this coffee, in full; give it again for more. All pulls still teach.")
    ] = None,
    step: Annotated[float | None, typer.Option(help="The grinder's own step, in its numbers.")] = None,
    finer: Annotated[Finer | None, typer.Option(help="Which numbers are finer, if the grinder says so.")] = None,
    apart: Annotated[bool, typer.Option("--apart", help="Each coffee has a grinder of its own.")] = False,
) -> None:
    """Say what to change for the next pull: grind, then dose, then stop mass, with the time to expect and how sure.

    The exit status is 0, or 2 when something in the folder or an option has to be mended first.
    """
    from evenhand.cli.dialing import run

    raise typer.Exit(
        run(folder, coffees=tuple(coffee or ()), step=step, finer=finer.value if finer else None, apart=apart)
    )


@app.command()
def pull(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    pull: Annotated[str, typer.Argument(help="The pull's label.")],
) -> None:
    """Explain one pull in words: what was off, what it likely did to the cup, whether to judge it."""
    from evenhand.cli.pulling import run

    raise typer.Exit(run(folder, pull))


@app.command()
def drinks(
    dose: Annotated[float, typer.Option(help="Dose of the house shot, g.")] = 16.0,
    beverage: Annotated[float, typer.Option(help="Beverage mass of the house shot, g.")] = 32.0,
    tds: Annotated[float | None, typer.Option(help="Dissolved solids, %; 10 if neither is stated.")] = None,
    extraction: Annotated[float | None, typer.Option(help="Extraction yield, %, instead of --tds.")] = None,
    size: Annotated[
        list[str] | None, typer.Option(help="A size such as 6oz or 180ml, 3 to 20 oz; again for more.")
    ] = None,
    like: Annotated[str, typer.Option(help="The drink whose strength is to be matched.")] = "6oz",
    milk: Annotated[str, typer.Option(help="whole, semi-skimmed, skimmed, oat, soy, almond or coconut.")] = "whole",
    heat_capacity: Annotated[
        float | None, typer.Option(help="Heat capacity of the milk, J/(g K), if known better.")
    ] = None,
    milk_from: Annotated[float, typer.Option(help="Milk before steaming, °C.")] = 5.0,
    temperature: Annotated[float, typer.Option(help="Milk after steaming, °C.")] = 60.0,
    steam: Annotated[float, typer.Option(help="Steam pressure on the gauge, bar.")] = 1.2,
    dry: Annotated[float, typer.Option(help="Dry share of the steam, %.")] = 95.0,
    jug: Annotated[float, typer.Option(min=0, help="Steel jug, g.")] = 200.0,
    air: Annotated[float, typer.Option(help="Air in the foam, % of the hot milk's volume.")] = 15.0,
    cup: Annotated[
        float, typer.Option(min=0, help="Porcelain cup, g; 0 for paper or a cup as hot as the drink.")
    ] = 0.0,
    cup_temperature: Annotated[float, typer.Option(help="Cup before filling, °C.")] = 40.0,
    caffeine: Annotated[float, typer.Option(help="Caffeine of the roast, mg/g; robusta about 24.")] = 12.0,
    tasted: Annotated[
        Path | None, typer.Option(help="CSV (taster, size_ml or blank, heard 1 or 0): how far the coffee carries.")
    ] = None,
) -> None:
    """Show milk drinks in every size: milk, steam, temperature, coffee, caffeine, and what equal strength asks for."""
    from evenhand.cli.drinks import run

    raise typer.Exit(
        run(
            dose_g=dose,
            beverage_g=beverage,
            tds_pct=tds,
            extraction_pct=extraction,
            sizes=tuple(size or ()),
            like=like,
            milk=milk,
            heat_capacity=heat_capacity,
            milk_from_c=milk_from,
            temperature_c=temperature,
            steam_bar=steam,
            dry_pct=dry,
            jug_g=jug,
            air_pct=air,
            cup_g=cup,
            cup_c=cup_temperature,
            caffeine_mg_per_g=caffeine,
            tasted=tasted,
        )
    )


@app.command()
def season(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    coffee: Annotated[
        list[str] | None,
        typer.Option(help="Only this coffee, in full; give it again for more. All sheets still inform it."),
    ] = None,
    html: Annotated[Path | None, typer.Option(help="Write a page to open in a browser to this file.")] = None,
) -> None:
    """Say of every coffee whether it is steady, since when not, and what goes with a profile off target.

    The exit status is 0, or 2 when something in the folder, an option or an output path has to be mended first.
    """
    from evenhand.cli.seasoning import run

    raise typer.Exit(run(folder, coffees=tuple(coffee or ()), html=html))


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
