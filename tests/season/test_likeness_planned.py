"""Planned tests: enough answers by an outside binomial, read against the plan, and honest about what is not shown."""

import numpy as np
import pytest
from scipy.stats import binom

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.discrimination import ForcedChoice, answers_for_difference, proportion_correct
from evenhand.season.likeness import CUPS_AN_ANSWER, Aim, plan_difference, plan_similarity, read_test

METHODS = list(ForcedChoice)


@pytest.mark.parametrize("method", METHODS)
def test_difference_plans_reach_their_power(method):
    """Oracle: scipy's binomial distribution, for the plan's number of answers and for some more."""
    plan = plan_difference(method, 6, d_prime=1.5, power=0.8, alpha=0.05)
    guess = 0.5 if method in (ForcedChoice.PAIRED, ForcedChoice.DUO_TRIO) else 1 / 3
    share = float(proportion_correct(1.5, method))
    assert binom.sf(plan.critical - 1, plan.answers, guess) <= 0.05 < binom.sf(plan.critical - 2, plan.answers, guess)
    assert binom.sf(plan.critical - 1, plan.answers, share) >= 0.8
    for more in range(plan.answers, plan.answers + 20):  # no larger number falls below the power
        critical = next(k for k in range(more + 2) if binom.sf(k - 1, more, guess) <= 0.05)
        assert binom.sf(critical - 1, more, share) >= 0.8
    assert plan.cups == plan.answers * CUPS_AN_ANSWER[method]
    assert plan.answers_a_taster * 6 >= plan.answers > (plan.answers_a_taster - 1) * 6


def test_the_standards_plan():
    """ISO 4120, table of numbers of assessors: 30 % discriminators, alpha 0.05, beta 0.20 need 40 triangles (first).

    The plan takes the number from which the power stays reached, two more.
    """
    plan = plan_difference(ForcedChoice.TRIANGLE, 42, discriminators=0.3)
    assert (plan.answers, plan.answers_a_taster) == (42, 1)
    assert answers_for_difference(ForcedChoice.TRIANGLE, discriminators=0.3).first == 40
    assert "independent" not in plan.says


def test_similarity_plans_reach_their_power():
    plan = plan_similarity(ForcedChoice.TRIANGLE, 8, discriminators=0.3, true_d_prime=0.3)
    at_limit = 1 / 3 + 0.3 * 2 / 3
    truth = float(proportion_correct(0.3, ForcedChoice.TRIANGLE))
    assert binom.cdf(plan.critical, plan.answers, at_limit) <= 0.05
    assert binom.cdf(plan.critical, plan.answers, truth) >= 0.8
    assert plan.aim is Aim.SIMILARITY
    assert "they need not differ" in plan.says


def test_both_ways_of_saying_the_difference_are_one_plan():
    one = plan_difference(ForcedChoice.TETRAD, 5, d_prime=1.5)
    other = plan_difference(ForcedChoice.TETRAD, 5, discriminators=one.discriminators)
    assert other.answers == one.answers
    assert other.d_prime == pytest.approx(1.5)


class TestReading:
    def test_no_difference_shown_is_not_likeness(self):
        plan = plan_difference(ForcedChoice.TETRAD, 20, d_prime=1.5)
        found = read_test(plan, [1] * 8 + [0] * 12, [1] * 20)
        assert not found.shown
        assert found.p_value == pytest.approx(binom.sf(7, 20, 1 / 3))
        assert found.replicated is None
        for words in ("does not show that the coffees are alike", "only from d'", "plan a similarity test"):
            assert words in found.says

    def test_the_critical_number_decides(self):
        plan = plan_difference(ForcedChoice.TETRAD, 20, d_prime=1.5)
        rest = plan.answers - plan.critical
        assert read_test(plan, [1] * plan.critical + [0] * rest, [1] * plan.answers).shown
        assert not read_test(plan, [1] * (plan.critical - 1) + [0] * (rest + 1), [1] * plan.answers).shown

    def test_no_similarity_shown_is_not_difference(self):
        plan = plan_similarity(ForcedChoice.TRIANGLE, 50, discriminators=0.3, true_d_prime=0.3)
        found = read_test(plan, [1] * 26 + [0] * 24, [1] * 50)
        assert not found.shown
        assert "does not show that the coffees differ" in found.says

    def test_tasters_who_differ_keep_similarity_from_being_shown(self):
        """Two of eight always hear it: pooled, 19 of 56 look like guessing."""
        plan = plan_similarity(ForcedChoice.TRIANGLE, 8, discriminators=0.3, true_d_prime=0.3)
        split = read_test(plan, [0, 1, 7, 7, 1, 1, 1, 1], [7] * 8)
        even = read_test(plan, [2, 2, 2, 2, 3, 3, 3, 2], [7] * 8)
        assert split.result.similar
        assert not split.shown
        assert "not shown after all" in split.says
        assert even.shown
        assert even.p_value == pytest.approx(split.p_value)  # the same nineteen answers

    def test_missing_answers_cost_power(self):
        plan = plan_difference(ForcedChoice.TETRAD, 4, d_prime=1.5)
        found = read_test(plan, [2, 2, 2], [4, 4, 4])
        critical = next(k for k in range(14) if binom.sf(k - 1, 12, 1 / 3) <= 0.05)
        assert found.power == pytest.approx(binom.sf(critical - 1, 12, float(proportion_correct(1.5, plan.method))))
        assert "Only 12 of 20 planned answers came" in found.says

    def test_going_on_past_the_plan_is_told(self):
        plan = plan_difference(ForcedChoice.TETRAD, 4, d_prime=1.5)
        assert "larger than stated" in read_test(plan, [5, 5, 5, 5], [10] * 4).says
        assert "larger than stated" not in read_test(plan, [5, 2, 2, 2], [5] * 4).says

    def test_one_taster_speaks_alone(self):
        plan = plan_difference(ForcedChoice.THREE_AFC, 1, d_prime=1.5)
        assert "that taster alone" in plan.says
        assert "that taster alone" in read_test(plan, 7, 9).says

    def test_the_risk_is_kept_under_guessing(self):
        """2000 panels that guess: a difference is shown in at most 5 % (3 sd above: 6.5 %)."""
        plan = plan_difference(ForcedChoice.TRIANGLE, 24, d_prime=2.0)
        correct = np.random.default_rng(1).binomial(plan.answers, 1 / 3, 2000)
        assert np.mean(correct >= plan.critical) <= 0.065
        assert read_test(plan, plan.critical, plan.answers).shown


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: plan_difference(ForcedChoice.TRIANGLE, 0, d_prime=1), QuantityError, "at least one taster"),
        (lambda: plan_difference(ForcedChoice.TRIANGLE, 3), DesignError, "exactly one way"),
        (lambda: plan_difference(ForcedChoice.TRIANGLE, 3, d_prime=-1), QuantityError, "above 0"),
        (lambda: plan_difference(ForcedChoice.TRIANGLE, 3, discriminators=1.5), QuantityError, "between 0 and 1"),
        (lambda: plan_similarity(ForcedChoice.TRIANGLE, 3, d_prime=1, alpha=0.6), QuantityError, "below 0.5"),
        (lambda: plan_similarity(ForcedChoice.TRIANGLE, 3, d_prime=1, true_d_prime=1.2), DesignError, "below|limit"),
        (lambda: read_test(plan_difference(ForcedChoice.TETRAD, 3, d_prime=2), [1], [2, 2]), DesignError, "one length"),
        (lambda: read_test(plan_difference(ForcedChoice.TETRAD, 3, d_prime=2), [3], [2]), QuantityError, "whole"),
    ],
)
def test_what_cannot_be_is_refused(call, error, words):
    with pytest.raises(error, match=words):
        call()


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("tasters", [1, 4])
def test_every_sentence_can_be_told_in_another_language(untold, method, tasters):
    plans = [plan_difference(method, tasters, d_prime=2.0)]
    plans += [plan_similarity(method, tasters, d_prime=2.0, true_d_prime=truth) for truth in (0.0, 0.2)]
    for plan in plans:
        assert untold(plan.says) == set()
        for each in (1, plan.answers_a_taster, plan.answers_a_taster + 9):
            for share in (0.0, 0.5, 1.0):
                found = read_test(plan, [int(share * each)] * tasters, [each] * tasters)
                assert untold(found.says) == set()
