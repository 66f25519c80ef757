"""Cups to settle: the joined walk against a plain recursion over every sequence, and against simulation."""

import numpy as np
import pytest

from evenhand.errors import DesignError
from evenhand.panel.faults import FaultPrior, cups_to_settle, fit, update


def recurse(p, rates, low, high, left, rho, counts, turn=0):
    """Return (expected cups, P(below), P(above)) by following every sequence; written apart from the module."""
    if p < low or p > high or left == 0:
        return 0.0, float(p < low), float(p > high)
    t = turn % len(rates)
    s, f = rates[t]
    k, n = counts[t]
    if rho > 0:
        weight = (1 - rho) / rho
        s, f = (s * weight + k) / (weight + n), (f * weight + k) / (weight + n)
    chance = p * s + (1 - p) * f
    total = np.array([1.0, 0.0, 0.0])
    for heard, mass in ((1, chance), (0, 1 - chance)):
        then = [(k + heard, n + 1) if i == t else c for i, c in enumerate(counts)]
        p_then = float(update(p, s, f, heard))
        total += mass * np.array(recurse(p_then, rates, low, high, left - 1, rho, then, turn + 1))
    return tuple(total)


@pytest.mark.parametrize("rho", [0.0, 0.2])
@pytest.mark.parametrize("rates", [[(0.7, 0.1)], [(0.8, 0.05), (0.5, 0.2)], [(0.6, 0.1), (0.6, 0.1), (0.3, 0.02)]])
def test_agrees_with_the_plain_recursion(rates, rho):
    s, f = zip(*rates, strict=True)
    got = cups_to_settle(0.3, s, f, 0.05, 0.8, most=11, repeat_correlation=rho)
    expected, below, above = recurse(0.3, rates, 0.05, 0.8, 11, rho, [(0, 0)] * len(rates))
    assert got.expected == pytest.approx(expected, abs=1e-9)
    assert (got.p_release, got.p_hold) == pytest.approx((below, above), abs=1e-9)
    assert got.p_release + got.p_hold + got.p_undecided == pytest.approx(1.0)


def test_earlier_reports_are_taken_into_account():
    got = cups_to_settle(0.3, 0.7, 0.1, most=8, repeat_correlation=0.3, heard_before=1, asked_before=3)
    expected, below, above = recurse(0.3, [(0.7, 0.1)], 0.05, 0.8, 8, 0.3, [(1, 3)])
    assert (got.expected, got.p_release, got.p_hold) == pytest.approx((expected, below, above), abs=1e-9)


def test_agrees_with_simulation():
    rng = np.random.default_rng(4)
    got = cups_to_settle(0.4, [0.7, 0.6], [0.1, 0.05], 0.05, 0.8, most=24, repeat_correlation=0.0)
    cups = []
    for _ in range(4000):
        present, p, n = rng.random() < 0.4, 0.4, 0
        while 0.05 <= p <= 0.8 and n < 24:
            s, f = ((0.7, 0.1), (0.6, 0.05))[n % 2]
            p = float(update(p, s, f, int(rng.random() < (s if present else f))))
            n += 1
        cups.append(n)
    assert got.expected == pytest.approx(np.mean(cups), abs=4 * np.std(cups) / np.sqrt(4000))
    assert got.settled_by[3] == pytest.approx(np.mean(np.array(cups) <= 3), abs=0.03)


def test_a_settled_fault_needs_no_cup():
    got = cups_to_settle(0.01, 0.7, 0.1)
    assert (got.expected, got.p_release, got.p_undecided) == (0.0, 1.0, 0.0)
    assert "settled as it stands" in got.sentence


def test_a_deaf_taster_never_settles_it_and_the_sentence_says_so():
    got = cups_to_settle(0.4, 0.06, 0.05)
    assert got.p_undecided > 0.5
    assert "not settle" in got.sentence


def test_alike_reports_settle_less():
    bare = cups_to_settle(0.3, 0.7, 0.1, repeat_correlation=0.0)
    alike = cups_to_settle(0.3, 0.7, 0.1, repeat_correlation=0.3)
    assert alike.expected > bare.expected
    assert alike.p_undecided > bare.p_undecided


def test_from_a_fit_with_near_certain_rates_it_is_the_plain_function():
    prior = FaultPrior(
        sensitivity_strength=1e6, false_alarm_strength=1e6, pool_strength=1e6, prevalence=0.3, repeat_correlation=0.2
    )
    result = fit([1, 0], ["b", "b"], ["t1", "t2"], ["ashy", "ashy"], prior=prior)
    got = result.cups_to_settle("b", "ashy", 0.05, 0.9, tasters=["t1", "t2"], most=10)
    plain = cups_to_settle(
        result.p("b", "ashy"), [0.7, 0.7], [0.05, 0.05], 0.05, 0.9, most=10, heard_before=[1, 0], asked_before=[1, 1]
    )
    assert got.expected == pytest.approx(plain.expected, abs=1e-3)
    assert result.cups_to_settle("b", "ashy").sentence
    with pytest.raises(DesignError, match="at least one taster"):
        result.cups_to_settle("b", "ashy", tasters=[])


@pytest.mark.parametrize(
    ("arguments", "options"),
    [
        ((1.2, 0.7, 0.1), {}),
        ((0.3, 1.0, 0.1), {}),
        ((0.3, 0.7, 0.1, 0.8, 0.2), {}),
        ((0.3, 0.7, 0.1), {"most": 0}),
        ((0.3, 0.7, 0.1), {"repeat_correlation": 1.0}),
        ((0.3, 0.7, 0.1), {"heard_before": 2, "asked_before": 1}),
    ],
)
def test_what_cannot_be_is_refused(arguments, options):
    with pytest.raises(DesignError):
        cups_to_settle(*arguments, **options)


@pytest.mark.parametrize(
    ("p", "sensitivity", "words"),
    [
        (0.01, 0.7, "settled as it stands"),
        (0.3, 0.3, "Further cups from this taster"),
        (0.3, [0.3, 0.3], "Further cups from these 2 tasters"),
        (0.3, [0.7] * 3, "At least"),
        (0.3, [0.95] * 6, "About"),
    ],
)
def test_every_word_can_be_told_in_another_language(untold, p, sensitivity, words):
    said = cups_to_settle(p, sensitivity, 0.1, most=8).sentence
    assert words in said
    assert untold(said) == set(), said
