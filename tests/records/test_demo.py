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
    assert len(made) == 13
    assert made == {name: (DEMO / name).read_bytes() for name in made}
    assert {p.name for p in (DEMO / "season").iterdir()} == {n.name for n in made if n.parent.name == "season"}


def test_it_reads_without_error_or_warning(season):
    assert season.warnings == ()
    assert season.invented
    assert season.title == "season"


def test_the_counts_are_those_promised(season):
    assert len(season.coffees) >= 6
    assert len(season.batches) >= 60
    assert len({sheet.taster for sheet in season.sheets}) == 5
    for service in ("black", "milk"):
        assert sum(cup.service == service for cup in season.cups) >= 150
    assert 300 <= len(season.cups) <= 500
    assert 4000 <= len(season.sheets) <= 6000
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
    assert 5 <= sum(not b["good"] for b in truth["batches"]) <= 8


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
