"""A-not-A and same-different: against scipy's Fisher test, simulation of the hearing models, and brute force."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.discrimination import (
    a_not_a_rates,
    a_not_a_test,
    cups_for_rates,
    fisher_p_value,
    rates_power,
    rates_upper_bound,
    same_different_rates,
    same_different_test,
)


@st.composite
def two_rates(draw, least=1, most=40):
    signals, noises = draw(st.integers(least, most)), draw(st.integers(least, most))
    return draw(st.integers(0, signals)), signals, draw(st.integers(0, noises)), noises


@given(two_rates())
def test_fisher_against_scipy(counts):
    hits, signals, alarms, noises = counts
    table = [[hits, signals - hits], [alarms, noises - alarms]]
    expected = stats.fisher_exact(table, alternative="greater").pvalue
    assert fisher_p_value(*counts) == pytest.approx(expected, rel=1e-8)


def test_rates_by_simulation():
    rng = np.random.default_rng(7)
    n, d, line = 200_000, 1.4, 0.3
    other, a = rng.normal(size=(n, 2)), d + rng.normal(size=n)
    hit, alarm = a_not_a_rates(d, line)
    assert hit == pytest.approx(np.mean(a > d / 2 + line), abs=0.005)
    assert alarm == pytest.approx(np.mean(other[:, 0] > d / 2 + line), abs=0.005)
    hit, alarm = same_different_rates(d, 1.1)
    assert hit == pytest.approx(np.mean(abs(a - other[:, 0]) > 1.1), abs=0.005)
    assert alarm == pytest.approx(np.mean(abs(other[:, 1] - other[:, 0]) > 1.1), abs=0.005)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.3, 3.0), st.floats(-0.6, 0.6))
def test_a_not_a_finds_the_distance_again(d, line):
    hit, alarm = a_not_a_rates(d, line)
    n = 100_000
    result = a_not_a_test(round(hit * n), n, round(alarm * n), n)
    assert result.d_prime == pytest.approx(d, abs=2e-3)
    assert result.line == pytest.approx(line, abs=1e-3)


@settings(max_examples=20, deadline=None)
@given(st.floats(0.5, 4.0), st.floats(0.4, 2.5))
def test_same_different_finds_the_distance_again(d, line):
    hit, alarm = same_different_rates(d, line)
    n = 100_000
    result = same_different_test(round(hit * n), n, round(alarm * n), n)
    assert result.d_prime == pytest.approx(d, abs=2e-3)
    assert result.line == pytest.approx(line, abs=1e-3)


def test_yes_no_by_hand():
    # Macmillan and Creelman (2005), chapter 1: d' = z(H) - z(F), c = -(z(H) + z(F)) / 2. With H = 0.84134, F = 0.15866,
    # one standard deviation to either side, d' is 2 and c is 0.
    result = a_not_a_test(84_134, 100_000, 15_866, 100_000)
    assert result.d_prime == pytest.approx(2.0, abs=1e-4)
    assert result.line == pytest.approx(0.0, abs=1e-4)


def test_a_not_a_standard_error_by_simulation():
    rng = np.random.default_rng(11)
    hit, alarm = a_not_a_rates(1.8, 0.2)
    n = 500
    draws = stats.norm.ppf(rng.binomial(n, hit, 20_000) / n) - stats.norm.ppf(rng.binomial(n, alarm, 20_000) / n)
    result = a_not_a_test(round(hit * n), n, round(alarm * n), n)
    assert result.d_prime_se == pytest.approx(np.std(draws), rel=0.03)


def test_same_different_standard_error_by_simulation():
    # d' of a simulated pair of counts by another road: its line from the false alarms, then scipy's root finder
    rng = np.random.default_rng(12)
    hit, alarm = same_different_rates(2.2, 1.2)
    n = 800
    lines = -math.sqrt(2) * stats.norm.ppf(rng.binomial(n, alarm, 1500) / n / 2)
    hits = rng.binomial(n, hit, 1500) / n
    draws = [
        optimize.brentq(lambda d, h=h, t=t: same_different_rates(d, t)[0] - h, 0.0, 20.0)
        for h, t in zip(hits, lines, strict=True)
    ]
    result = same_different_test(round(hit * n), n, round(alarm * n), n)
    assert result.d_prime_se == pytest.approx(np.std(draws), rel=0.06)


@pytest.mark.parametrize("same_different", [False, True])
def test_profile_interval_by_another_optimiser(same_different):
    rates, test = (same_different_rates, same_different_test) if same_different else (a_not_a_rates, a_not_a_test)
    counts = (20, 30, 8, 30)

    def log_likelihood(d, line):
        hit, alarm = rates(d, line)
        return stats.binom.logpmf(counts[0], counts[1], hit) + stats.binom.logpmf(counts[2], counts[3], alarm)

    def profile(d):
        bounds = (0.01, 8) if same_different else (-4, 4)
        return -optimize.minimize_scalar(
            lambda line: -log_likelihood(d, line), bounds=bounds, method="bounded", options={"xatol": 1e-10}
        ).fun

    result = test(*counts)
    best = profile(result.d_prime)
    assert best == pytest.approx(log_likelihood(result.d_prime, result.line), abs=1e-9)
    for end in result.d_prime_interval:
        assert 2 * (best - profile(end)) == pytest.approx(stats.chi2.ppf(0.95, 1), abs=1e-5)


@settings(max_examples=30, deadline=None)
@given(two_rates(), st.booleans())
def test_interval_holds_the_estimate(counts, same_different):
    result = (same_different_test if same_different else a_not_a_test)(*counts)
    low, high = result.d_prime_interval
    assert low <= result.d_prime + 1e-9
    assert result.d_prime - 1e-9 <= high
    if same_different:
        assert low >= 0.0


@settings(max_examples=30, deadline=None)
@given(two_rates())
def test_a_not_a_changes_sign_when_cups_change_sides(counts):
    hits, signals, alarms, noises = counts
    here, there = a_not_a_test(*counts), a_not_a_test(alarms, noises, hits, signals)
    assert here.d_prime == pytest.approx(-there.d_prime)


def test_no_information_gives_no_bound():
    assert a_not_a_test(0, 5, 0, 5).d_prime_interval == (-math.inf, math.inf)
    assert same_different_test(10, 10, 10, 10).d_prime_interval == (0.0, math.inf)
    assert math.isinf(a_not_a_test(10, 10, 2, 10).d_prime)
    assert math.isnan(a_not_a_test(10, 10, 2, 10).d_prime_se)
    assert same_different_test(8, 30, 20, 30).d_prime == 0.0


def test_upper_bound_is_one_sided():
    counts = (16, 40, 14, 40)
    assert rates_upper_bound(*counts, alpha=0.05) == a_not_a_test(*counts, level=0.9).d_prime_interval[1]
    wide = rates_upper_bound(*counts, alpha=0.01, same_different=True)
    assert wide > rates_upper_bound(*counts, alpha=0.1, same_different=True) > 0.0
    with pytest.raises(QuantityError, match=r"below 0\.5"):
        rates_upper_bound(*counts, alpha=0.6)


def test_power_by_going_through_all_tables():
    n1, n2, hit, alarm = 12, 9, 0.8, 0.3
    expected = sum(
        stats.binom.pmf(h, n1, hit) * stats.binom.pmf(f, n2, alarm)
        for h in range(n1 + 1)
        for f in range(n2 + 1)
        if stats.fisher_exact([[h, n1 - h], [f, n2 - f]], alternative="greater").pvalue <= 0.05
    )
    assert rates_power(n1, n2, hit, alarm) == pytest.approx(expected, abs=1e-10)


@pytest.mark.parametrize("rate", [0.0, 0.2, 0.5, 1.0])
def test_risk_stays_below_alpha(rate):
    assert rates_power(20, 20, rate, rate, alpha=0.05) <= 0.05


def test_cups_needed_are_the_first_and_hold():
    hit, alarm = a_not_a_rates(1.2, 0.1)
    first, holds = cups_for_rates(hit, alarm)
    powers = [rates_power(n, n, hit, alarm) for n in range(1, 2 * holds + 20)]
    assert max(powers[: first - 1]) < 0.8 <= powers[first - 1]
    assert min(powers[holds - 1 :]) >= 0.8


def test_cups_out_of_reach_are_refused():
    with pytest.raises(DesignError, match="forced-choice"):
        cups_for_rates(0.51, 0.5)
    with pytest.raises(DesignError, match="above the false-alarm rate"):
        cups_for_rates(0.4, 0.5)
    with pytest.raises(QuantityError, match="hit rate"):
        rates_power(10, 10, 1.2, 0.5)
