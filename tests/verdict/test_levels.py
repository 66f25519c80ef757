"""Levels out of sheets: the priors' arithmetic, agreement with the fit they rest on, and honest intervals."""

import numpy as np
import pytest
from scipy.stats import norm

from evenhand.panel import mixed
from evenhand.study.season import Season
from evenhand.study.worlds import WORLDS
from evenhand.verdict.cost import Costs
from evenhand.verdict.judge import judge
from evenhand.verdict.priors import batch_sd_in_tolerances
from evenhand.verdict.tastings import Target


@pytest.mark.parametrize(("prior_bad", "attributes"), [(0.1, 1), (0.1, 8), (0.3, 5)])
def test_the_spread_of_batches_gives_back_the_share_of_bad_ones(prior_bad, attributes):
    sd = batch_sd_in_tolerances(prior_bad, attributes)
    inside = (2 * norm.cdf(1 / sd) - 1) ** attributes
    assert inside == pytest.approx(1 - prior_bad)


@pytest.mark.parametrize("prior_bad", [1e-300, 1e-17, 1 - 1e-16])
def test_a_share_next_to_none_or_all_is_still_a_belief(prior_bad):
    assert 0.05 <= batch_sd_in_tolerances(prior_bad, 3) <= 5.0


def test_reported_variances_are_plain_reml(make_tastings, make_season):
    """The judgement file's variances are those of the engine on the same sheets, with nothing of the judge's priors."""
    cups = make_season(np.random.default_rng(0), lambda batch: 4.0 + 0.3 * (batch % 4), batches=16)
    on_recipe = [
        (batch, type(pull)(name=pull.name, dose_g=16, beverage_g=32, time_s=28, water_c=92.5), service, sheets)
        for batch, pull, service, sheets in cups
    ]
    row = judge(make_tastings(on_recipe, targets={("black", "bitterness"): Target(4.0, 1.0)})).variances[0]
    rows = [
        (scores["bitterness"], batch, taster, pull.name)
        for batch, pull, _, sheets in on_recipe
        for taster, scores in sheets.items()
    ]
    score, batch, taster, pull = zip(*rows, strict=True)
    fit = mixed.fit(np.array(score), batch, taster, pull)
    for name in ("batch", "taster", "batch_taster", "pull", "residual"):
        assert getattr(row, name) == pytest.approx(fit.variances[name], rel=1e-6, abs=1e-10)
    assert row.log_likelihood == pytest.approx(fit.log_likelihood, abs=1e-8)


def test_intervals_cover_in_the_models_own_world():
    """Ninety per cent intervals over one season of 420: between 85 and 95 % hold the truth."""
    season = Season(
        WORLDS["own"],
        Costs(wrong_release=400, wrong_hold=150, one_pull=3, one_taste=2, prior_bad=0.1),
        np.random.default_rng(3),
    )
    for batch in range(season.world.batches):
        for service in ("black", "milk"):
            season.taste(batch, service, pulls=2, tasters=3)
    truth = season.truth
    place = {column: index for index, column in enumerate(season.world.columns)}
    held = [
        one.lower90 <= truth.level[batch, place[(one.service, one.attribute)]] <= one.upper90
        for batch, verdict in enumerate(judge(season.tastings()).batches)
        for one in verdict.profile
    ]
    assert len(held) == 420
    assert 0.85 <= np.mean(held) <= 0.95


def test_more_cups_make_a_narrower_interval(make_tastings, make_season):
    cups = make_season(np.random.default_rng(1), lambda batch: 4.0, batches=12)
    fewer = [cup for cup in cups if not (cup[0] == "B04" and cup[1].name.endswith("-1"))]
    goals = {("black", "bitterness"): Target(4.0, 1.0)}
    whole, part = judge(make_tastings(cups, targets=goals)), judge(make_tastings(fewer, targets=goals))
    assert part.batches[4].profile[0].sd > whole.batches[4].profile[0].sd
