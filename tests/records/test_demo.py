"""The invented season is what its script makes, reads without a remark, and holds what is promised of it."""

import csv
import datetime as dt
import json
import math
import subprocess
import sys
from collections import defaultdict
from pathlib import Path
from statistics import fmean

import pytest

from evenhand.records.folder import Folder, read

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module")
def season() -> Folder:
    return read(DEMO / "season", today=dt.date(2026, 11, 1))


@pytest.fixture(scope="module")
def truth() -> dict:
    return json.loads((DEMO / "truth.json").read_text())


def batch_of_cup(season: Folder) -> dict[str, str]:
    batch_of_pull = {pull.pull: pull.batch for pull in season.pulls}
    return {cup.cup: batch_of_pull[cup.pull] for cup in season.cups}


def test_the_script_makes_the_committed_files_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, "-B", "-E", "-s", str(DEMO / "make_demo.py"), str(tmp_path)], check=True)
    made = {p.relative_to(tmp_path): p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    assert len(made) == 16
    assert made == {name: (DEMO / name).read_bytes() for name in made}
    assert {p.name for p in (DEMO / "season").iterdir()} == {n.name for n in made if n.parent.name == "season"}


def test_it_reads_without_error_or_warning(season):
    assert season.warnings == ()
    assert season.invented
    assert season.title == "season"


def test_the_counts_are_those_promised(season):
    assert len(season.coffees) >= 6
    assert len(season.batches) == 90
    assert len({sheet.taster for sheet in season.sheets}) == 5
    for service in ("black", "milk"):
        assert sum(cup.service == service for cup in season.cups) >= 150
    assert 450 <= len(season.cups) <= 540
    assert 4000 <= len(season.sheets) <= 6000
    roasted = [batch.roasted_on for batch in season.batches]
    assert 7 * 30 < (max(roasted) - min(roasted)).days < 9 * 30
    assert max(pull.pulled_at for pull in season.pulls) < dt.datetime(2026, 11, 1)


def test_truth_stands_beside_it_and_agrees_with_itself(season, truth):
    target = {(t.coffee, t.service, t.attribute): t for t in season.targets}
    assert [b["batch"] for b in truth["batches"]] == [b.batch for b in season.batches]
    assert not (DEMO / "season" / "truth.csv").exists()
    for batch in truth["batches"]:
        inside = all(
            abs(value - target[batch["coffee"], service, attribute].target)
            <= target[batch["coffee"], service, attribute].tolerance
            for service, profile in batch["profile"].items()
            for attribute, value in profile.items()
        )
        assert batch["good"] == (inside and not batch["faults"])
        assert batch["good"] == (batch["off"] == "")
    with open(DEMO / "truth.csv", newline="") as stream:
        flat = list(csv.DictReader(stream))
    assert [(row["batch"], row["good"]) for row in flat] == [
        (b["batch"], str(int(b["good"]))) for b in truth["batches"]
    ]
    assert sum(not b["good"] for b in truth["batches"]) == 10


def test_a_shot_ran_long_and_slow_on_a_good_roast(season, truth):
    batch = next(b for b in truth["batches"] if b["pulls"].startswith("one shot pulled long and slow"))
    recipe = season.recipes[0]
    off = [
        p
        for p in season.pulls
        if p.batch == batch["batch"]
        and p.beverage_g > recipe.beverage_g + 3 * recipe.beverage_tol_g
        and p.time_s > recipe.time_s + 3 * recipe.time_tol_s
    ]
    assert batch["good"]
    assert len(off) == 1


@pytest.mark.parametrize("fault", ["green", "smoky", "ashy", "baked", "harsh"])
def test_each_fault_is_in_some_roast_and_heard_there_more_than_elsewhere(season, truth, fault):
    has = {b["batch"] for b in truth["batches"] if fault in b["faults"]}
    batch_of = batch_of_cup(season)
    there, elsewhere = [], []
    for report in season.faults:
        if report.fault == fault:
            (there if batch_of[report.cup] in has else elsewhere).append(report.heard)
    assert has
    assert fmean(there) > 0.3 > 0.1 > fmean(elsewhere)


def test_an_underdeveloped_batch_is_only_slightly_so(truth):
    batch = next(b for b in truth["batches"] if b["off"].startswith("slightly underdeveloped"))
    assert batch["faults"] == ["green"]
    assert 1 < batch["worst_miss_in_tolerances"] <= 1.3


def test_one_taster_scores_high(season, truth):
    mean = defaultdict(list)
    for sheet in season.sheets:
        mean[sheet.taster].append(sheet.score)
    means = {taster: fmean(scores) for taster, scores in mean.items()}
    highest = max(means, key=means.__getitem__)
    assert highest == truth["high_taster"]
    assert means[highest] > 0.5 + max(value for taster, value in means.items() if taster != highest)


def test_the_panel_is_centred_so_truth_is_for_its_mean_taster(truth):
    for service, attributes in truth["response"].items():
        for attribute in attributes:
            offsets = [taster["offset"][service][attribute] for taster in truth["tasters"].values()]
            assert math.isclose(sum(offsets), 0, abs_tol=5e-4)


def test_one_taster_is_deaf_to_green_and_sat_at_every_green_batch(season, truth):
    green = {b["batch"] for b in truth["batches"] if "green" in b["faults"]}
    batch_of = batch_of_cup(season)
    heard = defaultdict(list)
    for report in season.faults:
        if report.fault == "green" and batch_of[report.cup] in green:
            heard[report.taster, batch_of[report.cup]].append(report.heard)
    deaf = truth["deaf_taster"]["taster"]
    assert {batch for taster, batch in heard if taster == deaf} == green
    assert max(fmean(v) for (taster, _), v in heard.items() if taster == deaf) < 0.2
    assert min(fmean(v) for (taster, _), v in heard.items() if taster != deaf) > 0.4


def test_some_readings_of_dissolved_solids_are_missing(season):
    missing = sum(pull.tds_pct is None for pull in season.pulls) / len(season.pulls)
    assert 0.2 < missing < 0.6


def test_scores_move_with_the_shot_as_the_truth_says(season, truth):
    """The stated response to a longer, slower shot is in the data: ordinary least squares finds its sign."""
    np = pytest.importorskip("numpy")
    recipe = season.recipes[0]
    pulls = {p.pull: p for p in season.pulls}
    cups = {c.cup: c for c in season.cups}
    profile = {b["batch"]: b["profile"] for b in truth["batches"]}
    offset = {t: told["offset"] for t, told in truth["tasters"].items()}
    rows, rest = [], []
    for sheet in season.sheets:
        cup = cups[sheet.cup]
        if (cup.service, sheet.attribute) != ("black", "bitterness"):
            continue
        pull = pulls[cup.pull]
        ratio = pull.beverage_g / pull.dose_g / (recipe.beverage_g / recipe.dose_g)
        rows.append([1.0, math.log(ratio), math.log(pull.time_s / recipe.time_s)])
        known = profile[pull.batch]["black"]["bitterness"] + offset[sheet.taster]["black"]["bitterness"]
        rest.append(sheet.score - known)
    estimate, *_ = np.linalg.lstsq(np.array(rows), np.array(rest), rcond=None)
    said = truth["response"]["black"]["bitterness"]
    assert abs(estimate[0]) < 0.1
    assert estimate[1] == pytest.approx(said["log_ratio"], abs=1.5)
    assert estimate[2] == pytest.approx(said["log_time"], abs=1.2)


def raw_means(season: Folder, service: str, attribute: str) -> dict[str, float]:
    """Mean score of each batch: what a roastery without any model would look at."""
    batch_of, of_cup = batch_of_cup(season), {cup.cup: cup.service for cup in season.cups}
    scores = defaultdict(list)
    for sheet in season.sheets:
        if (of_cup[sheet.cup], sheet.attribute) == (service, attribute):
            scores[batch_of[sheet.cup]].append(sheet.score)
    return {batch: fmean(found) for batch, found in scores.items()}


def lot_of(season: Folder) -> dict[str, str | None]:
    usual = {row.coffee: row.green_lot for row in season.coffees}
    return {row.batch: row.green_lot or usual[row.coffee] for row in season.batches}


def test_nobody_passes_400_mg_of_caffeine_at_a_table(season):
    """A ceiling: 12 mg in a gram of coffee, four fifths of it in the cup, each cup shared by those who scored it.

    400 mg in a day is the European Food Safety Authority's figure for healthy adults (2015), EFSA Journal 13(5):4102.
    """
    dose_g = {pull.pull: pull.dose_g for pull in season.pulls}
    who = defaultdict(set)
    for sheet in season.sheets:
        who[sheet.cup].add(sheet.taster)
    offered = defaultdict(float)
    for cup in season.cups:
        for taster in who[cup.cup]:
            offered[cup.table, taster] += dose_g[cup.pull] * 12.0 * 0.8 / len(who[cup.cup])
    assert max(offered.values()) < 400
    tables = defaultdict(set)
    for cup in season.cups:
        tables[cup.table].add(batch_of_cup(season)[cup.cup])
    assert all(len(batches) == 2 for batches in tables.values())  # with one batch alone nothing is blind


def test_a_roast_drifts_from_the_day_stated(season, truth):
    """The colour meter reads lower and the masses say more was lost once the drift is full, by about what is stated."""
    drift = truth["drift"]
    begins, full = (dt.date.fromisoformat(drift[name]) for name in ("begins", "full_from"))
    off_before = {b["batch"] for b in truth["batches"] if not b["good"]}
    own = [b for b in season.batches if b.coffee == drift["coffee"]]
    before = [b for b in own if b.roasted_on < begins and b.batch not in off_before]
    after = [b for b in own if b.roasted_on >= full]
    assert len(before) >= 5 <= len(after)
    assert next(b.batch for b in own if b.roasted_on > begins) == drift["first_batch"]

    def loss_pct(batch) -> float:
        return 100 * (1 - batch.roasted_out_kg / batch.green_in_kg)

    lost_more = fmean(map(loss_pct, after)) - fmean(map(loss_pct, before))
    assert lost_more == pytest.approx(drift["dry_loss_points"], abs=0.5)
    colours = [[b.colour for b in some if b.colour is not None] for some in (before, after)]
    assert fmean(colours[1]) < fmean(colours[0]) - 2
    means = raw_means(season, "black", "bitterness")
    bitterer = fmean(means[b.batch] for b in after) - fmean(means[b.batch] for b in before)
    assert bitterer == pytest.approx(drift["change"]["black"]["bitterness"], abs=0.5)
    ashy = [b["batch"] for b in truth["batches"] if b["coffee"] == drift["coffee"] and "ashy" in b["faults"]]
    assert ashy[0] == drift["ashy_from"]
    assert all(b.roasted_on >= full for b in own if b.batch in ashy)


def test_a_coffee_goes_from_one_harvest_to_the_next(season, truth):
    change, lots = truth["harvest_change"], lot_of(season)
    harvest = {row.green_lot: row.harvest for row in season.green_lots}
    own = [b.batch for b in season.batches if b.coffee == change["coffee"]]
    before, after = own[: own.index(change["first_batch"])], own[own.index(change["first_batch"]) :]
    assert {lots[b] for b in before} == {change["from_lot"]}
    assert {lots[b] for b in after} == {change["to_lot"]}
    assert harvest[change["from_lot"]] < harvest[change["to_lot"]]
    for service, attributes in change["change"].items():
        for attribute, size in attributes.items():
            means = raw_means(season, service, attribute)
            seen = fmean(means[b] for b in after) - fmean(means[b] for b in before)
            assert seen == pytest.approx(size, abs=0.5)
            assert seen * size > 0


def test_two_lots_of_one_coffee_age_in_the_bag(season, truth):
    """The line through the true profiles falls or rises as stated, within what so few batches can show."""
    np = pytest.importorskip("numpy")
    ageing, lots = truth["ageing"], lot_of(season)
    roasted = {row.batch: row.roasted_on for row in season.batches}
    assert {lots[b.batch] for b in season.batches if b.coffee == ageing["coffee"]} == set(ageing["lots"])
    for lot, told in ageing["lots"].items():
        harvested = next(row.harvested_on for row in season.green_lots if row.green_lot == lot)
        assert harvested.isoformat() == told["harvested_on"]
        here = [b for b in truth["batches"] if b["green_lot"] == lot and b["good"]]
        months = np.array([(roasted[b["batch"]] - harvested).days / 30.44 for b in here])
        for attribute, rate in told["change_per_month"]["black"].items():
            line = np.polyfit(months, [b["profile"]["black"][attribute] for b in here], 1)
            assert line[0] == pytest.approx(told["slope_of_the_batches_drawn"]["black"][attribute], abs=1e-3)
            within = truth["sd"]["batch_shared"] ** 2 + truth["sd"]["batch_own"] ** 2
            standard_error = (within / ((months - months.mean()) ** 2).sum()) ** 0.5
            assert abs(line[0] - rate) < 2.5 * standard_error
    signs = {rate > 0 for told in ageing["lots"].values() for rate in told["change_per_month"]["black"].values()}
    assert signs == {True, False}


def test_stock_covers_what_was_roasted_and_every_lot_is_read_and_stored(season, truth):
    lots = lot_of(season)
    used_kg = defaultdict(float)
    for batch in season.batches:
        used_kg[lots[batch.batch]] += batch.green_in_kg
    stock = {row.green_lot: row for row in season.green_lots}
    assert set(used_kg) == set(stock)
    for lot, row in stock.items():
        assert used_kg[lot] <= row.green_kg
        assert row.green_kg % row.bag_kg == 0
        assert row.harvested_on < row.arrived_on <= min(b.roasted_on for b in season.batches if lots[b.batch] == lot)
        readings = [one for one in season.green_readings if one.green_lot == lot]
        assert len(readings) >= 2
        assert all(9 < one.moisture_pct < 12 and one.moisture_method for one in readings)
        assert next(one.stored_from for one in season.green_storage if one.green_lot == lot) == row.arrived_on
    # The ageing lot in use has more months of stock than are left until it leaves its tolerance.
    coffee = truth["ageing"]["coffee"]
    lot = next(row.green_lot for row in season.coffees if row.coffee == coffee)
    roasted = [b.roasted_on for b in season.batches if lots[b.batch] == lot]
    months = (max(roasted) - min(roasted)).days / 30.44
    left = (stock[lot].green_kg - used_kg[lot]) / (used_kg[lot] / months)
    now = (dt.date(2026, 11, 1) - stock[lot].harvested_on).days / 30.44
    assert left > truth["ageing"]["lots"][lot]["leaves_tolerance_at_months"]["black"]["acidity"] - now > 0
