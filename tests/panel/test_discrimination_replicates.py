"""Replicated tests: the beta-binomial against scipy and integration, its fit against another optimiser, Tarone's Z."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.discrimination import (
    ForcedChoice,
    proportion_correct,
    replicated_log_likelihood,
    replicated_test,
    tarone_shuffled,
    tarone_z,
)

TRIANGLE = ForcedChoice.TRIANGLE
SPREAD = ([6, 5, 2, 1, 3, 6, 2, 2], [6, 6, 6, 5, 6, 6, 4, 6])


def beta_of(mean, gamma):
    return mean * (1 - gamma) / gamma, (1 - mean) * (1 - gamma) / gamma


@given(st.integers(1, 12), st.data(), st.floats(0.05, 0.95), st.floats(0.01, 0.95))
def test_plain_form_against_scipy(n, data, mean, gamma):
    x = [data.draw(st.integers(0, n)), data.draw(st.integers(0, n))]
    n2 = [n, max(n, 2)]
    expected = sum(stats.betabinom.logpmf(k, m, *beta_of(mean, gamma)) for k, m in zip(x, n2, strict=True))
    found = replicated_log_likelihood(x, n2, TRIANGLE, proportion=mean, gamma=gamma, corrected=False)
    assert found == pytest.approx(expected, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize("method", [ForcedChoice.TRIANGLE, ForcedChoice.DUO_TRIO])
@pytest.mark.parametrize(("mean", "gamma"), [(0.3, 0.2), (0.6, 0.4), (0.5, 0.1)])
def test_corrected_form_by_integration(method, mean, gamma):
    guess = 0.5 if method is ForcedChoice.DUO_TRIO else 1 / 3
    mixing = stats.beta(*beta_of(mean, gamma))
    expected = 0.0
    for x, n in zip(*SPREAD, strict=True):
        chance = integrate.quad(
            lambda p, x=x, n=n: mixing.pdf(p) * stats.binom.pmf(x, n, guess + (1 - guess) * p),
            0,
            1,
            weight=None,
            limit=400,
        )[0]
        expected += math.log(chance)
    found = replicated_log_likelihood(*SPREAD, method, proportion=guess + (1 - guess) * mean, gamma=gamma)
    assert found == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("corrected", [False, True])
def test_ends_of_the_spread(corrected):
    # without spread the model is binomial; with full spread each taster tells always or never
    share, guess = 0.6, 1 / 3
    found = replicated_log_likelihood(*SPREAD, TRIANGLE, proportion=share, gamma=0.0, corrected=corrected)
    assert found == pytest.approx(stats.binom.logpmf(*SPREAD, share).sum())
    told = (share - guess) / (1 - guess) if corrected else share
    x, n = np.array([4, 1, 4]) if corrected else np.array([4, 0, 4]), 4
    other = stats.binom.pmf(x, n, guess) if corrected else (x == 0).astype(float)
    expected = np.log(told * (x == n) + (1 - told) * other).sum()
    found = replicated_log_likelihood(x, [n] * 3, TRIANGLE, proportion=share, gamma=1.0, corrected=corrected)
    assert found == pytest.approx(expected)


@pytest.mark.parametrize("corrected", [False, True])
def test_fit_by_another_optimiser(corrected):
    result = replicated_test(*SPREAD, TRIANGLE, corrected=corrected)
    low = 1 / 3 if corrected else 0.0

    def minus(z):
        return -replicated_log_likelihood(*SPREAD, TRIANGLE, proportion=z[0], gamma=z[1], corrected=corrected)

    other = optimize.minimize(minus, [0.6, 0.3], bounds=[(low, 1), (0, 1)], method="Nelder-Mead", tol=1e-10)
    assert result.log_likelihood == pytest.approx(-other.fun, abs=1e-7)
    assert result.proportion == pytest.approx(other.x[0], abs=1e-4)
    assert result.gamma == pytest.approx(other.x[1], abs=1e-3)
    for end in result.proportion_interval:
        profile = optimize.minimize_scalar(lambda g, end=end: minus([end, g]), bounds=(0, 1), method="bounded").fun
        assert 2 * (profile - other.fun) == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-3)


def test_signed_root_by_another_optimiser():
    result = replicated_test(*SPREAD, TRIANGLE, corrected=False)
    null = optimize.minimize_scalar(
        lambda g: -replicated_log_likelihood(*SPREAD, TRIANGLE, proportion=1 / 3, gamma=g, corrected=False),
        bounds=(0, 1),
        method="bounded",
    ).fun
    assert result.p_allowing == pytest.approx(stats.norm.sf(math.sqrt(2 * (result.log_likelihood + null))), rel=1e-4)
    assert result.p_pooled == pytest.approx(stats.binom.sf(26, 45, 1 / 3))


def test_spread_widens_the_interval():
    even = replicated_test([3, 4, 3, 4, 3, 4, 3, 4], [6] * 8, TRIANGLE)
    apart = replicated_test([6, 1, 6, 1, 6, 2, 5, 1], [6] * 8, TRIANGLE)
    assert even.correct == apart.correct
    assert even.gamma == pytest.approx(0.0, abs=1e-3)
    assert even.p_gamma == 1.0
    assert apart.p_gamma < 0.01
    assert np.diff(apart.discriminators_interval) > 1.2 * np.diff(even.discriminators_interval)
    assert apart.p_allowing > apart.p_pooled


def test_effective_answers():
    result = replicated_test(*SPREAD, TRIANGLE, corrected=False)
    n = np.array(SPREAD[1])
    # Ennis and Bi (1998): the variance of a taster's count is n p q (1 + (n - 1) gamma)
    assert result.effective_answers == pytest.approx(np.sum(n / (1 + (n - 1) * result.gamma)))
    assert len(n) < result.effective_answers < n.sum()


def test_ends_of_the_data():
    every = replicated_test([6] * 5, [6] * 5, TRIANGLE)
    assert every.proportion == 1.0
    assert math.isinf(every.d_prime)
    assert 0.5 < every.discriminators_interval[0] < 1.0
    poor = replicated_test([0, 1, 1, 2], [4] * 4, TRIANGLE)
    assert poor.discriminators == 0.0
    assert poor.discriminators_interval[1] < 0.6


def test_finds_a_known_truth():
    rng = np.random.default_rng(5)
    told = rng.beta(*beta_of(0.4, 0.3), size=600)
    right = rng.binomial(8, 1 / 3 + 2 / 3 * told)
    result = replicated_test(right, [8] * 600, TRIANGLE)
    assert result.discriminators == pytest.approx(0.4, abs=0.05)
    assert result.gamma == pytest.approx(0.3, abs=0.08)
    assert float(proportion_correct(result.d_prime, TRIANGLE)) == pytest.approx(result.proportion)


def test_tarone_by_hand():
    # Tarone (1979): S = sum (x - n p)^2 / (p q), Z = (S - sum n) / sqrt(2 sum n (n - 1)).
    # Four tasters, four answers each, 4 + 4 + 0 + 0 right: p = 1/2, S = 4 * 4 * 4 = 64, Z = (64 - 16) / sqrt(96).
    z, p_value = tarone_z([4, 4, 0, 0], [4, 4, 4, 4])
    assert z == pytest.approx(48 / math.sqrt(96))
    assert p_value == pytest.approx(stats.norm.sf(z))


def test_shuffling_against_all_deals():
    right, asked = np.array([3, 3, 1, 0]), np.array([3, 4, 3, 3])
    z, p_value = tarone_shuffled(right, asked, np.random.default_rng(2), draws=20_000)
    exact = 0.0
    for deal in itertools.product(*(range(n + 1) for n in asked)):
        if sum(deal) == right.sum():
            weight = math.prod(math.comb(n, x) for x, n in zip(deal, asked, strict=True))
            exact += weight * (tarone_z(deal, asked)[0] >= z - 1e-9)
    exact /= math.comb(int(asked.sum()), int(right.sum()))
    assert p_value == pytest.approx(exact, abs=0.012)


@settings(max_examples=30)
@given(st.lists(st.integers(0, 5), min_size=3, max_size=10), st.integers(0, 1000))
def test_tarone_does_not_care_who_is_who(right, seed):
    if 0 < sum(right) < 5 * len(right):
        shuffled = np.random.default_rng(seed).permutation(right)
        here, there = tarone_z(right, [5] * len(right))[0], tarone_z(shuffled, [5] * len(right))[0]
        assert here == pytest.approx(there)


@pytest.mark.parametrize(
    ("correct", "answers", "error", "words"),
    [
        ([1, 2], [3, 1], QuantityError, "whole numbers"),
        ([1.5, 2], [3, 3], QuantityError, "whole numbers"),
        ([1, math.nan], [3, 3], QuantityError, "whole numbers"),
        ([1], [3], DesignError, "two or more"),
        ([1, 1], [3, 3, 3], DesignError, "same order"),
        ([1, 1], [1, 1], DesignError, "no replicates"),
        ([1, 0], [3, 0], DesignError, "must have answered"),
    ],
)
def test_impossible_counts_are_refused(correct, answers, error, words):
    with pytest.raises(error, match=words):
        replicated_test(correct, answers, TRIANGLE)


def test_other_refusals():
    with pytest.raises(DesignError, match="nothing to test"):
        tarone_z([4, 4], [4, 4])
    with pytest.raises(DesignError, match="at least one draw"):
        tarone_shuffled([4, 3], [4, 4], np.random.default_rng(0), draws=0)
    with pytest.raises(QuantityError, match="mean share"):
        replicated_log_likelihood([4, 3], [4, 4], TRIANGLE, proportion=0.2, gamma=0.1)


def test_any_spread_is_a_halved_likelihood_ratio():
    # Self and Liang (1987), JASA 82, 605-610: at the edge of its range a parameter's ratio is half 0, half chi-square
    result = replicated_test(*SPREAD, TRIANGLE, corrected=False)
    x, n = np.array(SPREAD)
    binomial = stats.binom.logpmf(x, n, x.sum() / n.sum()).sum()
    assert result.binomial_log_likelihood == pytest.approx(binomial, abs=1e-6)
    ratio = 2 * (result.log_likelihood - binomial)
    assert result.p_gamma == pytest.approx(0.5 * stats.chi2.sf(ratio, 1), rel=1e-4)
