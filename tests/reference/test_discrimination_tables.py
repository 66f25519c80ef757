"""Discrimination tests against published tables and worked examples; the source stands beside each check.

All printed values below are quoted from memory of the sources named, not copied from their pages.
"""

import math
from fractions import Fraction

import numpy as np
import pytest

from evenhand.panel.discrimination import (
    ForcedChoice,
    answers_for_difference,
    critical_number,
    d_prime_from_proportion,
    difference_p_value,
    proportion_correct,
    sequential_plan_for_shares,
    similarity_p_value,
)

# ISO 4120 (triangle), table of the minimum number of correct answers at alpha 0.05; the same numbers stand in Roessler,
# Pangborn, Sidel and Stone (1978), "Expanded statistical tables for estimating significance in paired-preference,
# paired-difference, duo-trio and triangle tests", Journal of Food Science 43, 940-943.
TRIANGLE_5 = {
    **{6: 5, 7: 5, 8: 6, 9: 6, 10: 7, 11: 7, 12: 8, 13: 8, 14: 9, 15: 9, 16: 9, 17: 10, 18: 10, 19: 11, 20: 11},
    **{21: 12, 22: 12, 23: 12, 24: 13, 25: 13, 26: 14, 27: 14, 28: 15, 29: 15, 30: 15, 31: 16, 32: 16, 33: 17},
    **{34: 17, 35: 17, 36: 18, 42: 20, 48: 22, 54: 25, 60: 27, 66: 29, 72: 32},
}
# ISO 10399 (duo-trio), likewise at alpha 0.05.
DUO_TRIO_5 = {
    **{6: 6, 7: 7, 8: 7, 9: 8, 10: 9, 11: 9, 12: 10, 13: 10, 14: 11, 15: 12, 16: 12, 17: 13, 18: 13, 19: 14, 20: 15},
    **{21: 15, 22: 16, 23: 16, 24: 17, 25: 18, 26: 18, 27: 19, 28: 19, 29: 20, 30: 20, 36: 24, 42: 27, 48: 31, 60: 37},
}


@pytest.mark.parametrize(("answers", "number"), TRIANGLE_5.items())
def test_triangle_table(answers, number):
    assert critical_number(answers, ForcedChoice.TRIANGLE, alpha=0.05) == number


@pytest.mark.parametrize(("answers", "number"), DUO_TRIO_5.items())
def test_duo_trio_table(answers, number):
    assert critical_number(answers, ForcedChoice.DUO_TRIO, alpha=0.05) == number


@pytest.mark.parametrize(
    ("answers", "alpha", "number"),
    # ISO 4120, same table, other columns.
    [(24, 0.01, 15), (30, 0.01, 17), (36, 0.01, 20), (24, 0.001, 16), (30, 0.001, 19), (36, 0.001, 22)],
)
def test_triangle_table_stricter(answers, alpha, number):
    assert critical_number(answers, ForcedChoice.TRIANGLE, alpha=alpha) == number


@pytest.mark.parametrize(
    ("alpha", "numbers"),
    # ISO 4120, table of numbers of assessors for 30 % discriminators, beta 0.20, 0.10, 0.05 and 0.01.
    [(0.10, (30, 43, 54, 81)), (0.05, (40, 53, 66, 98)), (0.01, (62, 82, 97, 131))],
)
def test_triangle_numbers_of_assessors(alpha, numbers):
    found = tuple(
        answers_for_difference(ForcedChoice.TRIANGLE, power=1 - beta, alpha=alpha, discriminators=0.3).first
        for beta in (0.20, 0.10, 0.05, 0.01)
    )
    assert found == numbers


def exact_upper_tail(correct, answers, guess):
    """P(X >= correct) in whole fractions: no rounding anywhere."""
    return sum(math.comb(answers, k) * guess**k * (1 - guess) ** (answers - k) for k in range(correct, answers + 1))


@pytest.mark.parametrize("answers", [1, 5, 24, 36, 60, 100])
@pytest.mark.parametrize("method", list(ForcedChoice))
def test_p_value_in_whole_fractions(answers, method):
    guess = Fraction(1, 2) if method in (ForcedChoice.PAIRED, ForcedChoice.DUO_TRIO) else Fraction(1, 3)
    for correct in range(answers + 1):
        expected = float(exact_upper_tail(correct, answers, guess))
        assert difference_p_value(correct, answers, method) == pytest.approx(expected, rel=1e-10)


def test_similarity_p_value_in_whole_fractions():
    share = Fraction(1, 3) + Fraction(2, 3) * Fraction(3, 10)
    expected = float(1 - exact_upper_tail(26, 60, share))
    assert similarity_p_value(25, 60, ForcedChoice.TRIANGLE, discriminators=0.3) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize(
    ("method", "share"),
    # Ennis (1993), "The power of sensory discrimination methods", Journal of Sensory Studies 8, 353-370, and Ennis and
    # Jesionka (2011), ibid. 26, 371-382: share of correct answers at d' = 1, to two decimals.
    [
        (ForcedChoice.TRIANGLE, 0.42),
        (ForcedChoice.DUO_TRIO, 0.58),
        (ForcedChoice.PAIRED, 0.76),
        (ForcedChoice.THREE_AFC, 0.63),
        (ForcedChoice.TETRAD, 0.49),
    ],
)
def test_share_at_unit_distance(method, share):
    assert float(proportion_correct(1.0, method)) == pytest.approx(share, abs=0.005)


@pytest.mark.parametrize(
    ("share", "distance"),
    # Hacker and Ratcliff (1979), "A revised table of d' for M-alternative forced choice", Perception & Psychophysics
    # 26, 168-170, two alternatives: d' = sqrt 2 z. The quantiles z(0.75) = 0.6745, z(0.90) = 1.2816 are in any table.
    [(0.75, 0.95), (0.90, 1.81), (0.50, 0.0)],
)
def test_two_alternatives(share, distance):
    assert float(d_prime_from_proportion(share, ForcedChoice.PAIRED)) == pytest.approx(distance, abs=0.005)


def test_sequential_plan_of_the_engineering_handbook():
    # NIST/SEMATECH e-Handbook of Statistical Methods, section 6.2.6 (sequential sampling plan), p1 = 0.01, p2 = 0.10,
    # alpha = 0.05, beta = 0.10: acceptance line -0.939 + 0.0397 n, rejection line 1.205 + 0.0397 n; at n = 24 the
    # acceptance number is 0, for the first time, and the rejection number is 3.
    plan = sequential_plan_for_shares(0.01, 0.10, alpha=0.05, beta=0.10, most_answers=60)
    assert plan.lower_intercept == pytest.approx(-0.939, abs=0.0006)
    assert plan.upper_intercept == pytest.approx(1.205, abs=0.0006)
    assert plan.slope == pytest.approx(0.0397, abs=0.0001)
    assert plan.similar_at[22:24] == (-1, 0)
    assert plan.different_at[0] == 2  # not reachable with one answer
    assert plan.different_at[1] == 2
    assert plan.different_at[23] == 3


def test_sequential_plan_of_the_book():
    # Wald (1947), "Sequential Analysis", worked example of chapter 5: p0 = 0.1, p1 = 0.3, alpha = 0.02, beta = 0.03.
    # The lines by hand from his formulas: log(27/7) = 1.34993, log(9/7) = 0.25131, log(0.03/0.98) = -3.48636,
    # log(0.97/0.02) = 3.88156.
    plan = sequential_plan_for_shares(0.1, 0.3, alpha=0.02, beta=0.03)
    assert plan.lower_intercept == pytest.approx(-3.48636 / 1.34993, abs=1e-4)
    assert plan.upper_intercept == pytest.approx(3.88156 / 1.34993, abs=1e-4)
    assert plan.slope == pytest.approx(0.25131 / 1.34993, abs=1e-4)


def test_hearing_model_by_simulation():
    # The rules of the methods played out cup by cup (Ennis and Jesionka 2011 for the tetrad): no formula is shared with
    # the code. 200 000 sets give a standard error of about 0.0011.
    rng = np.random.default_rng(20)
    n, d = 200_000, 1.3
    a, b = rng.normal(size=(n, 3)), d + rng.normal(size=(n, 3))
    aa, ab = abs(a[:, 0] - a[:, 1]), abs(a[:, [0, 1]] - b[:, [0]])
    seen = {
        ForcedChoice.PAIRED: b[:, 0] > a[:, 0],
        ForcedChoice.THREE_AFC: b[:, 0] > a[:, :2].max(axis=1),
        ForcedChoice.DUO_TRIO: aa < abs(a[:, 0] - b[:, 0]),
        ForcedChoice.TRIANGLE: aa < ab.min(axis=1),
        ForcedChoice.TETRAD: (a[:, :2].max(axis=1) < b[:, :2].min(axis=1))
        | (b[:, :2].max(axis=1) < a[:, :2].min(axis=1)),
    }
    for method, right in seen.items():
        assert float(proportion_correct(d, method)) == pytest.approx(float(right.mean()), abs=0.005), method
