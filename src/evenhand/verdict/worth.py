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

__all__ = ["Belief", "Tasting", "best", "most_it_could_save", "of_tasting", "one_attribute"]

FloatArray = NDArray[np.float64]

_STATES = 1024  # possible truths of the batch
_SHEETS = 256  # possible outcomes of the tasting
_ROUGH_SHEETS = 48  # as many for a first look at each tasting
_LOOK_AGAIN = 2  # tastings that are worth the longer look
_ROUGH_SLACK = 1.3  # allowance for the simulation's own error in what the fullest tasting is worth


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
        names = {"black": "black", "milk": "in milk", "bowl": "in the bowl"}
        parts = []
        for service, number in self.pulls:
            parts.append(f"{number} more {'pull' if number == 1 else 'pulls'} {names.get(service, service)}")
        each = "each tasted" if sum(number for _, number in self.pulls) > 1 else "tasted"
        return f"{' and '.join(parts)}, {each} by {self.tasters} {'taster' if self.tasters == 1 else 'tasters'}"


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
        raise DesignError("A belief needs s.d. above 0 and limits in order.")
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
    """Worth of one tasting of a batch, by simulation over what it may show.

    With one attribute and no fault the answer is `one_attribute`. Otherwise truths are drawn from the belief; for
    outcomes drawn from good and from bad truths alike, Bayes' theorem gives the probability of a good batch after the
    tasting, and the outcomes are weighted so that the probability before it is exactly `belief.p_good`. In the
    currency of the costs; never below 0.

    Parameters
    ----------
    rng
        Source of randomness; the same state gives the same answer.
    """
    if len(belief.mean) == 1 and len(belief.p_fault) == 0:
        return _exact(belief, tasting, costs)
    truth = _draw_truths(belief, rng)
    return 0.0 if truth is None else _worth(belief, truth, tasting, costs, rng, _SHEETS)


def best(belief: Belief, tastings: Sequence[Tasting], costs: Costs, rng: np.random.Generator) -> tuple[Tasting, float]:
    """Find the tasting with the largest worth less price; give it with its worth.

    Where perfect knowledge would not pay for the cheapest tasting nothing is simulated: the worth given is then that
    upper bound, which is not above the price.

    Raises
    ------
    DesignError
        If no tasting is offered.
    """
    if not tastings:
        raise DesignError("There is no tasting to choose from.")
    cheapest = min(tastings, key=lambda tasting: tasting.price(costs))
    ceiling = most_it_could_save(belief.p_good, costs)
    if ceiling <= cheapest.price(costs):
        return cheapest, ceiling
    truth = _draw_truths(belief, rng)
    if truth is None:
        return cheapest, 0.0
    # No tasting is worth more than the one that shows most: what costs more than that need not be looked at.
    fullest = max(tastings, key=lambda tasting: (sum(number for _, number in tasting.pulls), tasting.tasters))
    ceiling = min(ceiling, _worth(belief, truth, fullest, costs, rng, _SHEETS) * _ROUGH_SLACK)
    affordable = [tasting for tasting in tastings if tasting.price(costs) < ceiling]
    if not affordable:
        return cheapest, min(ceiling, cheapest.price(costs))
    rough = [_worth(belief, truth, tasting, costs, rng, _ROUGH_SHEETS) - tasting.price(costs) for tasting in affordable]
    short_list = [affordable[index] for index in np.argsort(rough, kind="stable")[::-1][:_LOOK_AGAIN]]
    worths = [_worth(belief, truth, tasting, costs, rng, _SHEETS) for tasting in short_list]
    index = int(np.argmax([worth - tasting.price(costs) for worth, tasting in zip(worths, short_list, strict=True)]))
    return short_list[index], worths[index]


def _exact(belief: Belief, tasting: Tasting, costs: Costs) -> float:
    pulls = dict(tasting.pulls).get(belief.service[0], 0)
    if pulls == 0:
        return 0.0
    people = tasting.tasters
    noise = belief.pull_var[0] / pulls + belief.taster_var[0] / people + belief.sheet_var[0] / (pulls * people)
    sd, noise_sd = float(np.sqrt(belief.covariance[0, 0])), float(np.sqrt(max(noise, 1e-12)))
    return one_attribute(float(belief.mean[0]), sd, float(belief.low[0]), float(belief.high[0]), noise_sd, costs)


@dataclass(frozen=True, slots=True)
class _Truths:
    level: FloatArray  # (states, attributes)
    fault: FloatArray  # (states, faults), 0 or 1
    weight: FloatArray  # (states,): makes the share of good truths p_good
    good: NDArray[np.bool_]  # (states,)


def _draw_truths(belief: Belief, rng: np.random.Generator) -> _Truths | None:
    d, f = len(belief.mean), len(belief.p_fault)
    root = np.linalg.cholesky(belief.covariance + 1e-12 * np.eye(d)) if d else np.zeros((0, 0))
    level = belief.mean + rng.standard_normal((_STATES, d)) @ root.T
    inside = np.all((level >= belief.low) & (level <= belief.high), axis=1)
    fault = (rng.random((_STATES, f)) < belief.p_fault).astype(float)
    good = inside & ~fault.any(axis=1)
    if not 8 <= good.sum() <= _STATES - 8:
        return None
    weight = np.where(good, belief.p_good / good.sum(), (1.0 - belief.p_good) / (~good).sum())
    return _Truths(level, fault, weight, good)


def _worth(
    belief: Belief, truth: _Truths, tasting: Tasting, costs: Costs, rng: np.random.Generator, sheets: int
) -> float:
    half = sheets // 2
    picked = np.concatenate(
        [rng.choice(np.flatnonzero(truth.good), half), rng.choice(np.flatnonzero(~truth.good), half)]
    )
    chance = np.concatenate([np.full(half, belief.p_good / half), np.full(half, (1.0 - belief.p_good) / half)])
    # Each row an outcome, each column a truth; single precision is ample for a simulation and twice as fast.
    log_likelihood = np.zeros((sheets, _STATES), dtype=np.float32)
    pulls = dict(tasting.pulls)
    heard_in = np.array([pulls.get(service, 0) for service in belief.service], dtype=float)
    tasted = np.flatnonzero(heard_in > 0)
    if len(tasted):
        number, people = heard_in[tasted], tasting.tasters
        noise = (
            belief.pull_var[tasted] / number
            + belief.taster_var[tasted] / people
            + belief.sheet_var[tasted] / (number * people)
        )
        root = np.sqrt(np.maximum(noise, 1e-12))
        covariance = belief.noise_correlation[np.ix_(tasted, tasted)] * np.outer(root, root)
        whiten = np.linalg.inv(np.linalg.cholesky(covariance + 1e-12 * np.eye(len(tasted))))
        at = (truth.level - belief.mean)[:, tasted] @ whiten.T
        shown = at[picked] + rng.standard_normal((sheets, len(tasted)))
        log_likelihood += shown.astype(np.float32) @ at.T.astype(np.float32)
        log_likelihood -= (0.5 * np.sum(at**2, axis=1)).astype(np.float32)
    asked = sum(pulls.values()) * tasting.tasters
    if len(belief.p_fault):
        sens = np.clip(belief.sensitivity, 1e-6, 1 - 1e-6)
        alarm = np.clip(belief.false_alarm, 1e-6, 1 - 1e-6)
        rate = np.where(truth.fault[picked] > 0, sens, alarm)
        heard = rng.binomial(asked, rate)
        odds = heard * np.log(sens / alarm) + (asked - heard) * np.log((1 - sens) / (1 - alarm))
        log_likelihood += odds.astype(np.float32) @ truth.fault.T.astype(np.float32)
    log_likelihood[np.arange(sheets), picked] = -np.inf  # an outcome may not vouch for the truth it came from
    log_likelihood -= log_likelihood.max(axis=1, keepdims=True)
    likelihood = np.exp(log_likelihood, out=log_likelihood)
    shares = np.stack([truth.weight * truth.good, truth.weight], axis=1).astype(np.float32)
    joint = (likelihood @ shares).astype(float)
    p_after = joint[:, 0] / joint[:, 1]
    after = np.minimum(costs.wrong_release * (1.0 - p_after), costs.wrong_hold * p_after)
    # The probability after the tasting averages to that before it: what the sample misses of that is taken out again.
    off = p_after - chance @ p_after
    spread = float(chance @ off**2)
    slope = float(chance @ (off * after)) / spread if spread > 0 else 0.0
    expected = float(chance @ after) - slope * (float(chance @ p_after) - belief.p_good)
    return max(most_it_could_save(belief.p_good, costs) - expected, 0.0)
