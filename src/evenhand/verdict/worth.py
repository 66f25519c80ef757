"""What the next cup is worth: the loss it would save on average, against its price.

A further tasting is worth its price only where it can change the choice. Its worth is the expected cost of the better
of release and hold now, less the expected cost of the better of them once its sheets are in.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from evenhand.errors import DesignError
from evenhand.verdict.cost import Costs, expected_hold, expected_release
from evenhand.verdict.tolerance import joint_within
from evenhand.words import join, say, say_many

__all__ = ["Belief", "Tasting", "best", "most_it_could_save", "of_tasting", "one_attribute"]

FloatArray = NDArray[np.float64]

_OUTCOMES = 192  # possible outcomes of a tasting
_ROUGH_OUTCOMES = 48  # as many for a first look
_LOOK_AGAIN = 2  # tastings that are worth the longer look
_SLACK = 1.3  # allowance for the error of a first look
_WIDE = 1.8  # spread of the wider half of the outcomes
_POINTS = 64  # of the lattice, ample where outcomes average its error out


@dataclass(frozen=True, slots=True, kw_only=True)
class Tasting:
    """One possible next tasting: how many new pulls in each service, each tasted by the same number of tasters."""

    pulls: tuple[tuple[str, int], ...]
    tasters: int

    def price(self, costs: Costs) -> float:
        """Price of its pulls and tastes, in the currency of the costs."""
        count = sum(number for _, number in self.pulls)
        return count * (costs.one_pull + self.tasters * costs.one_taste)

    def words(self) -> str:
        """Say what to do, for example "1 more pull in milk, tasted by 2"."""
        pulls = join([_more_pulls(service, number) for service, number in self.pulls], " and ")
        if sum(number for _, number in self.pulls) > 1:
            return say_many(
                "{pulls}, each tasted by {count} taster",
                "{pulls}, each tasted by {count} tasters",
                count=self.tasters,
                pulls=pulls,
            )
        return say_many(
            "{pulls}, tasted by {count} taster", "{pulls}, tasted by {count} tasters", count=self.tasters, pulls=pulls
        )


def _more_pulls(service: str, number: int) -> str:
    if service == "black":
        return say_many("{count} more pull black", "{count} more pulls black", count=number)
    if service == "milk":
        return say_many("{count} more pull in milk", "{count} more pulls in milk", count=number)
    if service == "bowl":
        return say_many("{count} more pull in the bowl", "{count} more pulls in the bowl", count=number)
    return say_many("{count} more pull {service}", "{count} more pulls {service}", count=number, service=service)


@dataclass(frozen=True, slots=True, kw_only=True)
class Belief:
    """What is believed of one batch before the next cup.

    Attributes
    ----------
    mean, covariance
        Level of each attribute, points: shapes (attributes,) and (attributes, attributes).
    low, high
        Limits of tolerance, points, shape (attributes,).
    service
        Service of each attribute, length attributes.
    pull_var, taster_var, sheet_var
        Noise of a new sheet, points squared, shape (attributes,): the part shared by a pull, the part of a taster on
        this batch, and the part of one sheet.
    noise_correlation
        Shape (attributes, attributes).
    met, sheets
        How many tasters have scored the batch already, and with how many scores in all, shape (attributes,).
    panel
        How many tasters there are: those who have not met the batch are asked first.
    p_within
        Probability that all attributes lie inside their limits.
    p_fault
        Probability of each fault, shape (faults,).
    sensitivity, false_alarm
        Rates of the panel's mean taster for each fault, shape (faults,).
    """

    mean: FloatArray
    covariance: FloatArray
    low: FloatArray
    high: FloatArray
    service: tuple[str, ...]
    pull_var: FloatArray
    taster_var: FloatArray
    sheet_var: FloatArray
    noise_correlation: FloatArray
    met: FloatArray
    sheets: FloatArray
    panel: int
    p_within: float
    p_fault: FloatArray
    sensitivity: FloatArray
    false_alarm: FloatArray

    @property
    def p_good(self) -> float:
        """Probability of a profile within tolerance and no fault, taken as independent."""
        return float(self.p_within * np.prod(1.0 - self.p_fault))


def most_it_could_save(p_good: float, costs: Costs) -> float:
    """Expected cost of the better choice now: what perfect knowledge of the batch would save."""
    return min(expected_release(p_good, costs), expected_hold(p_good, costs))


def one_attribute(mean: float, sd: float, low: float, high: float, noise_sd: float, costs: Costs) -> float:
    """Worth of one measurement of the only attribute that matters, exact to quadrature.

    The belief is normal (mean, sd); the measurement adds normal noise. The mean after it is normal with variance
    sd^4 / (sd^2 + noise_sd^2); at each of its values the probability within tolerance is known in closed form.

    Parameters
    ----------
    mean, sd, low, high, noise_sd
        Points of the scale; `sd` and `noise_sd` above 0.

    Raises
    ------
    DesignError
        If a standard deviation is not positive or the limits are out of order.
    """
    if not (sd > 0 and noise_sd > 0 and low < high):
        raise DesignError(say("A belief needs s.d. above 0 and limits in order."))
    gain = sd**2 / (sd**2 + noise_sd**2)
    after_sd, move = sd * np.sqrt(1 - gain), sd * np.sqrt(gain)
    nodes = np.linspace(-8.0, 8.0, 20001)
    centre = mean + move * nodes
    p = ndtr((high - centre) / after_sd) - ndtr((low - centre) / after_sd)
    better = np.minimum(costs.wrong_release * (1 - p), costs.wrong_hold * p)
    weight = np.exp(-0.5 * nodes**2)
    now = ndtr((high - mean) / sd) - ndtr((low - mean) / sd)
    return float(most_it_could_save(float(now), costs) - weight @ better / weight.sum())


def of_tasting(belief: Belief, tasting: Tasting, costs: Costs, rng: np.random.Generator) -> float:
    """Worth of one tasting of a batch, averaged over what it may show.

    With one attribute and no fault the answer is `one_attribute`. Otherwise outcomes of the tasting are drawn; after
    each, the levels are normal with a mean and a covariance in closed form, which `joint_within` turns into the
    probability within tolerance, and every fault's probability follows from Bayes' theorem. In the currency of the
    costs; never below 0, never above `most_it_could_save`.

    Parameters
    ----------
    rng
        Source of randomness; the same state gives the same answer.
    """
    return _worth(belief, tasting, costs, rng, _OUTCOMES)


def best(belief: Belief, tastings: Sequence[Tasting], costs: Costs, rng: np.random.Generator) -> tuple[Tasting, float]:
    """Find the tasting with the largest worth less price; give it with its worth.

    Where even perfect knowledge, or the tasting that shows most, would not pay for the cheapest one, that one is given
    with its own worth: tasting again then does not pay.

    Raises
    ------
    DesignError
        If no tasting is offered.
    """
    if not tastings:
        raise DesignError(say("There is no tasting to choose from."))
    cheapest = min(tastings, key=lambda tasting: tasting.price(costs))
    ceiling = most_it_could_save(belief.p_good, costs)
    if ceiling > cheapest.price(costs):
        # No tasting is worth more than the one that shows most: what costs more than that need not be looked at.
        fullest = max(tastings, key=lambda tasting: (sum(number for _, number in tasting.pulls), tasting.tasters))
        ceiling = min(ceiling, _SLACK * _worth(belief, fullest, costs, rng, _ROUGH_OUTCOMES))
    affordable = [tasting for tasting in tastings if tasting.price(costs) < ceiling] or [cheapest]
    if len(affordable) > _LOOK_AGAIN:
        rough = [_worth(belief, tasting, costs, rng, _ROUGH_OUTCOMES) - tasting.price(costs) for tasting in affordable]
        affordable = [affordable[index] for index in np.argsort(rough, kind="stable")[::-1][:_LOOK_AGAIN]]
    worths = [of_tasting(belief, tasting, costs, rng) for tasting in affordable]
    index = int(np.argmax([worth - tasting.price(costs) for worth, tasting in zip(worths, affordable, strict=True)]))
    return affordable[index], worths[index]


def _worth(belief: Belief, tasting: Tasting, costs: Costs, rng: np.random.Generator, outcomes: int) -> float:
    if len(belief.mean) == 1 and len(belief.p_fault) == 0:
        return _exact(belief, tasting, costs)
    p_within, p_before, within_weight = _within_after(belief, tasting, rng, outcomes)
    p_quiet, quiet_weight = _quiet_after(belief, tasting, rng, outcomes)
    p_good = p_before * float(np.prod(1.0 - belief.p_fault))
    p_after = p_within * p_quiet
    weight = within_weight * quiet_weight
    weight /= weight.sum()
    after = np.minimum(costs.wrong_release * (1.0 - p_after), costs.wrong_hold * p_after)
    # The probability after the tasting averages to that before it: what the sample misses of that is taken out again.
    mean = float(weight @ p_after)
    spread = float(weight @ (p_after - mean) ** 2)
    slope = float(weight @ ((p_after - mean) * after)) / spread if spread > 1e-300 else 0.0
    expected = float(weight @ after) - slope * (mean - p_good)
    worth = most_it_could_save(p_good, costs) - expected
    return min(max(worth, 0.0), most_it_could_save(belief.p_good, costs))


def _noise(belief: Belief, tasting: Tasting) -> tuple[NDArray[np.intp], FloatArray]:
    """Which attributes the tasting scores, and the covariance of what their new scores say about the true levels."""
    pulls = dict(tasting.pulls)
    number = np.array([pulls.get(service, 0) for service in belief.service], dtype=float)
    scored = np.flatnonzero(number > 0)
    root = 1.0 / np.sqrt(_told(belief, tasting.tasters, number[scored], scored))
    return scored, belief.noise_correlation[np.ix_(scored, scored)] * np.outer(root, root)


def _told(belief: Belief, tasters: int, number: FloatArray, scored: NDArray[np.intp]) -> FloatArray:
    """What a tasting says of each level: a precision, points to the minus two.

    A taster new to the batch brings a part of their own on it. One who has met it brings the same part again, and what
    they say twice tells their part better, but not the batch beyond it. Their earlier scores are taken as spread evenly
    over those who gave them. The level, what the pulls do, and the mean part of those who come back have a joint normal
    law; the precision is what the new scores add to that of the level in it, the other two being integrated out.
    """
    least = 1e-12
    own, sheet = (np.maximum(one[scored], least) for one in (belief.taster_var, belief.sheet_var))
    met, sheets = belief.met[scored], np.maximum(belief.sheets[scored], 1.0)
    again = np.clip(tasters - (belief.panel - met), 0.0, np.minimum(met, tasters))
    before = again * sheets / (sheet * np.maximum(met, 1.0))  # precision of the mean of their earlier scores
    now, fresh = again * number / sheet, (tasters - again) / (own + sheet / number)
    pulls = 1.0 / np.maximum(belief.pull_var[scored] / number, least) + now + fresh
    parts = np.maximum(again, least) / own + before + now
    with_pulls, with_parts = now + fresh, before + now
    other = with_pulls**2 * parts - 2.0 * with_pulls * with_parts * now + with_parts**2 * pulls
    after = before + now + fresh - other / (pulls * parts - now**2)
    gained: FloatArray = np.maximum(after - before / (1.0 + before * own / np.maximum(again, least)), least)
    return gained


def _within_after(
    belief: Belief, tasting: Tasting, rng: np.random.Generator, outcomes: int
) -> tuple[FloatArray, float, FloatArray]:
    """Probability within tolerance after each outcome, before any, and the outcomes' weights."""
    d = len(belief.mean)
    scored, noise = _noise(belief, tasting)
    before = belief.covariance + 1e-12 * np.eye(d)
    gain = (
        np.linalg.solve(before[np.ix_(scored, scored)] + noise, before[scored]).T if len(scored) else np.zeros((d, 0))
    )
    move = gain @ before[scored]  # covariance of the mean's move
    after = before - move
    values, vectors = np.linalg.eigh(0.5 * (move + move.T))
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    # Half of the outcomes are drawn from a law twice as wide, so that the rare ones that turn a choice are met.
    wide = rng.random(outcomes) < 0.5
    z = rng.standard_normal((outcomes, d)) * np.where(wide, _WIDE, 1.0)[:, None]
    square = np.sum(z**2, axis=1)
    ratio = np.exp(0.5 * square * (1.0 - 1.0 / _WIDE**2) - d * np.log(_WIDE))  # wide density over the true one
    weight = 1.0 / (0.5 + 0.5 * ratio)
    centre = np.vstack([belief.mean + z @ root.T, belief.mean])
    p = _inside(centre[:-1], after, belief)
    return p, float(_inside(centre[-1:], before, belief)[0]), weight


def _inside(mean: FloatArray, covariance: FloatArray, belief: Belief) -> FloatArray:
    """Probability within all limits for normal levels of one covariance and several means, shape (means,)."""
    sd = np.sqrt(np.diag(covariance))
    low, high = ndtr((belief.low - mean) / sd), ndtr((belief.high - mean) / sd)
    correlation = covariance / np.outer(sd, sd)
    return joint_within(low, high, np.broadcast_to(correlation, (len(mean), *correlation.shape)), points=_POINTS)


def _quiet_after(
    belief: Belief, tasting: Tasting, rng: np.random.Generator, outcomes: int
) -> tuple[FloatArray, FloatArray]:
    """Probability of no fault after each outcome of the new reports, and the outcomes' weights."""
    faults = len(belief.p_fault)
    if not faults:
        return np.ones(outcomes), np.ones(outcomes)
    asked = sum(number for _, number in tasting.pulls) * tasting.tasters
    sens = np.clip(belief.sensitivity, 1e-6, 1 - 1e-6)
    alarm = np.clip(belief.false_alarm, 1e-6, 1 - 1e-6)
    prior = np.clip(belief.p_fault, 1e-12, 1 - 1e-12)
    # Half of the outcomes take one fault for granted, so that a rare fault is met and its silence too.
    taken = np.where(rng.random(outcomes) < 0.5, rng.integers(0, faults, outcomes), -1)
    present = rng.random((outcomes, faults)) < prior
    present[np.flatnonzero(taken >= 0), taken[taken >= 0]] = True
    heard = rng.binomial(asked, np.where(present, sens, alarm))
    gain = heard * np.log(sens / alarm) + (asked - heard) * np.log((1 - sens) / (1 - alarm))
    odds = np.exp(np.clip(gain, -500, 500))
    p_after = prior * odds / (prior * odds + 1.0 - prior)
    # The density of an outcome with a fault taken for granted, over its true one, is p after / p before of that fault.
    weight = 1.0 / (0.5 + 0.5 * np.mean(p_after / prior, axis=1))
    return np.prod(1.0 - p_after, axis=1), weight


def _exact(belief: Belief, tasting: Tasting, costs: Costs) -> float:
    scored, noise = _noise(belief, tasting)
    if not len(scored):
        return 0.0
    sd, noise_sd = float(np.sqrt(belief.covariance[0, 0])), float(np.sqrt(noise[0, 0]))
    return one_attribute(float(belief.mean[0]), sd, float(belief.low[0]), float(belief.high[0]), noise_sd, costs)
