"""Run rules on series drawn by hand, and as often met as the Markov chain says."""

import numpy as np
import pytest

from evenhand.errors import DesignError
from evenhand.season._charts_rules import rule_mask
from evenhand.season.charts import (
    RULES,
    WESTERN_ELECTRIC,
    RuleHit,
    apply_rules,
    run_length_of_cusum,
    run_length_of_ewma,
    run_length_of_rules,
    shewhart_factors,
    stated_baseline,
)

BASE = stated_baseline(10.0, 2.0)

CASES = {
    "beyond": ([0, 3.1, 2.9, -3.1], [1, 3]),
    "two_of_three": ([2.1, 0, 2.2, -2.1, 0, 0, -2.1], [2]),
    "four_of_five": ([1.1, 1.2, -1.5, 1.1, 1.1, 0.9], [4]),
    "eight_on_one_side": ([0.1] * 9 + [-0.1], [7, 8]),
    "nine_on_one_side": ([-0.1] * 9 + [0.1], [8]),
    "six_in_trend": ([0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.4], [5]),
    "fourteen_alternating": ([0.1, -0.1] * 7 + [-0.2], [13]),
    "fifteen_close": ([0.9, -0.9] * 7 + [0.5, 1.1], [14]),
    "eight_far": ([1.1, -1.1] * 4 + [0.9], [7]),
}


def test_every_rule_has_a_case():
    assert set(CASES) == set(RULES)


@pytest.mark.parametrize("rule", RULES)
def test_rule(rule):
    z, where = CASES[rule]
    z = np.array(z, dtype=float)
    assert list(np.flatnonzero(rule_mask(z, rule))) == where
    assert list(np.flatnonzero(rule_mask(-z, rule))) == where
    assert apply_rules(10 + 2 * z, BASE, rules=[rule]) == tuple(RuleHit(i, rule) for i in where)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("length", [0, 1, 2, 5])
def test_short_series_have_an_answer(rule, length):
    assert rule_mask(np.zeros(length), rule).shape == (length,)


def test_a_gap_neither_breaks_nor_makes_a_run():
    value = np.where(np.arange(9) == 4, np.nan, 11.0)
    assert apply_rules(value, BASE, rules=["eight_on_one_side"]) == (RuleHit(8, "eight_on_one_side"),)


def test_masks_signal_as_often_as_the_chain_says():
    """Two computations that share nothing but the rule."""
    z = np.random.default_rng(1).normal(size=(6000, 1200))
    z += 0.5
    met = np.zeros(z.shape, dtype=bool)
    for rule in WESTERN_ELECTRIC:
        met |= rule_mask(z, rule)
    assert met.any(axis=1).all()
    lengths = met.argmax(axis=1) + 1.0
    error = lengths.std() / np.sqrt(lengths.size)
    assert abs(lengths.mean() - run_length_of_rules(WESTERN_ELECTRIC, 0.5)) < 4 * error


def test_computed_lengths_agree_with_simulated_ones():
    rng = np.random.default_rng(2)
    average, high, low = np.zeros(4000), np.zeros(4000), np.zeros(4000)
    left_average, left_sum = np.zeros(4000), np.zeros(4000)
    limit = 2.859 * np.sqrt(0.2 / 1.8)
    for i in range(1, 401):
        x = rng.normal(1.0, 1.0, 4000)
        average += 0.2 * (x - average)
        high, low = np.maximum(0, high + x - 0.5), np.maximum(0, low - x - 0.5)
        left_average[(left_average == 0) & (np.abs(average) > limit)] = i
        left_sum[(left_sum == 0) & (np.maximum(high, low) > 5)] = i
    for seen, said in ((left_average, run_length_of_ewma(shift=1.0)), (left_sum, run_length_of_cusum(shift=1.0))):
        assert (seen > 0).all()
        assert abs(seen.mean() - said) < 4 * seen.std() / np.sqrt(4000)


def test_refuses_what_it_does_not_know():
    with pytest.raises(DesignError, match="no run rule"):
        apply_rules([1.0], BASE, rules=["full_moon"])
    with pytest.raises(DesignError, match="six_in_trend"):
        run_length_of_rules(["beyond", "six_in_trend"])
    with pytest.raises(DesignError, match="none"):
        run_length_of_rules([])
    with pytest.raises(ValueError, match="2 to 100"):
        shewhart_factors(1)
