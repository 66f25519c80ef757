"""The plan of a week on a terminal: every row in it or left out of it is named, and names cannot act."""

import io
from dataclasses import replace

from rich.console import Console

from evenhand.output.plan_terminal import show_plan
from evenhand.verdict.week import TasterWeek, WeekPlan, WeekRow


def row(name, kind, tasters, worth, price, why="Why.", says="Says."):
    return WeekRow(
        name=name,
        kind=kind,
        batch=name.split(",")[0] if kind == "batch" else "",
        tasters=tasters,
        cups=2,
        minutes=6.0,
        bench_minutes=8.0,
        worth=worth,
        price=price,
        why=why,
        says=says,
    )


PLAN = WeekPlan(
    title="invented",
    read_on="2031-04-28",
    invented=True,
    planned=(
        row("B15, K", "batch", ("Ada", "Bo"), 41.2, 11.0, why="It is in doubt."),
        row("Lot L of K", "ageing", ("Cy",), 20.0, 7.0, why="It is old."),
    ),
    left_out=(
        row("B14, K", "batch", (), 6.0, 9.0, says="B14, K (batch): it tells less than it costs."),
        row("Control cups, Ada", "calibration", (), 0.0, 15.0),
        row("Control cups, Bo", "calibration", (), 0.1, 15.0),
    ),
    tasters=(
        TasterWeek(name="Ada", cups=2, minutes=6.0, cups_there=12, minutes_there=60.0),
        TasterWeek(name="Bo", cups=2, minutes=6.0, cups_there=12, minutes_there=60.0),
    ),
    worth=61.2,
    price=18.0,
    bench_minutes=16.0,
    says="Taste 2 of 5: worth 61, price 18.",
    assumptions=("Worths are added up.",),
)


def show(plan, width=100, encoding="utf-8"):
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding=encoding)
    show_plan(plan, Console(file=out, width=width, color_system=None))
    out.flush()
    return raw.getvalue().decode(encoding)


def test_everything_is_told_what_is_tasted_first():
    said = " ".join(show(PLAN).split())
    assert "Invented data" in said
    assert said.index("B15, K") < said.index("Lot L of K") < said.index("Left out") < said.index("B14, K (batch)")
    assert "It is in doubt." in said
    assert "41 11 2 Ada, Bo" in said
    assert "Ada 2 of 12 cups, 6 of 60 minutes" in said
    assert "Would change no choice this week: Control cups, Ada; Control cups, Bo." in said
    assert "Worths are added up." in said


def test_a_week_with_nothing_to_taste_is_no_error():
    said = show(replace(PLAN, planned=(), left_out=(), says="There is nothing to taste."))
    assert "There is nothing to taste." in said
    assert "Left out" not in said


def test_names_are_shown_as_they_are_on_any_terminal():
    bad = "[bold]\x1b[31mQ[/bold]"
    said = show(replace(PLAN, planned=(replace(PLAN.planned[0], name=bad),)), width=60, encoding="ascii")
    assert "\x1b" not in said
    assert "[bold]" in said
    assert all(len(line) <= 60 for line in said.splitlines())
