"""`evenhand season` and `evenhand plan` on the demo, against the truth behind it, and with bad input."""

import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from evenhand.cli import app
from evenhand.errors import DesignError
from evenhand.records.seasons import plan, season, whole_season

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "demo" / "season"
TRUTH = json.loads((ROOT / "demo" / "truth.json").read_text())
NINETY = 1.645


@pytest.fixture(scope="module")
def whole():
    return whole_season(DEMO)


@pytest.fixture(scope="module")
def week():
    return plan(DEMO)


def coffee_of(whole, name):
    return next(one for one in whole.season.coffees if one.coffee == name)


def measure_of(coffee, name):
    return next(one for one in coffee.measures if one.measure == name)


def run(*words):
    return CliRunner().invoke(app, list(words))


class TestTruth:
    """Tolerances are those of the answers' own intervals: what was drawn must lie inside what is told."""

    def test_the_drift_is_found_near_its_date_and_of_its_size(self, whole):
        truth = TRUTH["drift"]
        coffee = coffee_of(whole, truth["coffee"])
        assert coffee.state == "shifted"
        change = measure_of(coffee, "Dry mass loss").reading.change
        assert change.p < 0.05
        span = coffee.batches[change.earliest : change.latest + 1]
        assert truth["first_batch"] in span or truth["first_batch_in_full"] in span
        assert abs(change.shift - truth["dry_loss_points"]) < 2 * change.shift_sd
        assert change.shift > 0

    def test_the_new_harvest_is_named_beside_the_step_that_it_brought(self, whole):
        truth = TRUTH["harvest_change"]
        coffee = coffee_of(whole, truth["coffee"])
        change = measure_of(coffee, "Body, black").reading.change
        at = coffee.batches.index(truth["first_batch"])
        assert change.earliest <= at <= change.latest
        assert abs(change.shift - truth["difference_of_the_batches_drawn"]["black"]["body"]) < 2 * change.shift_sd
        said = " ".join(measure_of(coffee, "Body, black").reading.sentences)
        assert f"Green lot changed from {truth['from_lot']} to {truth['to_lot']}" in said
        assert "Harvest changed from 2024/25 to 2025/26" in said

    def test_the_lots_are_told_apart_where_they_differ(self, whole):
        truth = TRUTH["harvest_change"]
        one = next(one for one in whole.likeness if one.coffee == truth["coffee"] and one.other == truth["from_lot"])
        assert one.lot == truth["to_lot"]
        drawn = {
            f"{attribute}, {service}": value
            for service, values in truth["difference_of_the_batches_drawn"].items()
            for attribute, value in values.items()
        }
        off = [(row.tasted.value - drawn[row.attribute]) / row.tasted.sd for row in one.distance.attributes]
        # Eight differences, each known to its standard uncertainty: the sum of squares stays below the 99.9 % point of
        # chi-square with 8 degrees of freedom, 26.1 (any table).
        assert float(np.sum(np.square(off))) < 26.1
        assert one.distance.attributes[0].attribute == "body, black"

    def test_the_ageing_lot_is_told_with_its_month_and_presses(self, whole):
        truth = TRUTH["ageing"]
        green = next(one for one in whole.green.coffees if one.coffee == truth["coffee"])
        current = green.lots[0]
        assert set(truth["lots"]) == {one.lot for one in green.lots}
        first = current.attributes[0]
        assert (first.service, first.attribute, first.toward) == ("black", "acidity", "below")
        leaves = truth["lots"][current.lot]["leaves_tolerance_at_months"]["black"]["acidity"]
        assert first.early_months <= leaves <= (first.late_months or np.inf)
        assert abs(first.likely_months - leaves) < 4
        second = current.attributes[1]
        assert (second.attribute, second.toward) == ("bitterness", "above")
        assert current.advice.action in ("taste sooner", "sell faster or move to a blend")

    def test_intervals_of_the_ageing_lots_changes_hold_the_truth(self, whole):
        """Truth is a month, the answer a reference month: at 20 to 23 degrees those differ by less than a fifth."""
        truth = TRUTH["ageing"]
        green = next(one for one in whole.green.coffees if one.coffee == truth["coffee"])
        for line in green.lines:
            for lot in line.of_lots:
                told = truth["lots"][lot.lot]["change_per_month"].get(line.service, {}).get(line.attribute, 0.0)
                reach = 2.5 * lot.change.sd + 0.2 * abs(told)
                assert abs(lot.change.value - told) < reach, (line.name, lot.lot)

    def test_of_lots_that_do_not_age_few_are_said_to(self, whole):
        """One way in ten would be told by luck; of the 56 lines 48 do not change."""
        others = [one for one in whole.green.coffees if one.coffee != TRUTH["ageing"]["coffee"]]
        told = sum(any(lot.shows for lot in line.of_lots) for one in others for line in one.lines)
        assert told <= 6

    def test_the_plan_turns_to_what_is_in_doubt(self, week):
        truth = {one["batch"]: one for one in TRUTH["batches"]}
        batches = [one for one in (*week.planned, *week.left_out) if one.kind == "batch"]
        assert batches
        assert {one.name.split(",")[0] for one in batches} <= set(truth)
        assert {one.kind for one in (*week.planned, *week.left_out)} == {"batch", "ageing", "calibration"}
        assert week.worth > week.price > 0


def test_an_invented_folder_is_read_on_its_own_last_day(whole):
    assert whole.season.read_on == whole.green.read_on == max(whole.season.read_on, *whole.season.coffees[0].dates)
    later = season(DEMO, on=date(2031, 1, 1))
    assert later.read_on == "2031-01-01"
    with pytest.raises(DesignError, match="read it on that day or later"):
        season(DEMO, on=date(2026, 3, 1))


def test_the_season_shows_green_and_likeness(whole):
    got = run("season", str(DEMO))
    assert got.exit_code == 0
    assert "The green: a prompt to taste, never an expiry" in got.stdout
    assert "Is this lot like last year's?" in got.stdout


def test_the_page_holds_them_too(tmp_path):
    page = tmp_path / "season.html"
    assert run("season", str(DEMO), "--html", str(page), "--coffee", "Ninefold Stair").exit_code == 0
    html = page.read_text()
    assert "The green: stock and age" in html
    assert "Like last year&#x27;s lot" in html


def test_the_plan_keeps_to_who_and_what_there_is(tmp_path):
    words = ("plan", str(DEMO), "--taster", "Ane", "--taster", "Zoe", "--cups", "3", "--minutes", "20", "--money", "20")
    got = run(*words, "--bench-minutes", "12")
    assert got.exit_code == 0, got.output
    said = " ".join(got.stdout.split())
    assert "Ane" in said
    assert "Control cups, Zoe" in said
    assert "Cleo" not in said
    assert "of 3 cups" in said


def test_bad_input_is_one_sentence_and_status_2(tmp_path):
    for words in (("season", str(DEMO), "--on", "2026-03-01"), ("plan", str(DEMO), "--on", "2026-03-01")):
        got = run(*words)
        assert got.exit_code == 2
        assert "read it on that day or later" in " ".join(got.stderr.split())
        assert got.stdout == ""
    assert run("plan", str(DEMO), "--on", "yesterday").exit_code == 2
    assert run("plan", str(tmp_path)).exit_code == 2
