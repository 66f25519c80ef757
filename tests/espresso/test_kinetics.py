"""The kinetic model: limits that must hold, what shots can and cannot tell, intervals, the soft window."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from evenhand.errors import QuantityError
from evenhand.espresso import _kinetics_plug_flow as plug
from evenhand.espresso._kinetics_fit import kinetics_at
from evenhand.espresso.kinetics import (
    PRIORS,
    Brew,
    Kinetics,
    Shot,
    believe_kinetics,
    extraction_pct,
    filling_s,
    fit_kinetics,
    list_sensitivities,
    place_in_drip_window,
    predict_extraction,
    predict_strength,
    stream_pct,
    strength_pct,
)
from evenhand.espresso.recipe import HouseRecipe
from evenhand.units import Measured

HOUSE = Brew(dose_g=18.0, beverage_g=36.0, time_s=28.0)
TRUE = Kinetics(
    soluble_pct=31.0,
    fast_share=0.45,
    fast_per_s=0.6,
    slow_per_s=0.03,
    capacity_ratio=1.6,
    held_g_per_g=1.2,
    activation_kj_per_mol=12.0,
    size_exponent=1.5,
)

ratios = st.floats(0.3, 6)
times = st.floats(3, 120)
shares = st.floats(0.02, 0.98)
fasts = st.floats(0.05, 3)
slows = st.floats(0.001, 0.2)
capacities = st.floats(0.3, 4)


def pulled(brew, rng, noise=0.03):
    true = strength_pct(TRUE, brew)
    return Shot(brew=brew, tds_pct=true * np.exp(rng.normal(0, noise)) + rng.normal(0, 0.1))


def series(rng):
    return [
        pulled(Brew(dose_g=18.0, beverage_g=beverage, time_s=time), rng)
        for beverage in (15.0, 25.0, 36.0, 50.0, 70.0)
        for time in (16.0, 28.0, 45.0)
    ]


@given(ratios, times, shares, fasts, slows, capacities)
@settings(max_examples=60, deadline=None)
def test_share_is_bounded_by_saturation_and_by_what_there_is(ratio, time, share, fast, slow, capacity):
    got = plug.extracted_share(ratio, time, share, fast, slow, capacity)
    assert 0 < got <= min(1.0, ratio / capacity) + 1e-9


@given(ratios, times, shares, fasts, slows, capacities)
@settings(max_examples=60, deadline=None)
def test_more_water_and_more_time_never_extract_less(ratio, time, share, fast, slow, capacity):
    base = plug.extracted_share(ratio, time, share, fast, slow, capacity)
    assert plug.extracted_share(1.1 * ratio, time, share, fast, slow, capacity) >= base - 1e-9
    assert plug.extracted_share(ratio, 1.1 * time, share, fast, slow, capacity) >= base - 1e-9


@given(ratios, times, fasts, capacities, shares)
@settings(max_examples=40, deadline=None)
def test_two_pools_of_one_rate_are_one_pool(ratio, time, rate, capacity, share):
    """The integral over the fast pool's delay must give back the closed form of a single pool."""
    two = plug.extracted_share(ratio, time, share, rate, rate, capacity)
    alone = plug.one_pool_washed(capacity / ratio, rate * time, 1.0) / (capacity / ratio)
    assert two == pytest.approx(float(alone), abs=1e-9)
    last = plug.outlet_share(ratio, time, share, rate, rate, capacity)
    assert last == pytest.approx(float(plug.one_pool_outlet(capacity / ratio, rate * time, 1.0)), abs=1e-8)


def test_without_end_all_solubles_are_in_the_cup():
    assert plug.extracted_share(200.0, 4000.0, 0.5, 0.4, 0.02, 1.4) == pytest.approx(1.0, abs=1e-6)


def test_first_drops_are_saturated_and_stream_sums_to_the_cup():
    grams = np.linspace(0.01, 36, 4001)
    stream = stream_pct(TRUE, HOUSE, grams)
    assert stream[0] == pytest.approx(TRUE.saturated_pct, rel=0.03)
    assert np.all(np.diff(stream) < 0)
    # At a steady flow the stream integrated over the beverage is the solids: 100 x g / 18 g of dose.
    solids = np.trapezoid(stream / 100, grams) + 0.01 * stream[0] / 100
    assert 100 * solids / 18 == pytest.approx(extraction_pct(TRUE, HOUSE), abs=2e-4)


def test_strength_is_extraction_over_ratio_and_level_is_the_reference():
    fit = believe_kinetics(HOUSE)
    assert strength_pct(fit.kinetics, HOUSE) == pytest.approx(extraction_pct(fit.kinetics, HOUSE) / 2)
    assert extraction_pct(fit.kinetics, HOUSE) == pytest.approx(20.0)
    assert predict_extraction(fit, HOUSE).sd == pytest.approx(20 * 0.12, rel=1e-3)
    # 18 g that hold 1.1 g/g fill at 36 g in 28 s: 28 x 1.1 / 3.1.
    assert filling_s(fit.kinetics, HOUSE) == pytest.approx(9.935, abs=1e-3)


def test_one_shot_fixes_one_number():
    fit = fit_kinetics(HOUSE, [Shot(brew=HOUSE, tds_pct=9.2)])
    assert fit.fitted == ("level_pct",)
    assert fit.numbers_fixed == 1
    assert fit.misfit is None
    for finding in fit.findings[1:]:
        assert finding.now.value == pytest.approx(finding.prior.value)
        assert finding.now.sd == pytest.approx(finding.prior.sd)
        assert finding.told < 1e-6
    # Conjugate arithmetic on the logarithm: prior sd 0.12, one shot with 0.03 of scatter and instrument noise.
    noise2 = 0.03**2 + (0.1 / 9.2) ** 2 + (0.1 / 36) ** 2 + (0.1 / 18) ** 2 + (0.2 * 0.2 / 28) ** 2
    weight = 0.12**2 / (0.12**2 + noise2)
    assert predict_extraction(fit, HOUSE).value == pytest.approx(20 * (18.4 / 20) ** weight, rel=1e-6)
    assert predict_extraction(fit, HOUSE).sd == pytest.approx(
        predict_extraction(fit, HOUSE).value * np.sqrt(0.12**2 * (1 - weight)), rel=1e-3
    )


def test_repeats_at_the_recipe_still_fix_one_number():
    rng = np.random.default_rng(4)
    fit = fit_kinetics(HOUSE, [pulled(HOUSE, rng) for _ in range(12)])
    assert fit.numbers_fixed == 1
    assert fit.fitted == ("level_pct",)
    assert predict_extraction(fit, HOUSE).sd < 0.012 * predict_extraction(fit, HOUSE).value


def test_a_series_over_yield_and_flow_tells_more_and_finds_it():
    fit = fit_kinetics(HOUSE, series(np.random.default_rng(2)))
    assert fit.numbers_fixed >= 3
    assert "fast_share" in fit.fitted
    assert "activation_kj_per_mol" not in fit.fitted
    assert "size_exponent" not in fit.fitted
    for finding in fit.findings:
        if not finding.fitted:
            assert finding.told < 0.5
            assert finding.now.value == pytest.approx(finding.prior.value)
            assert finding.now.sd == pytest.approx(finding.prior.sd)
    before = believe_kinetics(HOUSE)
    for beverage, time in ((20.0, 28.0), (36.0, 28.0), (60.0, 28.0), (36.0, 50.0)):
        brew = Brew(dose_g=18.0, beverage_g=beverage, time_s=time)
        told = predict_extraction(fit, brew)
        assert abs(told.value - extraction_pct(TRUE, brew)) < 3 * told.sd
        assert told.sd < 0.25 * predict_extraction(before, brew).sd


def test_predictions_cover_the_truth():
    """Thirty shops of three shots each: an interval of 90 % must hold the true extraction about nine times in ten."""
    away = Brew(dose_g=18.0, beverage_g=45.0, time_s=30.0)
    rng = np.random.default_rng(11)
    prior_sd = np.array([prior.sd for prior in PRIORS])
    start = np.array([prior.to_working(prior.value) for prior in PRIORS])
    inside = 0
    for _ in range(30):
        truth = kinetics_at(start + prior_sd * rng.normal(size=len(PRIORS)), HOUSE)
        shots = [
            Shot(brew=HOUSE, tds_pct=strength_pct(truth, HOUSE) * np.exp(rng.normal(0, 0.03)) + rng.normal(0, 0.1))
            for _ in range(3)
        ]
        told = predict_extraction(fit_kinetics(HOUSE, shots), away)
        inside += abs(told.value - extraction_pct(truth, away)) < 1.645 * told.sd
    # Binomial(30, 0.9): below 22 comes once in a hundred.
    assert inside >= 22


def test_intervals_agree_with_draws():
    """First-order propagation against 400 draws from the same joint distribution."""
    fit = fit_kinetics(HOUSE, [Shot(brew=HOUSE, tds_pct=9.6)])
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal(fit.working, fit.covariance, size=400)
    gram = list_sensitivities(fit)[1].extraction_points
    brew = Brew(dose_g=18.0, beverage_g=37.0, time_s=28.0 * 37 / 36)
    many = [kinetics_at(draw, HOUSE) for draw in draws]
    values = [extraction_pct(kinetics, brew) - extraction_pct(kinetics, HOUSE) for kinetics in many]
    # First order leaves a bias of the second: it must stay small beside the interval.
    assert abs(np.mean(values) - gram.value) < 0.4 * gram.sd
    assert np.std(values) == pytest.approx(gram.sd, rel=0.25)


def test_sensitivities_have_the_directions_of_practice():
    in_time, at_flow, slower, finer, hotter, dosed = list_sensitivities(believe_kinetics(HOUSE))
    # Common practice, no source: a longer pull extracts more and is weaker; a slower or hotter one extracts more.
    assert 0 < in_time.extraction_points.value < at_flow.extraction_points.value
    assert in_time.strength_points.value < at_flow.strength_points.value < 0
    assert 0 < slower.extraction_points.value < finer.extraction_points.value
    assert 0 < hotter.extraction_points.value < slower.extraction_points.value
    assert dosed.extraction_points.value < 0 < dosed.strength_points.value
    low, high = at_flow.extraction_interval
    assert high - low == pytest.approx(2 * norm.ppf(0.95) * at_flow.extraction_points.sd)
    assert "same flow" in at_flow.sentence
    assert f"{at_flow.extraction_points.value:+.2f}" in at_flow.sentence


def test_a_grind_is_a_change_of_rate():
    finer = Brew(dose_g=18.0, beverage_g=36.0, time_s=28.0, size_ratio=0.9)
    rates = 0.9**-1.5
    by_hand = Kinetics(
        soluble_pct=31.0, fast_share=0.45, fast_per_s=0.6 * rates, slow_per_s=0.03 * rates, capacity_ratio=1.6,
        held_g_per_g=1.2, activation_kj_per_mol=12.0, size_exponent=1.5,
    )  # fmt: skip
    assert extraction_pct(TRUE, finer) == pytest.approx(extraction_pct(by_hand, HOUSE))


def test_odd_readings_are_told():
    shots = [Shot(brew=HOUSE, tds_pct=15.0)] * 6
    assert any("soluble" in warning for warning in fit_kinetics(HOUSE, shots).warnings)
    wild = [Shot(brew=HOUSE, tds_pct=tds) for tds in (7.0, 11.0, 8.0, 12.0, 7.5, 10.5)]
    fit = fit_kinetics(HOUSE, wild)
    assert fit.misfit is not None
    assert fit.misfit > 2
    assert any("scatter" in warning for warning in fit.warnings)
    calm = fit_kinetics(HOUSE, [Shot(brew=HOUSE, tds_pct=9.5)] * 6)
    assert calm.warnings == ()
    assert predict_extraction(fit, HOUSE).sd > 2 * predict_extraction(calm, HOUSE).sd


def test_predicted_strength_goes_with_extraction():
    fit = believe_kinetics(HOUSE)
    extraction, strength = predict_extraction(fit, HOUSE), predict_strength(fit, HOUSE)
    assert strength.value == pytest.approx(extraction.value / 2)
    assert strength.sd == pytest.approx(extraction.sd / 2)


def test_drip_window_is_soft():
    inside = [place_in_drip_window(Measured(value, 0.3)).inside for value in (15.0, 17.5, 18.0, 18.5, 20.0, 25.0)]
    assert inside[0] < 0.01
    assert inside[1] < inside[2] < inside[3] < inside[4]
    assert inside[2] == pytest.approx(0.5, abs=0.01)
    assert inside[5] < 0.01
    sharp, blunt = (place_in_drip_window(Measured(20.0, sd)).inside for sd in (0.1, 3.0))
    assert blunt < sharp
    assert "no verdict" in place_in_drip_window(Measured(16.8, 0.3)).sentence
    assert "1.2 points below" in place_in_drip_window(Measured(16.8, 0.3)).sentence


def test_recipe_becomes_a_brew():
    recipe = HouseRecipe(
        name="house", dose_g=18.0, dose_tol_g=0.3, beverage_g=36.0, beverage_tol_g=1.5, time_s=28.0, time_tol_s=2.0
    )
    assert Brew.of_recipe(recipe) == HOUSE


@pytest.mark.parametrize(
    "make",
    [
        lambda: Brew(dose_g=0.0, beverage_g=36.0, time_s=28.0),
        lambda: Brew(dose_g=18.0, beverage_g=float("nan"), time_s=28.0),
        lambda: Brew(dose_g=18.0, beverage_g=36.0, time_s=28.0, water_c=200.0),
        lambda: Shot(brew=HOUSE, tds_pct=0.0),
        lambda: Shot(brew=HOUSE, tds_pct=9.0, tds_sd_pct=-1.0),
        lambda: fit_kinetics(HOUSE, [], scatter_log=0.0),
        lambda: place_in_drip_window(Measured(120.0)),
        lambda: stream_pct(TRUE, HOUSE, [0.0]),
        lambda: Kinetics(
            soluble_pct=31.0, fast_share=1.0, fast_per_s=0.6, slow_per_s=0.03, capacity_ratio=1.6, held_g_per_g=1.2,
            activation_kj_per_mol=12.0, size_exponent=1.5,
        ),
        lambda: Kinetics(
            soluble_pct=31.0, fast_share=0.5, fast_per_s=-1.0, slow_per_s=0.03, capacity_ratio=1.6, held_g_per_g=1.2,
            activation_kj_per_mol=12.0, size_exponent=1.5,
        ),
    ],
)  # fmt: skip
def test_impossible_numbers_are_refused(make):
    with pytest.raises(QuantityError):
        make()
