"""Naive averaging: releases on means within tolerance, holds on a fault that a third of the reports name."""

import dataclasses

import numpy as np
import pytest

from evenhand.study import naive
from evenhand.study.season import Season
from evenhand.study.worlds import WORLDS
from evenhand.verdict.cost import Costs

COSTS = Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)


@pytest.fixture
def tastings():
    season = Season(WORLDS["own"], COSTS, np.random.default_rng(0))
    for batch in range(60):
        for service in ("black", "milk"):
            season.taste(batch, service, pulls=2, tasters=3)
    return season.tastings()


def with_scores(tastings, score):
    return dataclasses.replace(tastings, scores=dataclasses.replace(tastings.scores, score=score))


def quiet(tastings):
    return dataclasses.replace(
        tastings, reports=dataclasses.replace(tastings.reports, heard=np.zeros_like(tastings.reports.heard))
    )


def on_target(tastings):
    coffee = {one.batch: one.coffee for one in tastings.batches}
    scores = tastings.scores
    columns = zip(scores.batch.tolist(), scores.service.tolist(), scores.attribute.tolist(), strict=True)
    return np.array([tastings.targets[coffee[batch]][(service, name)].target for batch, service, name in columns])


def test_on_target_and_quiet_is_released(tastings):
    assert naive.release(quiet(with_scores(tastings, on_target(tastings)))).all()


def test_one_mean_past_its_tolerance_is_held(tastings):
    score = on_target(tastings)
    rows = (tastings.scores.batch == "B004") & (tastings.scores.attribute == "body")
    score[rows] += 1.01
    released = naive.release(quiet(with_scores(tastings, score)))
    assert not released[4]
    assert released.sum() == 59


def test_a_third_of_the_reports_holds(tastings):
    still = quiet(with_scores(tastings, on_target(tastings)))
    rows = np.flatnonzero((still.reports.batch == "B009") & (still.reports.fault == "green"))
    heard = still.reports.heard.copy()
    heard[rows[: len(rows) // 3]] = 1
    released = naive.release(dataclasses.replace(still, reports=dataclasses.replace(still.reports, heard=heard)))
    assert not released[9]
    assert released.sum() == 59
