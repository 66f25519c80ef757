"""Exact binomial arithmetic of forced-choice tests: p-values, critical numbers and the interval of a share.

Nothing here is approximated by a normal curve. With a few dozen answers the approximation is off by a whole answer,
and one answer is what a verdict turns on.

References
----------
ISO 4120 (triangle), ISO 10399 (duo-trio), ISO 5495 (paired comparison): critical numbers. Clopper and Pearson (1934),
"The use of confidence or fiducial limits illustrated in the case of the binomial", Biometrika 26, 404-413.
"""

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, betaincinv, ndtri

from evenhand.errors import DesignError, QuantityError
from evenhand.panel._discrimination_psychometric import (
    FloatArray,
    ForcedChoice,
    guess_rate,
    method_word,
    proportion_correct,
    proportion_from_discriminators,
)
from evenhand.words import say

IntArray = NDArray[np.int64]

_TIE = 1.0 + 1e-12  # a tail that equals alpha on paper may exceed it in the last bit


def difference_p_value(correct: int, answers: int, method: ForcedChoice, *, two_sided: bool = False) -> float:
    """Probability of at least so many correct answers if everyone guesses.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers.
    method
        The test method.
    two_sided
        For the paired test only: whether either coffee may be the one with more.

    Returns
    -------
    float
        Exact p-value.

    Raises
    ------
    QuantityError, DesignError
        If the counts are impossible, or a method other than paired is asked to be two-sided.
    """
    check_counts(correct, answers)
    check_sides(method, two_sided)
    guess = guess_rate(method)
    if two_sided:
        correct = max(correct, answers - correct)
        return min(1.0, 2.0 * float(upper_tail(correct, answers, guess)))
    return float(upper_tail(correct, answers, guess))


def similarity_p_value(
    correct: int,
    answers: int,
    method: ForcedChoice,
    *,
    discriminators: float | None = None,
    d_prime: float | None = None,
) -> float:
    """Probability of so few correct answers if the coffees differed by the stated limit.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers.
    method
        The test method.
    discriminators, d_prime
        The limit: the difference that would matter. Give exactly one of the two.

    Returns
    -------
    float
        Exact p-value; a small one says that the difference is below the limit.

    Raises
    ------
    QuantityError, DesignError
        If the counts are impossible or not exactly one limit above 0 is given.
    """
    check_counts(correct, answers)
    share = share_at_difference(method, discriminators, d_prime)
    return float(lower_tail(correct, answers, share))


def critical_number(answers: int, method: ForcedChoice, *, alpha: float = 0.05, two_sided: bool = False) -> int:
    """Smallest number of correct answers that shows a difference at level ``alpha``.

    Parameters
    ----------
    answers
        Number of answers.
    method
        The test method.
    alpha
        Risk of seeing a difference where there is none.
    two_sided
        For the paired test only: the number applies to the coffee that was chosen more often.

    Returns
    -------
    int
        The critical number, as tabulated in ISO 4120 and ISO 10399.

    Raises
    ------
    DesignError
        If not even all answers correct would show a difference.
    """
    check_counts(0, answers)
    check_probability(alpha, "alpha")
    check_sides(method, two_sided)
    number = int(critical_numbers(np.array([answers]), method, alpha, two_sided)[0])
    if number > answers:
        raise DesignError(
            say(
                "With {answers} {method} answers not even all of them correct show a difference at alpha "
                "{alpha:g}; collect more answers.",
                answers=answers,
                method=method_word(method),
                alpha=alpha,
            )
        )
    return number


def similarity_number(
    answers: int,
    method: ForcedChoice,
    *,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
) -> int:
    """Largest number of correct answers that still shows the difference to be below a limit.

    Parameters
    ----------
    answers
        Number of answers.
    method
        The test method.
    alpha
        Risk of calling the coffees similar when they differ by the limit (ISO 4120 calls this risk beta).
    discriminators, d_prime
        The limit. Give exactly one of the two.

    Returns
    -------
    int
        The largest number of correct answers that shows similarity.

    Raises
    ------
    DesignError
        If not even no correct answer would show it.
    """
    check_counts(0, answers)
    check_probability(alpha, "alpha")
    share = share_at_difference(method, discriminators, d_prime)
    number = int(similarity_numbers(np.array([answers]), share, alpha)[0])
    if number < 0:
        raise DesignError(
            say(
                "With {answers} {method} answers no result can show similarity within this limit at alpha "
                "{alpha:g}; collect more answers or widen the limit.",
                answers=answers,
                method=method_word(method),
                alpha=alpha,
            )
        )
    return number


def exact_interval(correct: int, answers: int, level: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval for a share: it covers the truth at least as often as it says.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers.
    level
        Confidence level, two-sided.

    Returns
    -------
    tuple of float
        Lower and upper limit of the share.
    """
    check_counts(correct, answers)
    check_probability(level, "level")
    tail = 0.5 * (1.0 - level)
    low = 0.0 if correct == 0 else float(betaincinv(correct, answers - correct + 1, tail))
    high = 1.0 if correct == answers else float(betaincinv(correct + 1, answers - correct, 1.0 - tail))
    return low, high


def upper_tail(correct: object, answers: object, share: object) -> FloatArray:
    """P(X >= correct) for a binomial count; arrays broadcast."""
    x, n = np.asarray(correct, dtype=np.float64), np.asarray(answers, dtype=np.float64)
    inside = betainc(np.maximum(x, 1.0), np.maximum(n - x + 1.0, 1.0), share)
    return np.asarray(np.where(x <= 0, 1.0, np.where(x > n, 0.0, inside)), dtype=np.float64)


def lower_tail(correct: object, answers: object, share: object) -> FloatArray:
    """P(X <= correct) for a binomial count; arrays broadcast."""
    x, n = np.asarray(correct, dtype=np.float64), np.asarray(answers, dtype=np.float64)
    wrong = 1.0 - np.asarray(share, dtype=np.float64)
    inside = betainc(np.maximum(n - x, 1.0), np.maximum(x + 1.0, 1.0), wrong)
    return np.asarray(np.where(x < 0, 0.0, np.where(x >= n, 1.0, inside)), dtype=np.float64)


def critical_numbers(answers: IntArray, method: ForcedChoice, alpha: float, two_sided: bool) -> IntArray:
    """Critical numbers for many numbers of answers at once; ``answers + 1`` where there is none."""
    guess = guess_rate(method)
    tail = alpha / 2.0 if two_sided else alpha
    start = answers * guess - ndtri(tail) * np.sqrt(answers * guess * (1.0 - guess))
    numbers: IntArray = np.clip(np.ceil(start).astype(np.int64), 0, answers + 1)
    while True:  # the normal guess is off by one or two; walk to the exact number
        too_low = upper_tail(numbers, answers, guess) > tail * _TIE
        too_high = (numbers > 0) & (upper_tail(numbers - 1, answers, guess) <= tail * _TIE)
        if not bool(np.any(too_low | too_high)):
            return numbers
        numbers = numbers + too_low - too_high


def similarity_numbers(answers: IntArray, share: float, alpha: float) -> IntArray:
    """Largest counts whose lower tail at ``share`` is within ``alpha``; -1 where there is none."""
    start = answers * share + ndtri(alpha) * np.sqrt(answers * share * (1.0 - share))
    numbers: IntArray = np.clip(np.floor(start).astype(np.int64), -1, answers)
    while True:
        too_high = lower_tail(numbers, answers, share) > alpha * _TIE
        too_low = (numbers < answers) & (lower_tail(numbers + 1, answers, share) <= alpha * _TIE)
        if not bool(np.any(too_low | too_high)):
            return numbers
        numbers = numbers + too_low - too_high


def check_counts(correct: int, answers: int) -> None:
    """Refuse counts that cannot be."""
    if int(answers) != answers or int(correct) != correct or answers < 1 or not 0 <= correct <= answers:
        raise QuantityError(
            say(
                "{correct} correct of {answers} answers cannot be; give whole numbers with 0 <= correct <= "
                "answers and at least one answer.",
                correct=correct,
                answers=answers,
            )
        )


def check_probability(value: float, name: str) -> None:
    """Refuse a risk, power or level outside the open interval from 0 to 1."""
    if not 0.0 < value < 1.0:
        raise QuantityError(
            say("{name} is {value:g}, but must lie between 0 and 1, as in 0.05 for 5 %.", name=name, value=value)
        )


def check_sides(method: ForcedChoice, two_sided: bool) -> None:
    """Refuse a two-sided question where a low count has no meaning."""
    if two_sided and ForcedChoice(method) is not ForcedChoice.PAIRED:
        raise DesignError(
            say("Only the paired test can be two-sided; ask the {method} test one-sided.", method=method_word(method))
        )


def share_at_difference(method: ForcedChoice, discriminators: float | None, d_prime: float | None) -> float:
    """Share of correct answers at a difference given in one of two ways."""
    if (discriminators is None) == (d_prime is None):
        raise DesignError(say("State the difference in exactly one way: a share of discriminators, or d_prime."))
    if discriminators is not None:
        if not 0.0 < discriminators <= 1.0:
            raise QuantityError(
                say(
                    "The share of discriminators is {discriminators:g}, but must be above 0 and at most 1.",
                    discriminators=discriminators,
                )
            )
        return float(proportion_from_discriminators(discriminators, method))
    if d_prime is None or not (math.isfinite(d_prime) and d_prime > 0.0):
        raise QuantityError(
            say("d_prime is {d_prime}, but a difference must be a finite number above 0.", d_prime=d_prime)
        )
    return float(proportion_correct(d_prime, method))
