"""A season on a terminal: calm where nothing is wrong, every alert explained, harmless whatever the folder holds."""

import io
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from evenhand.output.season_terminal import show_season
from evenhand.records.seasons import season

DEMO = Path(__file__).parents[2] / "demo" / "season"


@pytest.fixture(scope="module")
def reading():
    return season(DEMO)


def print_season(reading, *, width=100, encoding="utf-8", full=False):
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding=encoding)
    show_season(reading, Console(file=out, width=width, color_system=None), full=full)
    out.flush()
    return raw.getvalue().decode(encoding)


def test_a_steady_coffee_on_target_is_one_line(reading):
    calm = [one for one in reading.coffees if one.state == "steady" and not one.off_target]
    assert calm
    said = print_season(replace(reading, coffees=tuple(calm)), width=200)
    blocks = said.split("one by luck.")[1].split("To the roaster")[0].strip().splitlines()
    assert len(blocks) == len(calm)
    assert all(line.startswith("● Steady") for line in blocks)
    assert "How to read this" not in said


def test_what_needs_somebody_comes_first_and_each_alert_says_chart_batch_and_date(reading):
    said = " ".join(print_season(reading).split())
    places = [said.index(f"{one.coffee}: ") for one in reading.coffees if one.state == "alert"]
    steady = [said.index(f"{one.coffee}: ") for one in reading.coffees if one.state == "steady"]
    assert max(places) < min(steady)
    assert "Sweetness, black. Alert of single batches at Q26-011 (2026-03-25). Usual is" in said
    for coffee in reading.coffees:
        for sentence in coffee.off_target:
            assert sentence in said
    for measure in (one for coffee in reading.coffees for one in coffee.measures if one.alerts):
        assert f"{measure.measure}. Alert of " in said


def test_the_full_view_holds_every_measure_every_gap_and_the_weaker_links(reading):
    short, full = print_season(reading, width=160), print_season(reading, width=160, full=True)
    weak = [one for one in reading.roaster.sentences if one.startswith("Perhaps")]
    assert weak
    flat = " ".join(full.split())
    assert all(one in flat for one in weak)
    assert not any(one in " ".join(short.split()) for one in weak)
    assert f"{len(weak)} weaker links are left out" in short
    for coffee in reading.coffees:
        assert all(one.too_little in flat for one in (*coffee.measures, *coffee.joint))


@pytest.mark.parametrize("width", [80, 120])
def test_no_line_is_wider_than_the_screen(reading, width):
    for full in (False, True):
        assert max(len(line) for line in print_season(reading, width=width, full=full).splitlines()) <= width


def test_an_ascii_terminal_gets_signs_that_it_has(reading):
    said = print_season(reading, encoding="ascii", full=True)
    assert "^ Alert" in said
    assert "o Steady" in said
    assert "?" not in said.replace("How to read this", "")


def test_a_name_cannot_act_on_the_terminal(reading):
    first = replace(reading.coffees[0], coffee="[bold]Mos\x1b[2J\u202egate")
    said = print_season(replace(reading, coffees=(first,)))
    assert "[bold]Mos" in said
    assert "\x1b" not in said
    assert "\u202e" not in said


def test_an_empty_season_is_said_to_be_empty(reading):
    said = print_season(replace(reading, coffees=(), charted=0, alerting=0, by_luck=0.0))
    assert "0 coffees, 0 batches. There is too little for any chart yet." in said
