"""Worlds: their laws have the spread they state, and a season's truth is what its scores come from."""

import numpy as np
import pytest

from evenhand.study.season import Season
from evenhand.study.worlds import WORLDS, draw_effects
from evenhand.verdict.cost import Costs

COSTS = Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1)


@pytest.mark.parametrize("name", list(WORLDS))
def test_effects_have_the_stated_spread(name):
    world = WORLDS[name]
    drawn = draw_effects(world, 0.7, (200_000, 2), np.random.default_rng(1), kind="residual")
    assert drawn.mean() == pytest.approx(0, abs=0.01)
    assert drawn.std() == pytest.approx(0.7, rel=0.05)
    if world.tail_df == 0:
        assert np.corrcoef(drawn.T)[0, 1] == pytest.approx(world.correlation, abs=0.02)
    # a law that leans has more than half of itself below its mean; its third moment need not exist
    assert (np.mean(drawn < 0) > 0.54) == (world.skew > 0)


def test_share_of_bad_batches_is_as_computed():
    world = WORLDS["own"]
    bad = [1 - Season(world, COSTS, np.random.default_rng(seed)).truth.good.mean() for seed in range(60)]
    assert np.mean(bad) == pytest.approx(world.share_bad(), abs=3 * np.std(bad) / np.sqrt(60))


def test_scores_average_to_the_truth_when_there_are_many():
    season = Season(WORLDS["own"], COSTS, np.random.default_rng(2))
    season.taste(0, "black", pulls=800, tasters=5)
    scores, truth = season.tastings().scores, season.truth
    for index, (service, attribute) in enumerate(truth.columns):
        if service == "black":
            mean = scores.score[scores.attribute == attribute].mean()
            # batch x taster effects of five tasters do not average out over pulls: s.d. 0.3 / sqrt(5)
            assert mean == pytest.approx(truth.level[0, index], abs=0.5)
    assert season.cups == 800


def test_coarse_scores_are_steps_and_stay_on_the_scale():
    season = Season(WORLDS["coarse"], COSTS, np.random.default_rng(3))
    season.taste(0, "black", pulls=30, tasters=3)
    assert set(season.tastings().scores.score.tolist()) <= {0.0, 2.0, 4.0, 6.0, 8.0, 10.0}


def test_the_drifting_taster_climbs():
    season = Season(WORLDS["drifting"], COSTS, np.random.default_rng(4))
    for batch in range(60):
        season.taste(batch, "black", pulls=6, tasters=5)
    scores = season.tastings().scores
    mine = scores.taster == "T0"
    batch = np.array([int(name[1:]) for name in scores.batch])

    def gap(rows):
        return scores.score[rows & mine].mean() - scores.score[rows & ~mine].mean()

    assert gap(batch >= 40) - gap(batch < 20) == pytest.approx(2 * 40 / 59, abs=0.35)


def test_those_who_met_a_batch_least_come_first_where_that_is_asked():
    season = Season(WORLDS["own"], COSTS, np.random.default_rng(5))
    season.taste(0, "black", pulls=1, tasters=2)
    first = set(season.tastings().scores.taster.tolist())
    season.taste(0, "black", pulls=1, tasters=3, new_first=True)
    scores = season.tastings().scores
    assert len(first) == 2
    assert set(scores.taster[scores.pull == "P0002"].tolist()) == {f"T{n}" for n in range(5)} - first
    season.taste(0, "milk", pulls=1, tasters=5, new_first=True)  # another service is met anew
    season.taste(0, "black", pulls=5, tasters=1, new_first=True)
    last = season.tastings().scores
    assert len({name for pull in range(4, 9) for name in last.taster[last.pull == f"P{pull:04d}"].tolist()}) == 5
