"""Forced choice: functions against independent integration, exact tests against scipy, planning, reading."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from evenhand.errors import DesignError, EvenhandError, QuantityError
from evenhand.panel import discrimination
from evenhand.panel.discrimination import (
    ForcedChoice,
    answers_for_difference,
    answers_for_similarity,
    critical_number,
    d_prime_from_proportion,
    difference_p_value,
    difference_power,
    difference_test,
    discriminators_from_proportion,
    exact_interval,
    guess_rate,
    proportion_correct,
    proportion_correct_slope,
    proportion_from_discriminators,
    reading,
    similarity_number,
    similarity_power,
    similarity_test,
    smallest_difference,
)

METHODS = list(ForcedChoice)
DISTANCES = [0.0, 0.3, 1.0, 1.7, 2.5, 4.0]
methods = st.sampled_from(METHODS)


def integral(method, d):
    """The published integrals, by quadrature: Ennis (1993) J. Sensory Studies 8, 353; Ennis and Jesionka (2011)."""
    phi, Phi = stats.norm.pdf, stats.norm.cdf

    def over(f, low):
        return integrate.quad(f, low, 12.0, epsabs=1e-12, epsrel=1e-12, limit=200)[0]

    if method is ForcedChoice.PAIRED:
        return over(lambda z: phi(z - d) * Phi(z), -12.0)
    if method is ForcedChoice.THREE_AFC:
        return over(lambda z: phi(z - d) * Phi(z) ** 2, -12.0)
    if method is ForcedChoice.TRIANGLE:
        r, s = math.sqrt(3.0), math.sqrt(2.0 / 3.0)
        return 2.0 * over(lambda z: phi(z) * (Phi(-z * r + d * s) + Phi(-z * r - d * s)), 0.0)
    if method is ForcedChoice.DUO_TRIO:
        # reference and match differ by X, odd cup and reference by Y: normal with correlation 1/2; sum and difference
        # of X and Y are independent, and X is the smaller if they differ in sign
        low, high = -d / math.sqrt(6.0), d / math.sqrt(2.0)
        return Phi(high) * (1 - Phi(low)) + (1 - Phi(high)) * Phi(low)
    return 1.0 - 2.0 * over(lambda z: phi(z) * (2.0 * Phi(z) * Phi(z - d) - Phi(z - d) ** 2), -12.0)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("d", DISTANCES)
def test_closed_forms_are_the_published_integrals(method, d):
    assert float(proportion_correct(d, method)) == pytest.approx(integral(method, d), abs=1e-9)


@pytest.mark.parametrize("d", DISTANCES[1:])
def test_triangle_is_a_noncentral_f_probability(d):
    # A known identity (from memory, no source to hand): P(F(1, 1, 2 d^2 / 3) > 3), a ratio of two squared normals.
    assert float(proportion_correct(d, ForcedChoice.TRIANGLE)) == pytest.approx(
        stats.ncf.sf(3.0, 1, 1, 2.0 * d * d / 3.0), abs=1e-8
    )


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("d", DISTANCES)
def test_slope_is_the_derivative(method, d):
    h = 1e-5
    numeric = (float(proportion_correct(d + h, method)) - float(proportion_correct(d - h, method))) / (2 * h)
    assert float(proportion_correct_slope(d, method)) == pytest.approx(numeric, abs=1e-8)


@given(methods, st.floats(0.05, 5.0))
def test_inverse_undoes_the_function(method, d):
    share = proportion_correct(d, method)
    assert float(d_prime_from_proportion(share, method)) == pytest.approx(d, rel=1e-6)


@given(methods, st.floats(0.0, 6.0), st.floats(0.001, 1.0))
def test_share_rises_with_distance(method, d, step):
    assert proportion_correct(d + step, method) > proportion_correct(d, method)


@pytest.mark.parametrize("method", METHODS)
def test_ends_of_the_function(method):
    assert float(proportion_correct(0.0, method)) == pytest.approx(guess_rate(method), abs=1e-15)
    assert float(proportion_correct(60.0, method)) == pytest.approx(1.0)
    found = d_prime_from_proportion(np.array([0.0, guess_rate(method), 1.0]), method)
    assert found.tolist() == [0.0, pytest.approx(0.0, abs=1e-7), math.inf]


@given(methods, st.floats(0.0, 1.0))
def test_discriminators_and_back(method, share):
    there = proportion_from_discriminators(share, method)
    assert float(discriminators_from_proportion(there, method)) == pytest.approx(share, abs=1e-12)


@pytest.mark.parametrize("bad", [-0.1, 1.1, math.nan])
def test_shares_outside_are_refused(bad):
    with pytest.raises(QuantityError, match="between 0 and 1"):
        d_prime_from_proportion(bad, ForcedChoice.TRIANGLE)
    with pytest.raises(QuantityError, match="discriminators"):
        proportion_from_discriminators(bad, ForcedChoice.TRIANGLE)


@given(methods, st.integers(1, 150), st.data())
def test_p_value_against_scipy(method, answers, data):
    correct = data.draw(st.integers(0, answers))
    expected = stats.binomtest(correct, answers, guess_rate(method), alternative="greater").pvalue
    assert difference_p_value(correct, answers, method) == pytest.approx(expected, rel=1e-8)


@given(st.integers(1, 150), st.data())
def test_two_sided_against_scipy(answers, data):
    correct = data.draw(st.integers(0, answers))
    expected = stats.binomtest(correct, answers, 0.5).pvalue
    found = difference_p_value(correct, answers, ForcedChoice.PAIRED, two_sided=True)
    assert found == pytest.approx(expected, rel=1e-8)


@given(methods, st.integers(8, 300), st.sampled_from([0.001, 0.01, 0.05, 0.1, 0.2]))
def test_critical_number_is_the_smallest(method, answers, alpha):
    if difference_p_value(answers, answers, method) > alpha:
        with pytest.raises(DesignError, match="collect more"):
            critical_number(answers, method, alpha=alpha)
        return
    number = critical_number(answers, method, alpha=alpha)
    assert difference_p_value(number, answers, method) <= alpha < difference_p_value(number - 1, answers, method)


def test_alpha_that_is_just_met_counts():
    assert critical_number(4, ForcedChoice.PAIRED, alpha=0.0625) == 4
    assert critical_number(3, ForcedChoice.TRIANGLE, alpha=1 / 27) == 3
    assert critical_number(5, ForcedChoice.PAIRED, alpha=0.0625, two_sided=True) == 5


@given(methods, st.integers(20, 200), st.sampled_from([0.2, 0.3, 0.5]))
def test_similarity_number_is_the_largest(method, answers, limit):
    number = similarity_number(answers, method, discriminators=limit)
    share = float(proportion_from_discriminators(limit, method))
    assert stats.binom.cdf(number, answers, share) <= 0.05 < stats.binom.cdf(number + 1, answers, share)


def test_similarity_out_of_reach():
    with pytest.raises(DesignError, match="widen"):
        similarity_number(3, ForcedChoice.TRIANGLE, discriminators=0.1)


@given(st.integers(1, 80), st.data())
def test_exact_interval_against_scipy(answers, data):
    correct = data.draw(st.integers(0, answers))
    expected = stats.binomtest(correct, answers).proportion_ci(0.9, method="exact")
    assert exact_interval(correct, answers, 0.9) == pytest.approx((expected.low, expected.high), abs=1e-8)


@given(methods, st.integers(10, 120), st.floats(0.3, 3.0))
def test_power_by_summing_over_counts(method, answers, d):
    share = float(proportion_correct(d, method))
    counts = np.arange(answers + 1)
    shown = [difference_p_value(int(k), answers, method) <= 0.05 for k in counts]
    expected = stats.binom.pmf(counts, answers, share)[shown].sum()
    assert difference_power(answers, method, d_prime=d) == pytest.approx(expected, abs=1e-10)


def test_two_sided_power_counts_both_ends():
    share = float(proportion_correct(0.4, ForcedChoice.PAIRED))
    counts = np.arange(31)
    shown = [stats.binomtest(int(k), 30, 0.5).pvalue <= 0.05 for k in counts]
    expected = stats.binom.pmf(counts, 30, share)[shown].sum()
    found = difference_power(30, ForcedChoice.PAIRED, d_prime=0.4, two_sided=True)
    assert found == pytest.approx(expected, abs=1e-10)


def test_no_power_where_no_count_shows_a_difference():
    assert difference_power(2, ForcedChoice.TRIANGLE, d_prime=3.0) == 0.0
    assert math.isnan(smallest_difference(2, ForcedChoice.TRIANGLE).d_prime)


@settings(max_examples=25)
@given(methods, st.floats(0.8, 2.5), st.sampled_from([0.8, 0.9, 0.95]))
def test_answers_needed_for_a_difference(method, d, power):
    needed = answers_for_difference(method, power=power, d_prime=d)
    powers = [difference_power(n, method, d_prime=d) for n in range(1, 3 * needed.holds + 100)]
    assert powers[needed.first - 1] == pytest.approx(needed.power_first)
    assert needed.power_first >= power
    assert max(powers[: needed.first - 1], default=0.0) < power
    assert min(powers[needed.holds - 1 :]) >= power
    if needed.holds > needed.first:
        assert powers[needed.holds - 2] < power
    assert needed.critical_first == critical_number(needed.first, method)


@settings(max_examples=15)
@given(methods, st.floats(1.0, 2.5))
def test_answers_needed_for_similarity(method, limit):
    needed = answers_for_similarity(method, d_prime=limit)
    powers = [similarity_power(n, method, d_prime=limit) for n in range(1, 3 * needed.holds + 100)]
    assert max(powers[: needed.first - 1], default=0.0) < 0.8 <= powers[needed.first - 1]
    assert min(powers[needed.holds - 1 :]) >= 0.8


def test_tetrad_and_paired_need_fewer_than_triangle_and_duo_trio():
    # Ennis and Jesionka (2011): the tetrad has more power than the triangle; specified methods have most.
    n = {method: answers_for_difference(method, d_prime=1.0).first for method in METHODS}
    assert n[ForcedChoice.THREE_AFC] < n[ForcedChoice.PAIRED] < n[ForcedChoice.TETRAD] < n[ForcedChoice.TRIANGLE]
    assert n[ForcedChoice.TRIANGLE] < n[ForcedChoice.DUO_TRIO]


def test_too_small_a_difference_is_refused():
    with pytest.raises(DesignError, match="larger one"):
        answers_for_difference(ForcedChoice.TRIANGLE, d_prime=0.05)
    with pytest.raises(DesignError, match="widen"):
        answers_for_similarity(ForcedChoice.TRIANGLE, d_prime=0.5, true_d_prime=0.6)


@given(methods, st.integers(12, 150))
def test_smallest_difference_has_that_power(method, answers):
    smallest = smallest_difference(answers, method)
    assert difference_power(answers, method, d_prime=smallest.d_prime) == pytest.approx(0.8, abs=1e-6)
    assert difference_power(answers, method, discriminators=smallest.discriminators) == pytest.approx(0.8, abs=1e-6)


@given(methods, st.integers(1, 100), st.data())
def test_exact_interval_agrees_with_the_exact_test(method, answers, data):
    correct = data.draw(st.integers(0, answers))
    result = difference_test(correct, answers, method, alpha=0.025, level=0.95)
    assert (result.d_prime_interval[0] > 1e-6) == result.different
    assert result.d_prime_interval[0] <= result.d_prime <= result.d_prime_interval[1]
    low, high = result.d_prime_likelihood_interval
    assert low <= result.d_prime <= high


@given(methods, st.integers(5, 100), st.data(), st.floats(0.1, 0.9))
def test_similarity_bound_agrees_with_the_test(method, answers, data, limit):
    correct = data.draw(st.integers(0, answers))
    result = similarity_test(correct, answers, method, discriminators=limit)
    if abs(result.upper_discriminators - limit) > 1e-9:
        assert result.similar == (result.upper_discriminators < limit)
        assert result.similar == (result.upper_d_prime < result.limit_d_prime)


def test_likelihood_interval_has_the_right_drop():
    result = difference_test(20, 40, ForcedChoice.TETRAD, level=0.95)
    best = stats.binom.logpmf(20, 40, 0.5)
    for end in result.d_prime_likelihood_interval:
        drop = best - stats.binom.logpmf(20, 40, float(proportion_correct(end, ForcedChoice.TETRAD)))
        assert 2 * drop == pytest.approx(stats.chi2.ppf(0.95, 1), rel=1e-6)


def test_standard_error_by_simulation():
    rng = np.random.default_rng(4)
    share = float(proportion_correct(1.5, ForcedChoice.THREE_AFC))
    draws = rng.binomial(400, share, size=20_000)
    spread = float(np.std(d_prime_from_proportion(draws / 400, ForcedChoice.THREE_AFC)))
    result = difference_test(round(400 * share), 400, ForcedChoice.THREE_AFC)
    assert result.d_prime_se == pytest.approx(spread, rel=0.04)


@pytest.mark.parametrize("d", [0.0, 0.7, 1.5])
@pytest.mark.parametrize("method", METHODS)
def test_exact_interval_covers(method, d):
    answers, share = 30, float(proportion_correct(d, method))
    chances = stats.binom.pmf(np.arange(answers + 1), answers, share)
    covered = 0.0
    for correct in range(answers + 1):
        low, high = difference_test(correct, answers, method).d_prime_interval
        covered += chances[correct] * (low - 1e-6 <= d <= high)
    assert covered >= 0.95


def test_two_sided_paired_result_is_signed():
    down = difference_test(5, 24, ForcedChoice.PAIRED, two_sided=True)
    up = difference_test(19, 24, ForcedChoice.PAIRED, two_sided=True)
    assert down.different
    assert down.d_prime == pytest.approx(-up.d_prime)
    assert down.d_prime_interval == pytest.approx(tuple(-end for end in reversed(up.d_prime_interval)))
    assert down.discriminators == pytest.approx(-up.discriminators)
    assert difference_test(5, 24, ForcedChoice.PAIRED).d_prime == 0.0


def test_estimates_at_the_ends():
    none = difference_test(5, 24, ForcedChoice.TRIANGLE)
    every = difference_test(24, 24, ForcedChoice.TRIANGLE)
    assert (none.d_prime, none.discriminators) == (0.0, 0.0)
    assert math.isnan(none.d_prime_se)
    assert math.isinf(every.d_prime)
    assert math.isnan(every.d_prime_se)
    assert difference_test(2, 2, ForcedChoice.TRIANGLE).critical is None


def test_reading_of_no_difference_says_what_it_leaves_open():
    result = difference_test(11, 24, ForcedChoice.TRIANGLE)
    words = reading(result)
    assert "does not show that the coffees are alike" in words
    assert f"from d' {result.smallest.d_prime:.2f} upwards" in words
    assert f"and {result.d_prime_interval[1]:.2f}" in words
    assert "cannot show any difference" in reading(difference_test(2, 2, ForcedChoice.TRIANGLE))


def test_reading_of_a_difference():
    words = reading(difference_test(16, 24, ForcedChoice.TRIANGLE))
    assert "can be told apart" in words
    assert "p below 0.001" in words
    assert "is at least" in reading(difference_test(24, 24, ForcedChoice.TRIANGLE))


def test_reading_of_similarity():
    assert "is below the limit" in reading(similarity_test(20, 60, ForcedChoice.TRIANGLE, discriminators=0.3))
    words = reading(similarity_test(30, 60, ForcedChoice.TRIANGLE, discriminators=0.3))
    assert "was not shown" in words
    assert "does not show that the coffees differ" in words


@pytest.mark.parametrize(("correct", "answers"), [(-1, 5), (6, 5), (0, 0), (2.5, 5)])
def test_impossible_counts_are_refused(correct, answers):
    with pytest.raises(QuantityError, match="cannot be"):
        difference_test(correct, answers, ForcedChoice.TRIANGLE)


def test_unclear_questions_are_refused():
    with pytest.raises(DesignError, match="exactly one way"):
        difference_power(24, ForcedChoice.TRIANGLE)
    with pytest.raises(DesignError, match="exactly one way"):
        similarity_test(10, 24, ForcedChoice.TRIANGLE, discriminators=0.3, d_prime=1.0)
    with pytest.raises(DesignError, match="two-sided"):
        difference_test(10, 24, ForcedChoice.TRIANGLE, two_sided=True)
    for bad in (0.0, 1.5):
        with pytest.raises(QuantityError, match="discriminators"):
            difference_power(24, ForcedChoice.TRIANGLE, discriminators=bad)
    for bad in (0.0, -1.0, math.inf, math.nan):
        with pytest.raises(QuantityError, match="d_prime"):
            difference_power(24, ForcedChoice.TRIANGLE, d_prime=bad)
    with pytest.raises(QuantityError, match="alpha"):
        critical_number(24, ForcedChoice.TRIANGLE, alpha=5)


def test_public_names_are_there():
    assert all(hasattr(discrimination, name) for name in discrimination.__all__)


@pytest.mark.parametrize("method", ForcedChoice)
@pytest.mark.parametrize("correct", [0, 8, 12, 24])
@pytest.mark.parametrize("answers", [2, 24])
def test_every_word_can_be_told_in_another_language(untold, method, correct, answers):
    correct = min(correct, answers)
    difference = difference_test(correct, answers, method)
    similarity = similarity_test(correct, answers, method, discriminators=0.3)
    for said in (reading(difference), reading(similarity)):
        assert untold(said) == set(), said


@pytest.mark.parametrize(
    "slip",
    [
        lambda: difference_test(3, 2, ForcedChoice.TRIANGLE),
        lambda: difference_test(1, 2, ForcedChoice.TETRAD, two_sided=True),
        lambda: similarity_test(1, 2, ForcedChoice.TRIANGLE),
        lambda: critical_number(2, ForcedChoice.DUO_TRIO),
    ],
)
def test_a_refusal_can_be_told_in_another_language(untold, slip):
    with pytest.raises(EvenhandError) as refused:
        slip()
    assert untold(refused.value.args[0]) == set()
