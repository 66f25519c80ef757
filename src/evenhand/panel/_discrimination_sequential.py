"""A plan that stops as soon as the answers are clear: Wald's sequential test of "same" against "it matters".

After every answer the count of correct answers is compared with two parallel lines. Above the upper one the coffees
differ, below the lower one they are similar, between them tasting goes on. On average it takes about half the answers
of a test of fixed size, but a single run may be long; so a plan here always has a last answer.

References
----------
Wald (1947), "Sequential Analysis", Wiley, chapter 5 (testing a proportion). Bi (2015), "Sensory Discrimination Tests
and Measurements", 2nd ed., Wiley.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from evenhand.errors import DesignError, QuantityError
from evenhand.panel._discrimination_exact import IntArray, check_counts, check_probability
from evenhand.panel._discrimination_psychometric import FloatArray, ForcedChoice, proportion_correct
from evenhand.words import say


class SequentialDecision(StrEnum):
    """What a sequential plan says after an answer."""

    GO_ON = "go on"
    DIFFERENT = "different"
    SIMILAR = "similar"
    UNDECIDED = "undecided"  # the last answer was given and neither line was crossed


@dataclass(frozen=True, slots=True)
class SequentialPlan:
    """Two lines between which tasting goes on.

    Attributes
    ----------
    null_share, other_share
        Shares of correct answers of coffees that are as good as the same, and of coffees that differ so much that it
        matters.
    alpha, beta
        Wald's nominal risks: of "different" at ``null_share``, and of "similar" at ``other_share``.
    most_answers
        The plan ends here at the latest.
    lower_intercept, upper_intercept, slope
        The lines: lower_intercept + slope n and upper_intercept + slope n.
    similar_at, different_at
        For n = 1 .. most_answers: "similar" at this count of correct answers or fewer (-1: not yet possible), and
        "different" at this count or more (n + 1: not yet possible).
    """

    null_share: float
    other_share: float
    alpha: float
    beta: float
    most_answers: int
    lower_intercept: float
    upper_intercept: float
    slope: float
    similar_at: tuple[int, ...]
    different_at: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SequentialCharacteristic:
    """What a plan does in the long run, by exact recursion over all answers and not by Wald's approximation.

    Attributes
    ----------
    share
        True shares of correct answers, shape (k,).
    different, similar, undecided
        Probabilities of the three ends, shape (k,) each; they add up to 1.
    expected_answers
        Expected number of answers, shape (k,).
    """

    share: FloatArray
    different: FloatArray
    similar: FloatArray
    undecided: FloatArray
    expected_answers: FloatArray


def sequential_plan(
    method: ForcedChoice,
    *,
    d_prime: float,
    null_d_prime: float = 0.0,
    alpha: float = 0.05,
    beta: float = 0.05,
    most_answers: int = 100,
) -> SequentialPlan:
    """Plan a sequential test between two distances.

    Parameters
    ----------
    method
        The test method.
    d_prime
        Distance that matters.
    null_d_prime
        Distance that is as good as none.
    alpha, beta
        Risks of "different" at ``null_d_prime`` and of "similar" at ``d_prime``; together below 1.
    most_answers
        The plan ends here at the latest.

    Returns
    -------
    SequentialPlan
        The lines and the counts at which to stop.

    Raises
    ------
    DesignError, QuantityError
        If the distances are not in order, or the risks or the length are impossible.
    """
    if not 0.0 <= null_d_prime < d_prime:
        raise DesignError(say("The distance that matters must be larger than the distance that is as good as none."))
    null, other = (float(proportion_correct(d, method)) for d in (null_d_prime, d_prime))
    return sequential_plan_for_shares(null, other, alpha=alpha, beta=beta, most_answers=most_answers)


def sequential_plan_for_shares(
    null_share: float, other_share: float, *, alpha: float = 0.05, beta: float = 0.05, most_answers: int = 100
) -> SequentialPlan:
    """Plan a sequential test between two shares of correct answers.

    Parameters
    ----------
    null_share, other_share
        Shares, 0 < null_share < other_share < 1.
    alpha, beta
        Risks; together below 1.
    most_answers
        The plan ends here at the latest.

    Returns
    -------
    SequentialPlan
        The lines and the counts at which to stop.

    Raises
    ------
    DesignError, QuantityError
        If the shares are not in order, or the risks or the length are impossible.
    """
    check_probability(alpha, "alpha")
    check_probability(beta, "beta")
    check_counts(0, most_answers)
    if alpha + beta >= 1.0:
        raise QuantityError(
            say("The risks {alpha:g} and {beta:g} add up to 1 or more; choose smaller ones.", alpha=alpha, beta=beta)
        )
    if not 0.0 < null_share < other_share < 1.0:
        raise DesignError(
            say(
                "The shares {null_share:g} and {other_share:g} must lie between 0 and 1, the smaller one first.",
                null_share=null_share,
                other_share=other_share,
            )
        )
    unit = math.log(other_share / null_share) + math.log((1.0 - null_share) / (1.0 - other_share))
    slope = math.log((1.0 - null_share) / (1.0 - other_share)) / unit
    lower = math.log(beta / (1.0 - alpha)) / unit
    upper = math.log((1.0 - beta) / alpha) / unit
    answers = np.arange(1, most_answers + 1)
    similar = np.maximum(np.floor(lower + slope * answers + 1e-9), -1).astype(int)
    different = np.minimum(np.ceil(upper + slope * answers - 1e-9), answers + 1).astype(int)
    return SequentialPlan(
        null_share=null_share,
        other_share=other_share,
        alpha=alpha,
        beta=beta,
        most_answers=most_answers,
        lower_intercept=lower,
        upper_intercept=upper,
        slope=slope,
        similar_at=tuple(int(x) for x in similar),
        different_at=tuple(int(x) for x in different),
    )


def sequential_decision(plan: SequentialPlan, answers: list[bool] | IntArray) -> tuple[SequentialDecision, int]:
    """Read a run of answers against the plan.

    Parameters
    ----------
    plan
        The plan.
    answers
        Answers in the order in which they came: true or 1 for a correct one, shape (n,).

    Returns
    -------
    SequentialDecision
        What the plan says.
    int
        Number of answers after which it said so. Answers given later are not looked at.

    Raises
    ------
    QuantityError
        If an answer is neither 0 nor 1.
    """
    given = np.asarray(answers)
    if given.ndim != 1 or not bool(np.all((given == 0) | (given == 1))):
        raise QuantityError(say("Answers must be a plain list of true and false, or of 1 and 0, in the order given."))
    correct = np.cumsum(given.astype(int))
    for n, count in enumerate(correct[: plan.most_answers], start=1):
        if count >= plan.different_at[n - 1]:
            return SequentialDecision.DIFFERENT, n
        if count <= plan.similar_at[n - 1]:
            return SequentialDecision.SIMILAR, n
    if correct.size >= plan.most_answers:
        return SequentialDecision.UNDECIDED, plan.most_answers
    return SequentialDecision.GO_ON, int(correct.size)


def sequential_characteristic(plan: SequentialPlan, share: float | FloatArray) -> SequentialCharacteristic:
    """Exact operating characteristic of a plan with its last answer.

    Parameters
    ----------
    plan
        The plan.
    share
        True shares of correct answers, one or shape (k,).

    Returns
    -------
    SequentialCharacteristic
        Probabilities of the three ends and expected number of answers at each share.

    Raises
    ------
    QuantityError
        If a share is not between 0 and 1.
    """
    shares = np.atleast_1d(np.asarray(share, dtype=np.float64))
    if not bool(np.all((shares >= 0.0) & (shares <= 1.0))):
        raise QuantityError(say("A share of correct answers must lie between 0 and 1."))
    right, wrong = shares[:, None], 1.0 - shares[:, None]
    going = np.zeros((shares.size, plan.most_answers + 1))  # [share, correct answers so far], still undecided
    going[:, 0] = 1.0
    different, similar, expected = np.zeros(shares.size), np.zeros(shares.size), np.zeros(shares.size)
    for n in range(plan.most_answers):
        expected += going.sum(axis=1)
        step = going * wrong
        step[:, 1:] += going[:, :-1] * right
        top, bottom = plan.different_at[n], plan.similar_at[n] + 1
        different += step[:, top:].sum(axis=1)
        similar += step[:, :bottom].sum(axis=1)
        step[:, top:] = 0.0
        step[:, :bottom] = 0.0
        going = step
    return SequentialCharacteristic(shares, different, similar, going.sum(axis=1), expected)


def wald_expected_answers(plan: SequentialPlan, share: float) -> float:
    """Wald's approximation to the expected number of answers of a plan without a last answer.

    Parameters
    ----------
    plan
        The plan.
    share
        True share of correct answers, above 0 and below 1.

    Returns
    -------
    float
        Expected number of answers. It leaves out how far the count jumps over a line, so it is a little too small.

    Raises
    ------
    QuantityError
        If the share is not above 0 and below 1.
    """
    check_probability(share, "share")
    to_similar = math.log(plan.beta / (1.0 - plan.alpha))
    to_different = math.log((1.0 - plan.beta) / plan.alpha)
    gain_right = math.log(plan.other_share / plan.null_share)
    gain_wrong = math.log((1.0 - plan.other_share) / (1.0 - plan.null_share))
    drift = share * gain_right + (1.0 - share) * gain_wrong
    if abs(drift) < 1e-6 * gain_right:  # on the slope of the lines the run is a fair walk: the variance carries it
        return -to_similar * to_different / (share * gain_right**2 + (1.0 - share) * gain_wrong**2)
    chance_similar = _wald_similar(gain_right, gain_wrong, share, to_similar, to_different)
    return (chance_similar * to_similar + (1.0 - chance_similar) * to_different) / drift


def _wald_similar(right: float, wrong: float, share: float, to_similar: float, to_different: float) -> float:
    """Wald's chance of "similar": through the exponent h for which the mean of exp(h step) is 1."""

    def log_mean(h: float) -> float:
        return float(np.logaddexp(math.log(share) + h * right, math.log1p(-share) + h * wrong))

    sign = -1.0 if share * right + (1.0 - share) * wrong > 0.0 else 1.0
    low, high = 0.0, 1e-3
    while log_mean(sign * high) < 0.0:
        low, high = high, 2.0 * high
    for _ in range(100):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if log_mean(sign * middle) < 0.0 else (low, middle)
    h = sign * 0.5 * (low + high)
    return math.expm1(h * to_different) / (math.exp(h * to_different) - math.exp(h * to_similar))
