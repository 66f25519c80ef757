"""`evenhand season` as a user runs it: the demo season, one coffee, the page, and bad input."""

import json
import shutil
from pathlib import Path

import pytest

from evenhand.cli.seasoning import run
from evenhand.records.seasons import season

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "season"


@pytest.fixture(scope="module")
def reading():
    return season(DEMO)


def test_every_coffee_of_the_demo_is_told(reading, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "120")
    assert run(DEMO, coffees=(), html=None) == 0
    said = capsys.readouterr().out
    assert "Invented data" in said
    for coffee in reading.coffees:
        assert coffee.coffee in said


def test_what_is_told_off_target_is_what_the_truth_holds_bad(reading):
    truth = {one["batch"]: one for one in json.loads((ROOT / "demo" / "truth.json").read_text())["batches"]}
    told = {
        name for coffee in reading.coffees for name in coffee.batches for one in coffee.off_target if f" {name} " in one
    }
    bad = {name for name, one in truth.items() if not one["good"]}
    assert told <= bad
    assert len(told) >= len(bad) - 2


def test_the_baked_batch_is_set_beside_its_fellows(reading):
    coffee = next(one for one in reading.coffees if "Q26-011" in one.batches)
    (said,) = [one for one in coffee.off_target if "Q26-011" in one]
    assert "longer" in said
    assert "tastes baked" in said
    assert coffee.state == "alert"
    assert "association" not in reading.roaster.sentences[-1]
    assert "need not be cause" in reading.roaster.sentences[-1]


def test_one_coffee_is_shown_in_full_and_read_as_before(reading, capsys):
    assert run(DEMO, coffees=("Mossgate",), html=None) == 0
    said = capsys.readouterr().out
    assert "Newest" in said
    assert "Widdershore: " not in said
    one = next(coffee for coffee in reading.coffees if coffee.coffee == "Mossgate")
    (alone,) = season(DEMO, coffees=["Mossgate"]).coffees
    assert [m.reading.sentences for m in alone.measures] == [m.reading.sentences for m in one.measures]


def test_the_page_is_written_and_named(capsys, tmp_path):
    page = tmp_path / "season.html"
    assert run(DEMO, coffees=(), html=page) == 0
    assert f"Written: {page}" in capsys.readouterr().out
    assert page.read_text().count("<svg") > 50


def test_bad_input_is_sentences_on_standard_error_and_status_2(capsys, tmp_path):
    assert run(DEMO, coffees=("Nowhere",), html=tmp_path / "out.html") == 2
    got = capsys.readouterr()
    assert got.out == ""
    assert "There is no coffee Nowhere" in got.err
    assert run(DEMO, coffees=(), html=tmp_path / "gone" / "out.html") == 2
    assert "folder does not exist" in capsys.readouterr().err
    copy = tmp_path / "week"
    shutil.copytree(DEMO, copy)
    (copy / "attributes.csv").unlink()
    assert run(copy, coffees=(), html=tmp_path / "out.html") == 2
    assert "attributes.csv" in capsys.readouterr().err
    assert not (tmp_path / "out.html").exists()
