"""One forced-choice test read in full: is there a difference, how large may it be, and what did the test leave open.

References
----------
Christensen and Brockhoff (2009), "Estimation and inference in the same-different test", Food Quality and Preference 20,
514-524 (likelihood intervals of d'). Bi, Ennis and O'Mahony (1997), "How to estimate and use the variance of d' from
difference tests", Journal of Sensory Studies 12, 87-104. ISO 4120 (similarity).
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, chdtri, ndtri, xlogy

from evenhand.panel._discrimination_exact import (
    check_counts,
    check_probability,
    check_sides,
    critical_numbers,
    difference_p_value,
    exact_interval,
    share_at_difference,
    similarity_p_value,
)
from evenhand.panel._discrimination_power import SmallestDifference, similarity_power, smallest_difference
from evenhand.panel._discrimination_psychometric import (
    ForcedChoice,
    d_prime_from_proportion,
    discriminators_from_proportion,
    guess_rate,
    method_word,
    proportion_correct_slope,
)
from evenhand.words import join, say

Interval = tuple[float, float]


@dataclass(frozen=True, slots=True)
class DifferenceResult:
    """What a difference test showed.

    Attributes
    ----------
    method, correct, answers, alpha, level, two_sided
        What was asked and counted.
    p_value
        Exact probability of at least so many correct answers from guessing alone.
    critical
        Correct answers needed at ``alpha``, or None if no count would do.
    proportion
        Correct answers over all answers.
    discriminators, discriminators_interval
        Share of discriminators and its exact (Clopper-Pearson) interval.
    d_prime, d_prime_se
        Distance and its standard error from the slope; the error is not a number where the estimate lies at its end
        (0 or infinity), because the slope says nothing there.
    d_prime_interval, d_prime_likelihood_interval
        Exact interval (it covers at least ``level``), and the likelihood interval (shorter, about ``level``).
    power, smallest
        The smallest difference that a test of this size finds with this power.

    Notes
    -----
    In a two-sided paired test the share of discriminators and d' carry a sign: negative when the named coffee was
    chosen less often. Otherwise they are 0 at or below the guess rate.
    """

    method: ForcedChoice
    correct: int
    answers: int
    alpha: float
    level: float
    two_sided: bool
    p_value: float
    critical: int | None
    proportion: float
    discriminators: float
    discriminators_interval: Interval
    d_prime: float
    d_prime_se: float
    d_prime_interval: Interval
    d_prime_likelihood_interval: Interval
    power: float
    smallest: SmallestDifference

    @property
    def different(self) -> bool:
        """Whether the test shows a difference at its ``alpha``."""
        return self.p_value <= self.alpha * (1.0 + 1e-12)


@dataclass(frozen=True, slots=True)
class SimilarityResult:
    """What a similarity test showed.

    Attributes
    ----------
    method, correct, answers, alpha
        What was asked and counted.
    limit_discriminators, limit_d_prime
        The difference that would matter, in both ways of saying it.
    p_value
        Exact probability of so few correct answers if the difference were at the limit.
    upper_discriminators, upper_d_prime
        Exact one-sided upper bounds at confidence ``1 - alpha``.
    power_if_same
        Chance that a test of this size shows similarity of two cups of one and the same coffee.
    """

    method: ForcedChoice
    correct: int
    answers: int
    alpha: float
    limit_discriminators: float
    limit_d_prime: float
    p_value: float
    upper_discriminators: float
    upper_d_prime: float
    power_if_same: float

    @property
    def similar(self) -> bool:
        """Whether the test shows the difference to be below the limit at its ``alpha``."""
        return self.p_value <= self.alpha * (1.0 + 1e-12)


def difference_test(
    correct: int,
    answers: int,
    method: ForcedChoice,
    *,
    alpha: float = 0.05,
    level: float = 0.95,
    power: float = 0.8,
    two_sided: bool = False,
) -> DifferenceResult:
    """Test whether two coffees can be told apart, and say how far apart they may be.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers; each answer stands alone (for several answers a taster see
        ``replicated_test``).
    method
        The test method.
    alpha
        Risk of seeing a difference where there is none.
    level
        Confidence level of the intervals.
    power
        Power at which the smallest difference is stated.
    two_sided
        For the paired test only: whether either coffee may be the one with more.

    Returns
    -------
    DifferenceResult
        p-value, estimates, intervals, and what the test could have found.

    Raises
    ------
    QuantityError, DesignError
        If counts or levels are impossible, or a method other than paired is asked to be two-sided.
    """
    check_counts(correct, answers)
    check_probability(alpha, "alpha")
    check_probability(level, "level")
    check_sides(method, two_sided)
    method = ForcedChoice(method)
    critical = int(critical_numbers(np.array([answers]), method, alpha, two_sided)[0])
    share = correct / answers
    d_prime = _distance(share, method, two_sided)
    low, high = exact_interval(correct, answers, level)
    likely = _likelihood_interval(correct, answers, level, 0.0 if two_sided else guess_rate(method))
    return DifferenceResult(
        method=method,
        correct=correct,
        answers=answers,
        alpha=alpha,
        level=level,
        two_sided=two_sided,
        p_value=difference_p_value(correct, answers, method, two_sided=two_sided),
        critical=critical if critical <= answers else None,
        proportion=share,
        discriminators=_discriminators(share, method, two_sided),
        discriminators_interval=(_discriminators(low, method, two_sided), _discriminators(high, method, two_sided)),
        d_prime=d_prime,
        d_prime_se=_standard_error(share, answers, method, d_prime, two_sided),
        d_prime_interval=(_distance(low, method, two_sided), _distance(high, method, two_sided)),
        d_prime_likelihood_interval=(
            _distance(likely[0], method, two_sided),
            _distance(likely[1], method, two_sided),
        ),
        power=power,
        smallest=smallest_difference(answers, method, power=power, alpha=alpha, two_sided=two_sided),
    )


def similarity_test(
    correct: int,
    answers: int,
    method: ForcedChoice,
    *,
    alpha: float = 0.05,
    discriminators: float | None = None,
    d_prime: float | None = None,
) -> SimilarityResult:
    """Test whether the difference of two coffees is below a limit that would matter.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers; each answer stands alone.
    method
        The test method.
    alpha
        Risk of calling the coffees similar when they differ by the limit (ISO 4120 calls this risk beta).
    discriminators, d_prime
        The limit, set before tasting. Give exactly one of the two.

    Returns
    -------
    SimilarityResult
        p-value, upper bounds and the test's chance of success.

    Raises
    ------
    QuantityError, DesignError
        If counts are impossible or not exactly one limit above 0 is given.
    """
    check_counts(correct, answers)
    check_probability(alpha, "alpha")
    method = ForcedChoice(method)
    limit = share_at_difference(method, discriminators, d_prime)
    upper = 1.0 if correct == answers else float(betaincinv(correct + 1, answers - correct, 1.0 - alpha))
    return SimilarityResult(
        method=method,
        correct=correct,
        answers=answers,
        alpha=alpha,
        limit_discriminators=float(discriminators_from_proportion(limit, method)),
        limit_d_prime=float(d_prime_from_proportion(limit, method)),
        p_value=similarity_p_value(correct, answers, method, discriminators=discriminators, d_prime=d_prime),
        upper_discriminators=float(discriminators_from_proportion(upper, method)),
        upper_d_prime=float(d_prime_from_proportion(upper, method)),
        power_if_same=similarity_power(answers, method, alpha=alpha, discriminators=discriminators, d_prime=d_prime),
    )


def reading(result: DifferenceResult | SimilarityResult) -> str:
    """Say in plain sentences what a test showed, and what it did not show.

    Parameters
    ----------
    result
        What ``difference_test`` or ``similarity_test`` gave.

    Returns
    -------
    str
        Two or three sentences. After a result that is not significant they state the smallest difference that the test
        would have found, and the largest that it leaves possible.
    """
    counted = say(
        "{correct} of {answers} {method} answers were correct ({p_value})",
        correct=result.correct,
        answers=result.answers,
        method=method_word(result.method),
        p_value=_p_words(result.p_value),
    )
    if isinstance(result, SimilarityResult):
        return join(_similarity_sentences(result, counted), " ")
    return join(_difference_sentences(result, counted), " ")


def _difference_sentences(result: DifferenceResult, counted: str) -> tuple[str, ...]:
    if result.different:
        return say("{counted}: the coffees can be told apart.", counted=counted), _extent(result)
    none = say("{counted}: no difference was shown at alpha {alpha:g}.", counted=counted, alpha=result.alpha)
    if math.isnan(result.smallest.d_prime):
        reach = say("This does not show that the coffees are alike: a test of this size cannot show any difference.")
        return none, reach, _extent(result)
    reach = say(
        "This does not show that the coffees are alike: a test of this size finds a difference with {power} chance "
        "only from d' {distance} upwards ({discriminators} discriminators).",
        power=_percent(result.power),
        distance=_number(result.smallest.d_prime),
        discriminators=_percent(result.smallest.discriminators),
    )
    return none, reach, _extent(result)


def _extent(result: DifferenceResult) -> str:
    low, high = result.d_prime_interval  # the exact one, so that it never contradicts the exact p-value
    level = _percent(result.level)
    if math.isinf(high):
        return say("The distance d' is at least {low} (exact {level} interval).", low=_number(low), level=level)
    return say(
        "The distance d' lies between {low} and {high} (exact {level} interval).",
        low=_number(low),
        high=_number(high),
        level=level,
    )


def _similarity_sentences(result: SimilarityResult, counted: str) -> tuple[str, ...]:
    limit = _difference_words(result.limit_d_prime, result.limit_discriminators)
    bound = say(
        "The difference is at most {upper}, at {level} confidence.",
        upper=_difference_words(result.upper_d_prime, result.upper_discriminators),
        level=_percent(1.0 - result.alpha),
    )
    if result.similar:
        return say("{counted}: the difference is below the limit of {limit}.", counted=counted, limit=limit), bound
    return (
        say("{counted}: similarity within the limit of {limit} was not shown.", counted=counted, limit=limit),
        bound,
        say(
            "This does not show that the coffees differ: with one and the same coffee a test of this size shows "
            "similarity with {power} chance.",
            power=_percent(result.power_if_same),
        ),
    )


def _distance(share: float, method: ForcedChoice, signed: bool) -> float:
    """Distance of a share; signed only for the two-sided paired test."""
    if signed:
        return math.sqrt(2.0) * float(ndtri(share))
    return float(d_prime_from_proportion(share, method))


def _discriminators(share: float, method: ForcedChoice, signed: bool) -> float:
    return 2.0 * share - 1.0 if signed else float(discriminators_from_proportion(share, method))


def _standard_error(share: float, answers: int, method: ForcedChoice, d_prime: float, signed: bool) -> float:
    if not 0.0 < share < 1.0 or (share < guess_rate(method) and not signed):
        return math.nan
    slope = float(proportion_correct_slope(d_prime, method))
    return math.sqrt(share * (1.0 - share) / answers) / slope if slope > 0.0 else math.nan


def _likelihood_interval(correct: int, answers: int, level: float, floor: float) -> Interval:
    """Shares at least ``floor`` whose log-likelihood is within half a chi-square quantile of the best."""
    best = max(correct / answers, floor)
    drop = 0.5 * float(chdtri(1, 1.0 - level))

    def log_likelihood(share: float) -> float:
        return float(xlogy(correct, share) + xlogy(answers - correct, 1.0 - share))

    target = log_likelihood(best) - drop

    def cross(inside: float, outside: float) -> float:
        if log_likelihood(outside) >= target:
            return outside
        for _ in range(100):
            middle = 0.5 * (inside + outside)
            if log_likelihood(middle) >= target:
                inside = middle
            else:
                outside = middle
        return 0.5 * (inside + outside)

    return cross(best, floor), cross(best, 1.0)


def _percent(share: float) -> str:
    return say("{percent:.0f} %", percent=100.0 * share)


def _number(value: float) -> str:
    return say("no bound") if math.isinf(value) else say("{value:.2f}", value=value)


def _difference_words(d_prime: float, discriminators: float) -> str:
    return say(
        "d' {distance} ({discriminators} discriminators)",
        distance=_number(d_prime),
        discriminators=_percent(discriminators),
    )


def _p_words(p_value: float) -> str:
    return say("p below {limit}", limit=0.001) if p_value < 0.001 else say("p = {p_value:.2g}", p_value=p_value)
