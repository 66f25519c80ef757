"""Operating characteristics: calibration error of known judges, errors by jackknife, and the bars."""

import dataclasses

import numpy as np
import pytest

from evenhand.errors import DesignError
from evenhand.study.bars import hold
from evenhand.study.characteristics import Estimate, calibration_error, summarise
from evenhand.study.trial import Losses, Trial, run
from evenhand.study.worlds import WORLDS
from evenhand.verdict.cost import Costs

COSTS = Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)


def losses(cost, cups=4.0):
    return Losses(wrong_release=cost / 400, wrong_hold=0.0, cost=cost, cups=cups)


def trial(covered, cost, naive_cost, rng):
    stated = rng.uniform(0, 1, 50)
    return Trial(
        covered=covered,
        p_within=stated,
        is_within=rng.random(50) < stated,
        p_good=stated,
        is_good=rng.random(50) < stated,
        p_good_adaptive=stated,
        is_good_adaptive=rng.random(50) < stated,
        fixed=losses(cost),
        naive_fixed=losses(naive_cost),
        adaptive=losses(20.0, 3.0),
        naive_at=(losses(60, 2), losses(40, 4), losses(30, 6), losses(10, 8)),
    )


def test_calibration_error_of_known_judges():
    rng = np.random.default_rng(0)
    stated = rng.uniform(0, 1, 200_000)
    assert calibration_error(stated, (rng.random(200_000) < stated).astype(float)) < 0.005
    assert calibration_error(np.full(1000, 0.7), np.ones(1000)) == pytest.approx(0.3)
    # a judge who overstates by half the distance to 1 is off by a quarter on average
    assert calibration_error(0.5 + stated / 2, (rng.random(200_000) < stated).astype(float)) == pytest.approx(
        0.25, abs=0.01
    )


def test_means_errors_and_interpolated_cups():
    rng = np.random.default_rng(1)
    trials = [trial(c, cost, 50.0, rng) for c, cost in ((0.88, 20.0), (0.90, 24.0), (0.92, 28.0))]
    found = summarise("own", trials)
    assert found.coverage.value == pytest.approx(0.90)
    # the jackknife error of a mean is the textbook one: s / sqrt(n)
    assert found.coverage.error == pytest.approx(np.std([0.88, 0.9, 0.92], ddof=1) / np.sqrt(3))
    assert found.cost_ratio.value == pytest.approx(24 / 50)
    assert found.naive_cups_for_equal == pytest.approx(7.0)
    assert found.cups_ratio.value == pytest.approx(3 / 7)
    assert found.naive_gets_there


def test_naive_that_never_gets_there_is_said():
    rng = np.random.default_rng(2)
    trials = [dataclasses.replace(trial(0.9, 20, 50, rng), adaptive=losses(5.0, 3.0)) for _ in range(3)]
    found = summarise("own", trials)
    assert not found.naive_gets_there
    assert found.naive_cups_for_equal == 8.0
    assert any("never got there" in bar.seen for bar in hold([found]))


def test_bars_are_met_or_missed_by_the_figures():
    rng = np.random.default_rng(3)
    found = summarise("own", [trial(0.9, 20, 50, rng) for _ in range(3)])
    asked = {bar.asked: bar.met for bar in hold([found])}
    assert asked["coverage 88 to 92 %"]
    assert asked["cost at most half of naive"]
    worse = dataclasses.replace(found, coverage=Estimate(0.93, 0.001), cost_ratio=Estimate(0.51, 0.001))
    asked = {bar.asked: bar.met for bar in hold([worse])}
    assert not asked["coverage 88 to 92 %"]
    assert not asked["cost at most half of naive"]


def test_one_season_says_nothing_of_errors():
    with pytest.raises(DesignError, match="two seasons"):
        summarise("own", [trial(0.9, 20, 50, np.random.default_rng(0))])


def test_a_small_trial_runs_and_repeats_itself():
    world = dataclasses.replace(WORLDS["own"], batches=8, coffees=2)
    one, again = run(world, COSTS, (1, 2)), run(world, COSTS, (1, 2))
    assert one.fixed == again.fixed
    assert one.adaptive == again.adaptive
    assert one.naive_fixed.cups == one.fixed.cups == 4.0
    assert one.adaptive.cups >= 2.0
    assert len(one.naive_at) == 7
    assert 0 <= one.covered <= 1
