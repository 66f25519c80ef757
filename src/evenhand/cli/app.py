"""The command line: options and exit status; everything slow is imported by the command that needs it."""

from datetime import datetime
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
    on: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="Read it on this day (2026-03-09); today if left out."),
    ] = None,
) -> None:
    """Say of every coffee whether it is steady, how its green ages, and what goes with a profile off target.

    The exit status is 0, or 2 when something in the folder, an option or an output path has to be mended first.
    """
    from evenhand.cli.seasoning import run

    raise typer.Exit(run(folder, coffees=tuple(coffee or ()), html=html, on=on.date() if on else None))


@app.command()
def plan(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    taster: Annotated[
        list[str] | None,
        typer.Option(help="Who tastes this week; give it again for more. Those of the last three months if left out."),
    ] = None,
    cups: Annotated[int, typer.Option(min=0, help="Cups that each of them can taste well this week.")] = 12,
    minutes: Annotated[float, typer.Option(min=0, help="Minutes that each of them has this week.")] = 60.0,
    money: Annotated[
        float | None, typer.Option(min=0, help="What the tasting may cost, in the currency of costs.csv.")
    ] = None,
    bench_minutes: Annotated[float | None, typer.Option(min=0, help="Minutes at the machine.")] = None,
    on: Annotated[
        datetime | None,
        typer.Option(formats=["%Y-%m-%d"], metavar="DATE", help="Plan on this day (2026-03-09); today if left out."),
    ] = None,
) -> None:
    """Plan the week's tasting: batches by risk, lots by age, tasters by need of control cups, with what each is worth.

    The exit status is 0, or 2 when something in the folder or an option has to be mended first.
    """
    from evenhand.cli.planning import run

    raise typer.Exit(
        run(
            folder,
            tasters=tuple(taster or ()),
            cups=cups,
            minutes=minutes,
            money=money,
            bench_minutes=bench_minutes,
            on=on.date() if on else None,
        )
    )


@app.command()
def serve(
    host: Annotated[
        str, typer.Option(help="Address to listen on; 0.0.0.0 lets the phones in the room in.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on; 0 for any that is free.")] = 8000,
    name: Annotated[
        list[str] | None, typer.Option(help="A further name by which people ask for it; give it again for more.")
    ] = None,
    tls: Annotated[bool, typer.Option("--tls", help="Speak https, with a certificate of the shop's own.")] = False,
) -> None:
    """Open the bench: the pages for the tablet beside the machine and for the tasters' phones.

    Records are kept in the folder that EVENHAND_DATA names, or in the database that EVENHAND_DATABASE_URL names.
    The exit status is 0 when it was stopped, or 2 when it could not start.
    """
    from evenhand.cli.serving import run

    raise typer.Exit(run(host=host, port=port, names=tuple(name or ()), tls=tls))


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


@app.command("import")
def bring_in(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV files, or one XLSX workbook (docs/formats.md).")],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be new and changed; keep nothing.")
    ] = False,
    who: Annotated[
        str | None, typer.Option("--as", help="Who writes, for the history; your name on this machine if left out.")
    ] = None,
) -> None:
    """Bring a folder into the records: new rows are written, changed ones leave their history.

    The exit status is 0, or 2 when something has to be mended first; nothing is then kept.
    """
    from evenhand.cli.recording import bring_in as run

    raise typer.Exit(run(folder, dry_run=dry_run, who=who))


@app.command("export")
def give_back(
    place: Annotated[Path, typer.Argument(help="Folder to make, or with --xlsx the file.")],
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write one XLSX workbook instead of CSV files.")] = False,
) -> None:
    """Write the records as a folder that can be judged, moved and imported again.

    The exit status is 0, or 2 when something has to be mended first; nothing is then written.
    """
    from evenhand.cli.recording import give_back as run

    raise typer.Exit(run(place, xlsx=xlsx))


@app.command()
def verify(
    noted: Annotated[
        str | None, typer.Option(help="Number and digest of an entry as this command printed them earlier.")
    ] = None,
) -> None:
    """Follow the sealed history of the records and say whether anything was altered behind its back.

    The exit status is 0 when all is whole, 1 when something is broken, 2 when the records cannot be looked at.
    """
    from evenhand.cli.recording import verify as run

    raise typer.Exit(run(noted))


@app.command("backup")
def back_up(file: Annotated[Path, typer.Argument(help="File to make; it must not be there yet.")]) -> None:
    """Copy the database of the records while it is in use: whole, checked, and named only when it is safe.

    The exit status is 0, or 2 when something has to be mended first; nothing is then written.
    """
    from evenhand.cli.recording import back_up as run

    raise typer.Exit(run(file))


def main() -> None:
    """Run the command line."""
    app()
