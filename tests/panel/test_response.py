"""What a deviation does to the cup: covariates at and off the recipe, priors, and what was never seen."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError
from evenhand.panel.response import COVARIATES, build, effect_priors, strength_left_over


def pulls(ratio, time_s, water_c=None, tds_pct=None, batch=None):
    n = len(ratio)
    return build(
        ratio=ratio,
        recipe_ratio=np.full(n, 2.0),
        time_s=time_s,
        recipe_time_s=np.full(n, 28.0),
        water_c=np.full(n, np.nan) if water_c is None else water_c,
        recipe_water_c=np.full(n, 92.5),
        tds_pct=np.full(n, np.nan) if tds_pct is None else tds_pct,
        batch=np.arange(n) if batch is None else batch,
    )


def test_on_recipe_there_is_nothing_to_correct():
    response = pulls([2.0, 2.0, 2.0], [28.0, 28.0, 28.0])
    assert response.names == ()
    assert response.columns.shape == (3, 0)


def test_logs_of_ratio_and_time():
    response = pulls([35 / 16, 2.0], [32.0, 28.0])
    assert response.names == ("log_ratio", "log_time")
    assert response.columns[0] == pytest.approx([np.log(35 / 32), np.log(32 / 28)])
    assert response.columns[1] == pytest.approx([0, 0])


def test_missing_water_counts_as_on_recipe():
    response = pulls([2.0, 2.0], [28.0, 28.0], water_c=[np.nan, 93.5])
    assert response.columns[:, response.names.index("water")] == pytest.approx([0.0, 1.0])


def test_a_pull_past_what_was_seen_is_named_and_gets_a_column_of_its_own():
    time_s = np.array([26, 27, 27.5, 28, 28.5, 29, 29.5, 30, 31, 40.0])
    response = pulls(np.full(10, 2.0), time_s)
    assert response.names == ("log_time", "beyond_log_time")
    assert response.beyond[9] == ("log_time",)
    assert all(beyond == () for beyond in response.beyond[:9])
    mean, sd = response.priors("bitterness", "black", 0, 10)
    assert mean[1] == 0.0
    assert sd[1] == sd[0]


def test_few_pulls_make_no_range():
    assert pulls([2.0, 2.0, 2.0], [28.0, 28.0, 60.0]).beyond == ((), (), ())


def test_strength_is_told_apart_only_within_a_batch():
    rng = np.random.default_rng(0)
    log_ratio, log_time = 0.1 * rng.standard_normal(40), 0.1 * rng.standard_normal(40)
    batch = np.repeat(np.arange(10), 4)
    own = rng.standard_normal(10)[batch]
    extra = 0.02 * rng.standard_normal(40)
    tds = np.exp(2.2 + 0.2 * own - 0.8 * log_ratio + 0.1 * log_time + extra)
    left = strength_left_over(tds, log_ratio, log_time, batch)
    centred = extra - np.repeat(extra.reshape(10, 4).mean(axis=1), 4)
    assert left == pytest.approx(centred, abs=0.008)


def test_strength_needs_two_readings_in_a_batch():
    assert strength_left_over([9.0, np.nan], [0.0, 0.1], [0.0, 0.1], [0, 0]).tolist() == [0.0, 0.0]
    assert strength_left_over([9.0, 10.0], [0.0, 0.1], [0.0, 0.1], [0, 1]) == pytest.approx([0, 0])


def test_directions_of_the_trade():
    """Common practice, no source: a shot run long and slow leans bitter and loses acidity."""
    bitter = {prior.covariate: prior for prior in effect_priors("bitterness", "black", 0, 10)}
    acid = {prior.covariate: prior for prior in effect_priors("acidity", "black", 0, 10)}
    assert bitter["log_ratio"].mean > 0
    assert bitter["log_time"].mean > 0
    assert acid["log_ratio"].mean < 0
    assert bitter["water"].mean == 0
    assert "2871" in bitter["log_ratio"].source
    moved = bitter["log_ratio"].mean * np.log(35 / 32) + bitter["log_time"].mean * np.log(32 / 28)
    assert 0.2 < moved < 0.6  # a mild lean on a scale of ten


@given(st.floats(0.5, 100), st.sampled_from(["bitterness", "acidity", "floral"]))
def test_priors_scale_with_the_scale_and_shrink_in_milk(width, attribute):
    small = effect_priors(attribute, "black", 0, 1)
    large = effect_priors(attribute, "black", 0, width)
    milk = effect_priors(attribute, "milk", 0, 1)
    assert [prior.covariate for prior in small] == list(COVARIATES)
    for one, other, less in zip(small, large, milk, strict=True):
        assert other.mean == pytest.approx(one.mean * width)
        assert other.sd == pytest.approx(one.sd * width)
        assert less.sd < one.sd


def test_refusals():
    with pytest.raises(DesignError, match="time_s"):
        pulls([2.0], [0.0])
    with pytest.raises(DesignError, match="width"):
        effect_priors("acidity", "black", 5, 5)
