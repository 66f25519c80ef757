"""A difference or similarity test planned before the tasting, and read after it against its plan."""

from dataclasses import dataclass
from enum import StrEnum
from math import ceil, isnan
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.panel._discrimination_psychometric import method_word
from evenhand.panel.discrimination import (
    DifferenceResult,
    ForcedChoice,
    ReplicatedResult,
    SimilarityResult,
    answers_for_difference,
    answers_for_similarity,
    d_prime_from_proportion,
    difference_power,
    difference_test,
    discriminators_from_proportion,
    proportion_correct,
    proportion_from_discriminators,
    reading,
    replicated_test,
    similarity_power,
    similarity_test,
)
from evenhand.words import Words, join, say

CUPS_AN_ANSWER: Final = {
    ForcedChoice.TRIANGLE: 3,
    ForcedChoice.DUO_TRIO: 3,
    ForcedChoice.PAIRED: 2,
    ForcedChoice.THREE_AFC: 3,
    ForcedChoice.TETRAD: 4,
}
"""Cups that one answer takes, the reference of the duo-trio included."""


class Aim(StrEnum):
    """What the test is to show: that two coffees differ, or that they do not differ by as much as would matter."""

    DIFFERENCE = "difference"
    SIMILARITY = "similarity"


@dataclass(frozen=True, slots=True)
class PlannedTest:
    """A test as fixed before the tasting.

    Attributes
    ----------
    aim, method, alpha
        What is asked, how, and the risk of saying so wrongly.
    d_prime, discriminators
        The difference that matters, in both ways of saying it.
    power
        Chance of success wanted: of finding that difference, or of showing similarity if the truth is `true_d_prime`.
    true_d_prime
        For similarity: how far apart the coffees are taken to be.
    answers, critical
        How many answers, and the correct ones at which the test shows what it aims at: that many or more for a
        difference, that many or fewer for similarity.
    tasters, answers_a_taster, cups
        Who; how many answers each, rounded up; cups in all for `answers`.
    says
        The plan in sentences.
    """

    aim: Aim
    method: ForcedChoice
    alpha: float
    d_prime: float
    discriminators: float
    power: float
    true_d_prime: float
    answers: int
    critical: int
    tasters: int
    answers_a_taster: int
    cups: int
    says: str


@dataclass(frozen=True, slots=True)
class PlannedReading:
    """What a planned test showed.

    Attributes
    ----------
    plan
        The plan it is read against.
    shown
        Whether it shows what it aimed at.
    p_value
        Exact, all answers together.
    power
        Chance of success that so many answers gave; the plan's where all came.
    result
        The test in full, from `evenhand.panel.discrimination`.
    replicated
        The same with the spread between tasters allowed for; None where no taster answered twice, or there is one only.
    says
        What it shows, and what it does not show.
    """

    plan: PlannedTest
    shown: bool
    p_value: float
    power: float
    result: DifferenceResult | SimilarityResult
    replicated: ReplicatedResult | None
    says: str


def plan_difference(
    method: ForcedChoice,
    tasters: int,
    *,
    d_prime: float | None = None,
    discriminators: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
) -> PlannedTest:
    """Plan a test that is to find a difference, if there is one that matters.

    Parameters
    ----------
    method
        How to ask.
    tasters
        How many will taste.
    d_prime, discriminators
        The smallest difference that matters. Give exactly one of the two.
    power, alpha
        Chance of finding it, and risk of finding one that is not there.

    Returns
    -------
    PlannedTest

    Raises
    ------
    DesignError, QuantityError
        If the difference, power or risk is impossible or there is no taster.
    """
    method, d, share = _difference(method, tasters, d_prime, discriminators, alpha)
    needed = answers_for_difference(method, power=power, alpha=alpha, discriminators=share)
    return _plan(Aim.DIFFERENCE, method, alpha, d, share, power, 0.0, needed.holds, needed.critical_holds, tasters)


def plan_similarity(
    method: ForcedChoice,
    tasters: int,
    *,
    d_prime: float | None = None,
    discriminators: float | None = None,
    power: float = 0.8,
    alpha: float = 0.05,
    true_d_prime: float = 0.0,
) -> PlannedTest:
    """Plan a test that is to show two coffees to be closer than a difference that matters.

    Parameters
    ----------
    method, tasters
        As in `plan_difference`.
    d_prime, discriminators
        The limit. Give exactly one of the two.
    power, alpha
        Chance of showing similarity if the coffees are `true_d_prime` apart, and risk of saying so at the limit.
    true_d_prime
        How far apart they are taken to be; lots of two harvests are hardly ever 0 apart.

    Returns
    -------
    PlannedTest

    Raises
    ------
    DesignError, QuantityError
        If the limit, truth, power or risk is impossible or there is no taster.
    """
    method, d, share = _difference(method, tasters, d_prime, discriminators, alpha)
    needed = answers_for_similarity(method, power=power, alpha=alpha, discriminators=share, true_d_prime=true_d_prime)
    return _plan(
        Aim.SIMILARITY, method, alpha, d, share, power, true_d_prime, needed.holds, needed.critical_holds, tasters
    )


def read_test(plan: PlannedTest, correct: ArrayLike, answers: ArrayLike) -> PlannedReading:
    """Read a test against its plan.

    Parameters
    ----------
    plan
        Fixed before the tasting.
    correct, answers
        Correct answers and all answers of each taster, shape (tasters,).

    Returns
    -------
    PlannedReading

    Raises
    ------
    DesignError
        If the arrays do not fit together.
    QuantityError
        If counts are impossible.

    Notes
    -----
    Where tasters answered more than once, similarity must hold with the spread between tasters allowed for as well:
    answers of one taster go together, and the bound of the pooled answers is then too narrow. The p-value of a
    difference needs no such care: if nobody can tell, every answer is a guess.
    """
    right, asked = _counts(correct, answers)
    total, hits = int(asked.sum()), int(right.sum())
    replicated = None
    if asked.size > 1 and bool(np.any(asked > 1)):
        replicated = replicated_test(right, asked, plan.method, level=1.0 - 2.0 * plan.alpha)
    result: DifferenceResult | SimilarityResult
    if plan.aim is Aim.DIFFERENCE:
        difference = difference_test(hits, total, plan.method, alpha=plan.alpha, power=plan.power)
        power = difference_power(total, plan.method, alpha=plan.alpha, discriminators=plan.discriminators)
        result, shown, p_value = difference, difference.different, difference.p_value
    else:
        similarity = similarity_test(hits, total, plan.method, alpha=plan.alpha, discriminators=plan.discriminators)
        power = similarity_power(
            total, plan.method, alpha=plan.alpha, discriminators=plan.discriminators, true_d_prime=plan.true_d_prime
        )
        result, shown, p_value = similarity, similarity.similar, similarity.p_value
        if replicated is not None:
            shown = shown and replicated.discriminators_interval[1] <= plan.discriminators
    said = _reading_words(plan, result, replicated, shown, total, int(asked.size), power)
    return PlannedReading(plan, shown, p_value, power, result, replicated, said)


def _difference(
    method: ForcedChoice, tasters: int, d_prime: float | None, discriminators: float | None, alpha: float
) -> tuple[ForcedChoice, float, float]:
    """Give the difference in both ways of saying it."""
    method = ForcedChoice(method)
    if int(tasters) != tasters or tasters < 1:
        raise QuantityError(say("A test needs at least one taster, not {tasters}.", tasters=tasters))
    if not 0 < alpha < 0.5:
        raise QuantityError(
            say("alpha is {alpha:g}, but a risk that one plans with lies above 0 and below 0.5.", alpha=alpha)
        )
    if (d_prime is None) == (discriminators is None):
        raise DesignError(say("State the difference in exactly one way: a share of discriminators, or d_prime."))
    if d_prime is not None:
        if not 0 < d_prime < 20:
            raise QuantityError(
                say("d_prime is {d_prime:g}, but a difference that matters lies above 0 and below 20.", d_prime=d_prime)
            )
        return (
            method,
            d_prime,
            float(discriminators_from_proportion(float(proportion_correct(d_prime, method)), method)),
        )
    if discriminators is None or not 0 < discriminators < 1:
        raise QuantityError(
            say("The share of discriminators is {share}, but must lie between 0 and 1.", share=discriminators)
        )
    share = float(proportion_from_discriminators(discriminators, method))
    return method, float(d_prime_from_proportion(share, method)), discriminators


def _plan(
    aim: Aim,
    method: ForcedChoice,
    alpha: float,
    d_prime: float,
    share: float,
    power: float,
    truth: float,
    answers: int,
    critical: int,
    tasters: int,
) -> PlannedTest:
    each = ceil(answers / tasters)
    cups = answers * CUPS_AN_ANSWER[method]
    parts = [
        say(
            "{answers} {method} answers ({each} from each of {tasters} tasters, {cups} cups).",
            answers=answers,
            method=method_word(method),
            each=each,
            tasters=tasters,
            cups=cups,
        ),
        *_promise(aim, critical, d_prime, share, power, truth),
    ]
    if each > 1 and tasters > 1:
        parts.append(
            say("The power counts answers as independent; tasters who differ in how well they tell make it less.")
        )
    if tasters == 1:
        parts.append(say("With one taster the answer holds for that taster alone."))
    said = join(parts, " ")
    return PlannedTest(aim, method, alpha, d_prime, share, power, truth, answers, critical, tasters, each, cups, said)


def _promise(aim: Aim, critical: int, d_prime: float, share: float, power: float, truth: float) -> tuple[Words, Words]:
    """Say what so many correct answers would show, and how likely the test is to show it."""
    size = say("d' {d_prime:.2f} ({share:.0f} % discriminators)", d_prime=d_prime, share=100 * share)
    chance = 100 * power
    if aim is Aim.DIFFERENCE:
        return (
            say("With {critical} or more correct the lots can be told apart.", critical=critical),
            say(
                "A difference of {size} is found with {chance:.0f} % chance; a smaller one may be missed, and missing "
                "it does not show the lots to be alike.",
                size=size,
                chance=chance,
            ),
        )
    lead = say("With {critical} or fewer correct the lots differ by less than {size}.", critical=critical, size=size)
    if truth == 0:
        return lead, say(
            "If they are the same, that is shown with {chance:.0f} % chance; if it is not shown, they need not differ.",
            chance=chance,
        )
    return lead, say(
        "If they are d' {truth:.2f} apart, that is shown with {chance:.0f} % chance; if it is not shown, they need not "
        "differ.",
        truth=truth,
        chance=chance,
    )


def _counts(correct: ArrayLike, answers: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    right, asked = np.atleast_1d(np.asarray(correct)), np.atleast_1d(np.asarray(answers))
    if right.ndim != 1 or right.shape != asked.shape or asked.size == 0:
        raise DesignError(say("Correct answers and answers must be lists of one length, one entry a taster."))
    if not np.all(
        (right == np.floor(right)) & (asked == np.floor(asked)) & (right >= 0) & (asked >= right) & (asked > 0)
    ):
        raise QuantityError(
            say("Each taster's counts must be whole, with 0 <= correct <= answers and at least one answer.")
        )
    return right.astype(np.int64), asked.astype(np.int64)


def _reading_words(
    plan: PlannedTest,
    result: DifferenceResult | SimilarityResult,
    replicated: ReplicatedResult | None,
    shown: bool,
    total: int,
    tasters: int,
    power: float,
) -> Words:
    parts: list[str] = [reading(result)]
    if isinstance(result, SimilarityResult) and replicated is not None and result.similar and not shown:
        parts.append(
            say(
                "But tasters differ in how well they tell: with that allowed for, the share of discriminators may be "
                "as large as {upper:.0f} %, so similarity is not shown after all.",
                upper=100 * replicated.discriminators_interval[1],
            )
        )
    if total < plan.answers and not isnan(power):
        parts.append(
            say(
                "Only {answers} of {planned} planned answers came; so many had a {chance:.0f} % chance of success, not "
                "{wanted:.0f} %.",
                answers=total,
                planned=plan.answers,
                chance=100 * power,
                wanted=100 * plan.power,
            )
        )
    elif total > plan.answers_a_taster * plan.tasters:
        parts.append(
            say(
                "{answers} answers came for {planned} planned: if tasting went on because the result did not please, "
                "the risk of a wrong answer is larger than stated.",
                answers=total,
                planned=plan.answers,
            )
        )
    if not shown and plan.aim is Aim.DIFFERENCE:
        parts.append(say("To show that the lots are alike, plan a similarity test."))
    if tasters == 1:
        parts.append(say("One taster answered, so this holds for that taster alone."))
    return join(parts, " ")
