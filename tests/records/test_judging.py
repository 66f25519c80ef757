"""From rows to arrays: what a folder says arrives unchanged where the judgement is made."""

from datetime import date
from pathlib import Path

import numpy as np
import pytest

import evenhand
from evenhand.errors import FolderError
from evenhand.records.folder import read
from evenhand.records.judging import arrange, judge

DEMO = Path(__file__).parents[2] / "demo" / "season"
TODAY = date(2026, 11, 1)


@pytest.fixture(scope="module")
def folder():
    return read(DEMO, today=TODAY)


def test_every_score_finds_its_batch_pull_and_service(folder):
    tastings = arrange(folder, judged_on=TODAY)
    cups = {row.cup: row for row in folder.cups}
    pulls = {row.pull: row for row in folder.pulls}
    assert len(tastings.scores.score) == len(folder.sheets)
    for index in np.random.default_rng(0).integers(0, len(folder.sheets), 200):
        sheet = folder.sheets[index]
        assert tastings.scores.score[index] == sheet.score
        assert tastings.scores.pull[index] == cups[sheet.cup].pull
        assert tastings.scores.service[index] == cups[sheet.cup].service
        assert tastings.scores.batch[index] == pulls[cups[sheet.cup].pull].batch
    assert tastings.reports.heard.sum() == sum(row.heard for row in folder.faults)


def test_recipes_targets_costs_and_marks_are_handed_on(folder):
    tastings = arrange(folder, judged_on=TODAY)
    assert set(tastings.recipes) == {row.coffee for row in folder.coffees}
    assert sum(len(goals) for goals in tastings.targets.values()) == len(folder.targets)
    assert tastings.costs.prior_bad == folder.costs.prior_bad
    assert tastings.invented
    assert tastings.judged_on == "2026-11-01"
    assert tastings.tables[folder.cups[0].cup] == folder.cups[0].table


def test_the_package_lends_the_same_door():
    assert evenhand.judge is judge
    with pytest.raises(AttributeError, match="nothing_of_the_kind"):
        evenhand.nothing_of_the_kind  # noqa: B018


def test_the_day_of_judging_bounds_the_dates():
    with pytest.raises(FolderError, match="not after today"):
        judge(DEMO, today=date(2026, 4, 1))
