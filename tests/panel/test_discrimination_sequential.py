"""Wald's plan: its exact characteristic against going through all runs, its risks, its decisions."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.discrimination import (
    ForcedChoice,
    SequentialDecision,
    answers_for_difference,
    guess_rate,
    proportion_correct,
    sequential_characteristic,
    sequential_decision,
    sequential_plan,
    sequential_plan_for_shares,
    wald_expected_answers,
)


@pytest.mark.parametrize("share", [0.0, 0.3, 0.55, 1.0])
def test_characteristic_by_going_through_all_runs(share):
    plan = sequential_plan_for_shares(0.3, 0.7, alpha=0.2, beta=0.15, most_answers=9)
    chance = dict.fromkeys(SequentialDecision, 0.0)
    expected = 0.0
    for run in itertools.product([0, 1], repeat=9):
        weight = share ** sum(run) * (1 - share) ** (9 - sum(run))
        decision, answers = sequential_decision(plan, np.array(run))
        chance[decision] += weight
        expected += weight * answers
    found = sequential_characteristic(plan, share)
    assert found.different[0] == pytest.approx(chance[SequentialDecision.DIFFERENT])
    assert found.similar[0] == pytest.approx(chance[SequentialDecision.SIMILAR])
    assert found.undecided[0] == pytest.approx(chance[SequentialDecision.UNDECIDED])
    assert found.expected_answers[0] == pytest.approx(expected)
    assert chance[SequentialDecision.GO_ON] == 0.0


@pytest.mark.parametrize("method", list(ForcedChoice))
def test_risks_obey_wald(method):
    # Wald (1947), chapter 3: the true risks are at most alpha / (1 - beta) and beta / (1 - alpha).
    plan = sequential_plan(method, d_prime=1.5, alpha=0.05, beta=0.1, most_answers=800)
    found = sequential_characteristic(plan, np.array([plan.null_share, plan.other_share]))
    assert found.different[0] <= 0.05 / 0.9
    assert found.similar[1] <= 0.1 / 0.95
    assert max(found.undecided) < 1e-3


@pytest.mark.parametrize("share", [1 / 3, 0.4, 0.45, 0.5, 0.55])
def test_walds_expected_answers_are_a_little_small(share):
    plan = sequential_plan_for_shares(1 / 3, 0.5, alpha=0.01, beta=0.01, most_answers=2000)
    exact = float(sequential_characteristic(plan, share).expected_answers[0])
    assert 0.85 * exact < wald_expected_answers(plan, share) < exact


def test_walds_expected_answers_join_up_on_the_slope():
    plan = sequential_plan_for_shares(0.3, 0.6)
    at, beside = wald_expected_answers(plan, plan.slope), wald_expected_answers(plan, plan.slope + 1e-4)
    assert at == pytest.approx(beside, rel=1e-3)


def test_saves_answers():
    # common belief about half; here the claim is only that it is well below the fixed number
    plan = sequential_plan(ForcedChoice.TRIANGLE, d_prime=1.5, alpha=0.05, beta=0.1, most_answers=300)
    fixed = answers_for_difference(ForcedChoice.TRIANGLE, power=0.9, d_prime=1.5).first
    found = sequential_characteristic(plan, np.array([plan.null_share, plan.other_share]))
    assert max(found.expected_answers) < 0.7 * fixed


@settings(max_examples=40)
@given(st.floats(0.05, 0.6), st.floats(0.05, 0.3), st.floats(0.01, 0.3), st.floats(0.01, 0.3), st.floats(0.0, 1.0))
def test_three_ends_add_up(null, gap, alpha, beta, share):
    plan = sequential_plan_for_shares(null, null + gap, alpha=alpha, beta=beta, most_answers=60)
    found = sequential_characteristic(plan, share)
    assert (found.different + found.similar + found.undecided)[0] == pytest.approx(1.0)
    assert 1.0 <= found.expected_answers[0] <= 60.0
    assert all(low < high for low, high in zip(plan.similar_at, plan.different_at, strict=True))


def test_characteristic_rises_with_the_share():
    plan = sequential_plan(ForcedChoice.TETRAD, d_prime=1.5)
    found = sequential_characteristic(plan, np.linspace(0.2, 0.9, 30))
    assert np.all(np.diff(found.different) > 0.0)
    assert np.all(np.diff(found.similar) < 0.0)


def test_decisions():
    plan = sequential_plan(ForcedChoice.TRIANGLE, d_prime=1.5, most_answers=20)
    assert plan.null_share == pytest.approx(guess_rate(ForcedChoice.TRIANGLE))
    assert plan.other_share == pytest.approx(float(proportion_correct(1.5, ForcedChoice.TRIANGLE)))
    needed = next(n for n in range(1, 21) if n >= plan.different_at[n - 1])
    assert sequential_decision(plan, [True] * 15) == (SequentialDecision.DIFFERENT, needed)
    assert sequential_decision(plan, [True] * (needed - 1)) == (SequentialDecision.GO_ON, needed - 1)
    zero = next(n for n in range(1, 21) if plan.similar_at[n - 1] >= 0)
    assert sequential_decision(plan, [False] * 20) == (SequentialDecision.SIMILAR, zero)
    assert sequential_decision(plan, [True, False] * 10)[0] is SequentialDecision.UNDECIDED
    assert sequential_decision(plan, []) == (SequentialDecision.GO_ON, 0)


def test_refusals():
    with pytest.raises(DesignError, match="larger than"):
        sequential_plan(ForcedChoice.TRIANGLE, d_prime=1.0, null_d_prime=1.0)
    with pytest.raises(DesignError, match="smaller one first"):
        sequential_plan_for_shares(0.6, 0.4)
    with pytest.raises(QuantityError, match="add up"):
        sequential_plan_for_shares(0.4, 0.6, alpha=0.5, beta=0.5)
    plan = sequential_plan_for_shares(0.4, 0.6)
    with pytest.raises(QuantityError, match="true and false"):
        sequential_decision(plan, np.array([0, 2]))
    with pytest.raises(QuantityError, match="between 0 and 1"):
        sequential_characteristic(plan, 1.2)
