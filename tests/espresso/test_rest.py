"""Rest: curves of gas, an effect learned from pulls, and the age from which a batch is ready."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso.rest import (
    gas_left_double,
    gas_left_weibull,
    learn_rest_effect,
    ready_to_judge,
    ready_to_sell,
)

DAYS = np.array([2.0, 3.0, 5.0, 8.0, 12.0, 16.0])


def test_the_worked_example():
    """Three days with a time constant of 7 days and shape 0.6: exp(-(3/7)^0.6) = exp(-0.6015) = 0.548."""
    assert float(gas_left_weibull(3.0, 7.0, 0.6)) == pytest.approx(0.548, abs=5e-4)


@given(st.floats(0.1, 60), st.floats(1, 30), st.floats(0, 1))
def test_shape_one_is_an_exponential(age_d, tau_d, share):
    assert float(gas_left_weibull(age_d, tau_d, 1.0)) == pytest.approx(np.exp(-age_d / tau_d))
    assert float(gas_left_double(age_d, share, tau_d, tau_d)) == pytest.approx(np.exp(-age_d / tau_d))


@given(st.lists(st.floats(0, 90), min_size=2, max_size=8), st.floats(0.3, 1.2), st.floats(0, 1))
def test_gas_only_leaves(ages, shape, share):
    ages = np.sort(ages)
    for left in (gas_left_weibull(ages, 7.0, shape), gas_left_double(ages, share, 1.5, 20.0)):
        assert np.all(np.diff(left) <= 0)
        assert np.all((left >= 0) & (left <= 1))


def pulls(rng, effect, batches=5, scatter=0.04, tau_d=6.0, shape=0.65):
    age = np.tile(DAYS, batches)
    batch = np.repeat(np.arange(batches), DAYS.size)
    level = np.log(28) + rng.normal(0, 0.06, batches)[batch]
    return age, level + effect * gas_left_weibull(age, tau_d, shape) + rng.normal(0, scatter, age.size), list(batch)


def test_known_curve_agrees_with_least_squares():
    """Given one curve, the effect is that of ordinary least squares with a level a batch (numpy), shrunk a little."""
    age, response, batch = pulls(np.random.default_rng(8), -0.3, batches=40)
    design = np.hstack([np.eye(40)[batch], gas_left_weibull(age, 6.0, 0.65)[:, None]])
    fitted, left, _, _ = np.linalg.lstsq(design, response, rcond=None)
    found = learn_rest_effect(age, response, batch)
    assert found.shows
    # What the pulls fix well is the change over the days that were pulled, whatever curve carries it there.
    straight = fitted[-1] * (gas_left_weibull(16.0, 6.0, 0.65) - gas_left_weibull(2.0, 6.0, 0.65))
    assert found.change(2.0, 16.0).value == pytest.approx(float(straight), rel=0.06)
    assert found.scatter.value == pytest.approx(float(np.sqrt(left[0] / (age.size - 41))), rel=0.03)


def test_intervals_of_the_change_hold_the_truth():
    """100 shops: the change from day 3 to 14 lies within 1.645 sd in about 90; 81 would be 3 sd low."""
    rng = np.random.default_rng(21)
    held = 0
    for _ in range(100):
        effect, tau, shape = rng.normal(0, 0.3), np.exp(rng.normal(np.log(7), 0.4)), rng.uniform(0.45, 0.8)
        change = learn_rest_effect(*pulls(rng, effect, tau_d=tau, shape=shape)).change(3.0, 14.0)
        truth = effect * float(gas_left_weibull(14.0, tau, shape) - gas_left_weibull(3.0, tau, shape))
        held += abs(truth - change.value) <= 1.645 * change.sd
    assert 81 <= held <= 99


def test_a_covariate_is_taken_out():
    rng = np.random.default_rng(2)
    age, response, batch = pulls(rng, -0.3)
    grind = rng.normal(size=age.size) - 0.15 * age
    moved = learn_rest_effect(age, response + 0.2 * grind, batch, grind[:, None])
    ignored = learn_rest_effect(age, response + 0.2 * grind, batch)
    truth = -0.3 * float(gas_left_weibull(16.0, 6.0, 0.65) - gas_left_weibull(2.0, 6.0, 0.65))
    assert abs(moved.change(2.0, 16.0).value - truth) < 3 * moved.change(2.0, 16.0).sd
    assert abs(ignored.change(2.0, 16.0).value - truth) > 0.2


def test_probability_agrees_with_draws():
    found = learn_rest_effect(*pulls(np.random.default_rng(4), -0.3))
    rng = np.random.default_rng(1)
    cell = rng.choice(found._weight.size, 40_000, p=found._weight)
    effect = rng.normal(found._mean[cell], found._sd[cell])
    change = effect * (
        np.exp(-((18 / found._tau_d[cell]) ** found._shape[cell]))
        - np.exp(-((4 / found._tau_d[cell]) ** found._shape[cell]))
    )
    assert found.probability_within(4.0, 14.0, 0.07)[0] == pytest.approx(np.mean(np.abs(change) <= 0.07), abs=0.01)
    assert found.change(4.0, 18.0).value == pytest.approx(change.mean(), abs=1e-3)
    assert found.change(4.0, 18.0).sd == pytest.approx(change.std(), rel=0.03)


def test_ready_ages():
    rng = np.random.default_rng(6)
    found = learn_rest_effect(*pulls(rng, -0.4, batches=30))
    sell = ready_to_sell(found, 0.06)
    # By the truth, the change over 14 days falls to 0.06 at this age.
    ages = np.arange(0, 40, 0.05)
    change = 0.4 * (gas_left_weibull(ages, 6.0, 0.65) - gas_left_weibull(ages + 14, 6.0, 0.65))
    truth = ages[np.argmax(change <= 0.06)]
    assert sell.likely_d == pytest.approx(truth, abs=2.0)
    assert sell.age_d >= sell.likely_d
    assert f"ready to sell {sell.age_d:g} days after roasting" in sell.says
    assert ready_to_judge(found, 0.06).age_d < sell.age_d
    assert ready_to_sell(found, 0.03).age_d > sell.age_d
    assert ready_to_sell(found, 0.06, probability=0.99).age_d >= sell.age_d
    never = ready_to_sell(found, 0.0)
    assert never.age_d is None
    assert "No age up to 60 days" in never.says


def test_no_effect_is_said():
    found = learn_rest_effect(*pulls(np.random.default_rng(0), 0.0, batches=3))
    assert not found.shows
    ready = ready_to_judge(found, 0.1)
    assert ready.age_d == 0
    assert "from the first day" in ready.says
    assert "18 pulls do not show an effect of rest" in ready.says


def test_other_units_and_other_batches():
    """Crema in mL; a batch pulled on one day only adds nothing but its own level."""
    rng = np.random.default_rng(7)
    age, response, batch = pulls(rng, 0.5)
    crema = learn_rest_effect(age, 20 * response, batch, prior_sd=10.0)
    plain = learn_rest_effect(age, response, batch, prior_sd=0.5)
    assert crema.full_gas.value == pytest.approx(20 * plain.full_gas.value)
    more = learn_rest_effect([*age, 4.0], [*response, 9.0], [*batch, "once"])
    assert more.pulls == plain.pulls == 30
    assert more.full_gas.value == pytest.approx(plain.full_gas.value)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: gas_left_weibull(-1.0), QuantityError, "0 days or more"),
        (lambda: gas_left_weibull(1.0, 0.0), QuantityError, "time constant"),
        (lambda: gas_left_double(1.0, 1.5, 1, 2), QuantityError, "fast pool"),
        (lambda: gas_left_double(1.0, 0.5, 3, 2), QuantityError, "not above the slow"),
        (lambda: learn_rest_effect([1, 2], [3.3], ["a", "a"]), DesignError, "same length"),
        (lambda: learn_rest_effect([1, 2], [3.3, 3.4], ["a", "b"]), DesignError, "two ages"),
        (lambda: learn_rest_effect([1, 2], [3.3, 3.4], ["a", "a"]), DesignError, "Only 1 differences"),
        (lambda: learn_rest_effect([1, 2, 3], [3.3, 3.3, 3.3], ["a"] * 3), DesignError, "no scatter"),
        (lambda: learn_rest_effect([1, 2, 3], [3.3, np.nan, 3.3], ["a"] * 3), DesignError, "finite"),
        (lambda: learn_rest_effect([1, 2, 3], [3.3, 3.2, 3.3], ["a"] * 3, [[1.0]]), DesignError, "one row a pull"),
    ],
)
def test_what_cannot_be_is_refused(call, error, words):
    with pytest.raises(error, match=words):
        call()
