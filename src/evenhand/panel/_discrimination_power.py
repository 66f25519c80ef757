"""How much a forced-choice test can find: power, the answers that it needs, the smallest difference that it would show.

Power does not rise smoothly with the number of answers. The critical number moves in whole steps, and each step costs a
little power: a saw-tooth. So a number of answers that is enough may be followed by one that is not.

References
----------
ISO 4120, annex A (numbers of assessors). Chernick and Liu (2002), "The saw-toothed behavior of power versus sample size
and software solutions", The American Statistician 56, 149-155. Ennis and Jesionka (2011), "The power of sensory
discrimination methods revisited", Journal of Sensory Studies 26, 371-382.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, ndtri

from evenhand.errors import DesignError
from evenhand.panel._discrimination_exact import (
    IntArray,
    check_counts,
    check_probability,
    check_sides,
    critical_numbers,
    lower_tail,
    share_at_difference,
    similarity_numbers,
    upper_tail,
)
from evenhand.panel._discrimination_psychometric import (
    FloatArray,
    ForcedChoice,
    d_prime_from_proportion,
    discriminators_from_proportion,
    guess_rate,
    proportion_correct,
)
from evenhand.words import say

MOST_ANSWERS = 20_000  # a search for a number of answers stops here; no roastery tastes more


@dataclass(frozen=True, slots=True)
class AnswersNeeded:
    """How many answers a test needs; two numbers, because power rises in a saw-tooth and not smoothly.

    Attributes
    ----------
    first
        Smallest number of answers that reaches the power. The tables of ISO 4120 follow this rule.
    holds
        Smallest number from which every larger number reaches it too. Take this one when an answer may go missing
        or come extra.
    critical_first, critical_holds
        Critical numbers at these two numbers of answers.
    power_first, power_holds
        Power reached at these two numbers of answers.
    """

    first: int
    holds: int
    critical_first: int
    critical_holds: int
    power_first: float
    power_holds: float


@dataclass(frozen=True, slots=True)
class SmallestDifference:
    """The smallest difference that a test of a given size finds with a given power.

    Attributes
    ----------
    discriminators
        As a share of discriminators; not a number if even a share of 1 is out of reach.
    d_prime
        As a distance; not a number likewise.
    """

    discriminators: float
    d_prime: float


def difference_power(
    answers: int,
    method: ForcedChoice,
    *,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
    two_sided: bool = False,
) -> float:
    """Probability that a test of this size shows a difference that is really there.

    Parameters
    ----------
    answers
        Number of answers, each independent of the others.
    method
        The test method.
    alpha
        Risk of seeing a difference where there is none.
    discriminators, d_prime
        The true difference. Give exactly one of the two.
    two_sided
        For the paired test only.

    Returns
    -------
    float
        Exact power.
    """
    check_counts(0, answers)
    check_probability(alpha, "alpha")
    check_sides(method, two_sided)
    share = share_at_difference(method, discriminators, d_prime)
    return float(_difference_powers(np.array([answers]), method, share, alpha, two_sided)[0])


def similarity_power(
    answers: int,
    method: ForcedChoice,
    *,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
    true_d_prime: float = 0.0,
) -> float:
    """Probability that a test of this size shows similarity within a limit.

    Parameters
    ----------
    answers
        Number of answers, each independent of the others.
    method
        The test method.
    alpha
        Risk of calling the coffees similar when they differ by the limit.
    discriminators, d_prime
        The limit. Give exactly one of the two.
    true_d_prime
        How far apart the coffees really are; 0 for the same coffee twice.

    Returns
    -------
    float
        Exact power.
    """
    check_counts(0, answers)
    check_probability(alpha, "alpha")
    share = share_at_difference(method, discriminators, d_prime)
    truth = float(proportion_correct(true_d_prime, method))
    return float(_similarity_powers(np.array([answers]), share, truth, alpha)[0])


def answers_for_difference(
    method: ForcedChoice,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
    two_sided: bool = False,
) -> AnswersNeeded:
    """How many answers a test needs to show a given difference with a given power.

    Parameters
    ----------
    method
        The test method.
    power, alpha
        Chance of finding the difference, and risk of finding one that is not there.
    discriminators, d_prime
        The difference to be found. Give exactly one of the two.
    two_sided
        For the paired test only.

    Returns
    -------
    AnswersNeeded
        The first number that reaches the power, and the number from which it holds.

    Raises
    ------
    DesignError
        If more than ``MOST_ANSWERS`` would be needed.
    """
    check_probability(power, "power")
    check_probability(alpha, "alpha")
    check_sides(method, two_sided)
    share = share_at_difference(method, discriminators, d_prime)
    counts = _counts_to_scan(guess_rate(method), share, alpha / 2 if two_sided else alpha, power)
    powers = _difference_powers(counts, method, share, alpha, two_sided)
    return _needed(counts, powers, critical_numbers(counts, method, alpha, two_sided), power)


def answers_for_similarity(
    method: ForcedChoice,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
    true_d_prime: float = 0.0,
) -> AnswersNeeded:
    """How many answers a test needs to show similarity within a limit with a given power.

    Parameters
    ----------
    method
        The test method.
    power
        Chance of showing similarity when the coffees are ``true_d_prime`` apart.
    alpha
        Risk of calling the coffees similar when they differ by the limit.
    discriminators, d_prime
        The limit. Give exactly one of the two.
    true_d_prime
        How far apart the coffees really are; below the limit.

    Returns
    -------
    AnswersNeeded
        The first number that reaches the power, and the number from which it holds.

    Raises
    ------
    DesignError
        If the truth is not below the limit, or more than ``MOST_ANSWERS`` would be needed.
    """
    check_probability(power, "power")
    check_probability(alpha, "alpha")
    share = share_at_difference(method, discriminators, d_prime)
    truth = float(proportion_correct(true_d_prime, method))
    if truth >= share:
        raise DesignError(
            say("Similarity cannot be shown when the true difference is at or above the limit; widen the limit.")
        )
    counts = _counts_to_scan(share, truth, alpha, power)
    powers = _similarity_powers(counts, share, truth, alpha)
    return _needed(counts, powers, similarity_numbers(counts, share, alpha), power)


def smallest_difference(
    answers: int, method: ForcedChoice, *, power: float = 0.8, alpha: float = 0.05, two_sided: bool = False
) -> SmallestDifference:
    """Smallest difference that a test of this size finds with the given power.

    Parameters
    ----------
    answers
        Number of answers.
    method
        The test method.
    power, alpha
        Chance of finding the difference, and risk of finding one that is not there.
    two_sided
        For the paired test only. The tiny chance of finding the difference the wrong way round is not counted.

    Returns
    -------
    SmallestDifference
        As a share of discriminators and as a distance; not a number where no result could show a difference.
    """
    check_counts(0, answers)
    check_probability(power, "power")
    check_probability(alpha, "alpha")
    check_sides(method, two_sided)
    critical = int(critical_numbers(np.array([answers]), method, alpha, two_sided)[0])
    if critical > answers:
        return SmallestDifference(math.nan, math.nan)
    share = float(betaincinv(critical, answers - critical + 1, power))
    return SmallestDifference(
        float(discriminators_from_proportion(share, method)), float(d_prime_from_proportion(share, method))
    )


def _difference_powers(
    answers: IntArray, method: ForcedChoice, share: float, alpha: float, two_sided: bool
) -> FloatArray:
    critical = critical_numbers(answers, method, alpha, two_sided)
    powers = upper_tail(critical, answers, share)
    return powers + lower_tail(answers - critical, answers, share) if two_sided else powers


def _similarity_powers(answers: IntArray, share: float, truth: float, alpha: float) -> FloatArray:
    return lower_tail(similarity_numbers(answers, share, alpha), answers, truth)


def _counts_to_scan(null: float, truth: float, alpha: float, power: float) -> IntArray:
    """Numbers of answers to look at: well past the normal approximation, so that the last tooth is inside."""
    reach = abs(float(ndtri(alpha))) * math.sqrt(null * (1.0 - null))
    reach += max(float(ndtri(power)), 0.0) * math.sqrt(truth * (1.0 - truth))
    rough = (reach / (truth - null)) ** 2
    if rough > MOST_ANSWERS:
        raise DesignError(
            say(
                "So small a difference needs about {rough:.0f} answers, more than {most}; ask for a larger one.",
                rough=rough,
                most=MOST_ANSWERS,
            )
        )
    return np.arange(1, math.ceil(2.0 * rough) + 100, dtype=np.int64)


def _needed(counts: IntArray, powers: FloatArray, criticals: IntArray, power: float) -> AnswersNeeded:
    enough = powers >= power
    if not bool(enough[-1]):
        raise DesignError(say("No number of answers that was looked at keeps the power; ask for a larger difference."))
    first = int(np.argmax(enough))
    failing = np.flatnonzero(~enough)
    holds = int(failing[-1]) + 1 if failing.size else 0
    return AnswersNeeded(
        int(counts[first]),
        int(counts[holds]),
        int(criticals[first]),
        int(criticals[holds]),
        float(powers[first]),
        float(powers[holds]),
    )
