"""Several answers from each taster: the beta-binomial model, in which tasters differ in how well they tell.

Eight tasters with six triangles each are not 48 tasters. If some can tell and others cannot, answers of one taster go
together, and an interval that counts 48 independent answers is too short. The spread between tasters is measured by
``gamma``: 0 if all are alike, 1 if each is either always right or always wrong.

Two forms are offered. In the plain one a taster's share of correct answers may be anything from 0 to 1. In the
chance-corrected one it cannot fall below the guess rate, and ``gamma`` is the spread of the share above it.

References
----------
Ennis and Bi (1998), "The beta-binomial model: accounting for inter-trial variation in replicated difference and
preference tests", Journal of Sensory Studies 13, 389-412. Brockhoff (2003), "The statistical power of replications in
difference tests", Food Quality and Preference 14, 405-417 (chance-corrected form). Tarone (1979), "Testing the goodness
of fit of the binomial distribution", Biometrika 66, 585-590. Kunert and Meyners (1999), "On the triangle test with
replications", Food Quality and Preference 10, 477-482 (why the pooled test stays valid).
"""

import math
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, chdtri, gammaln, logsumexp, ndtr, xlogy

from evenhand.errors import DesignError, QuantityError
from evenhand.panel._discrimination_exact import IntArray, check_probability, upper_tail
from evenhand.panel._discrimination_psychometric import (
    FloatArray,
    ForcedChoice,
    d_prime_from_proportion,
    discriminators_from_proportion,
    guess_rate,
)
from evenhand.words import say

Interval = tuple[float, float]

_TINY = 1e-300
_GAMMA_POINTS = 41


@dataclass(frozen=True, slots=True)
class ReplicatedResult:
    """What a replicated forced-choice test showed.

    Attributes
    ----------
    method, corrected, tasters, correct, answers
        What was asked and counted.
    p_pooled
        Exact binomial p-value of all answers together. It holds even with replicates: if nobody can tell, every answer
        is a guess, and guesses do not cluster.
    p_allowing
        p-value of the question whether the *mean* share over tasters exceeds the guess rate, spread allowed for (plain
        beta-binomial, signed root of the likelihood ratio). It rests on the number of tasters being large.
    proportion, proportion_interval
        Mean share of correct answers, with its profile-likelihood interval, spread allowed for.
    discriminators, discriminators_interval, d_prime, d_prime_interval
        The same, as a share of discriminators and as a distance (the distance of the mean share, not the mean of the
        tasters' distances).
    gamma
        Spread between tasters.
    p_gamma
        p-value of the likelihood ratio for any spread at all (halved, as ``gamma`` cannot be below 0).
    effective_answers
        Number of independent answers that would tell as much about the mean as these; not a number in the corrected
        form.
    log_likelihood, binomial_log_likelihood
        At the fit, and with ``gamma`` 0.
    """

    method: ForcedChoice
    corrected: bool
    tasters: int
    correct: int
    answers: int
    p_pooled: float
    p_allowing: float
    proportion: float
    proportion_interval: Interval
    discriminators: float
    discriminators_interval: Interval
    d_prime: float
    d_prime_interval: Interval
    gamma: float
    p_gamma: float
    effective_answers: float
    log_likelihood: float
    binomial_log_likelihood: float


def replicated_test(
    correct: ArrayLike,
    answers: ArrayLike,
    method: ForcedChoice,
    *,
    corrected: bool = True,
    level: float = 0.95,
) -> ReplicatedResult:
    """Test for a difference with several answers from each taster, allowing for spread between tasters.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers of each taster, shape (tasters,). The numbers of answers may differ.
    method
        The test method.
    corrected
        Whether a taster's share of correct answers is kept at or above the guess rate.
    level
        Confidence level of the intervals.

    Returns
    -------
    ReplicatedResult
        p-values, estimates with intervals, and the spread.

    Raises
    ------
    DesignError
        With fewer than two tasters, or without any taster who answered twice.
    QuantityError
        If counts are impossible.
    """
    right, asked = _check_tasters(correct, answers)
    check_probability(level, "level")
    method = ForcedChoice(method)
    guess = guess_rate(method)
    floor = guess if corrected else 0.0
    likelihood = _Likelihood(right, asked, floor)
    mean, gamma, best = likelihood.maximise()
    binomial = float(np.max(likelihood.at(np.linspace(0.0, 1.0, 2001), np.zeros(2001))))
    binomial = max(binomial, float(likelihood.at(_pooled_mean(right, asked, floor), np.zeros(1))[0]))
    best = max(best, binomial)
    interval = likelihood.interval(mean, best, level)

    def to_share(inner: float) -> float:
        return floor + (1.0 - floor) * inner

    share = to_share(mean)
    shares = (to_share(interval[0]), to_share(interval[1]))
    return ReplicatedResult(
        method=method,
        corrected=corrected,
        tasters=right.size,
        correct=int(right.sum()),
        answers=int(asked.sum()),
        p_pooled=float(upper_tail(right.sum(), asked.sum(), guess)),
        p_allowing=_p_allowing(right, asked, guess),
        proportion=share,
        proportion_interval=shares,
        discriminators=float(discriminators_from_proportion(share, method)),
        discriminators_interval=_pair(discriminators_from_proportion(shares, method)),
        d_prime=float(d_prime_from_proportion(share, method)),
        d_prime_interval=_pair(d_prime_from_proportion(shares, method)),
        gamma=gamma,
        p_gamma=_half_chi_square(2.0 * (best - binomial)),
        effective_answers=math.nan if corrected else float(np.sum(asked / (1.0 + (asked - 1.0) * gamma))),
        log_likelihood=best,
        binomial_log_likelihood=binomial,
    )


def tarone_z(correct: ArrayLike, answers: ArrayLike) -> tuple[float, float]:
    """Tarone's test of whether tasters differ more than chance would make them.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers of each taster, shape (tasters,).

    Returns
    -------
    z : float
        Tarone's statistic; about standard normal for many tasters.
    p_value : float
        One-sided normal p-value. With a handful of tasters use ``tarone_shuffled``.

    Raises
    ------
    DesignError
        With fewer than two tasters, or if all answers were right or all wrong (there is no spread to test).
    QuantityError
        If counts are impossible.
    """
    right, asked = _check_tasters(correct, answers)
    z = float(_tarone(right[None, :], asked)[0])
    return z, float(ndtr(-z))


def tarone_shuffled(
    correct: ArrayLike, answers: ArrayLike, rng: np.random.Generator, *, draws: int = 9999
) -> tuple[float, float]:
    """Tarone's test with a p-value that needs no large number of tasters.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers of each taster, shape (tasters,).
    rng
        Source of randomness.
    draws
        How often the correct answers are dealt anew among all answers.

    Returns
    -------
    z : float
        Tarone's statistic.
    p_value : float
        Share of deals (the observed one counted in) that spread at least as much.

    Raises
    ------
    DesignError, QuantityError
        As ``tarone_z``; also if ``draws`` is below 1.
    """
    right, asked = _check_tasters(correct, answers)
    if draws < 1:
        raise DesignError(say("Dealing anew needs at least one draw; 9999 is a good number."))
    z = float(_tarone(right[None, :], asked)[0])
    dealt = rng.multivariate_hypergeometric(asked, int(right.sum()), size=draws)
    at_least = int(np.sum(_tarone(dealt, asked) >= z - 1e-9))
    return z, (1 + at_least) / (1 + draws)


def replicated_log_likelihood(
    correct: ArrayLike,
    answers: ArrayLike,
    method: ForcedChoice,
    *,
    proportion: float,
    gamma: float,
    corrected: bool = True,
) -> float:
    """Log-likelihood of the beta-binomial model at a given mean and spread.

    Parameters
    ----------
    correct, answers
        Correct answers and all answers of each taster, shape (tasters,).
    method
        The test method.
    proportion
        Mean share of correct answers; in the corrected form not below the guess rate.
    gamma
        Spread between tasters, 0 to 1.
    corrected
        Whether shares are kept at or above the guess rate.

    Returns
    -------
    float
        Natural logarithm of the likelihood, the number of ways included.

    Raises
    ------
    QuantityError
        If counts, mean or spread are impossible.
    """
    right, asked = _check_tasters(correct, answers)
    floor = guess_rate(method) if corrected else 0.0
    inner = (proportion - floor) / (1.0 - floor)
    if not (-1e-12 <= inner <= 1.0 and 0.0 <= gamma <= 1.0):
        raise QuantityError(
            say(
                "The mean share {proportion:g} must lie between {floor:.3g} and 1, the spread {gamma:g} between "
                "0 and 1.",
                proportion=proportion,
                floor=floor,
                gamma=gamma,
            )
        )
    return float(_Likelihood(right, asked, floor).at(np.array([max(inner, 0.0)]), np.array([gamma]))[0])


class _Likelihood:
    """Log-likelihood in the mean and spread of the share above ``floor``; smooth up to and on the edges 0 and 1.

    The beta function's ratios are written as products of (mean (1 - gamma) + i gamma), so that gamma 0 is simply the
    binomial and nothing is ever divided by it. The factor 1 - gamma at i = 0 is taken out of all three products; what
    is left of it is one factor where a taster was both right and wrong, so that gamma 1 is no special case either.
    """

    def __init__(self, right: IntArray, asked: IntArray, floor: float) -> None:
        self.cells = Counter(zip(right.tolist(), asked.tolist(), strict=True))
        self.most = int(asked.max())
        self.floor = floor

    def at(self, mean: FloatArray, gamma: FloatArray) -> FloatArray:
        """Log-likelihood for arrays of mean and spread in one shape."""
        mean, gamma = np.broadcast_arrays(mean, gamma)
        told = self._rising(mean, gamma)
        missed = self._rising(1.0 - mean, gamma)
        both = self._rising(np.ones_like(mean), gamma)
        mixed = np.log(np.maximum(1.0 - gamma, _TINY))
        total = np.zeros(mean.shape)
        for (x, n), tasters in self.cells.items():
            ways = float(gammaln(n + 1) - gammaln(x + 1) - gammaln(n - x + 1))
            if self.floor == 0.0:
                value = told[x] + missed[n - x] - both[n] + (mixed if 0 < x < n else 0.0)
            else:
                j = np.arange(x + 1)  # of x correct answers j were told and x - j guessed
                mixing = gammaln(x + 1) - gammaln(j + 1) - gammaln(x - j + 1)
                mixing = mixing + xlogy(x - j, self.floor) + (n - x + j) * math.log1p(-self.floor)
                terms = told[: x + 1] + missed[n - x] - both[n - x : n + 1]
                if x < n:
                    terms[1:] += mixed
                value = logsumexp(terms + mixing.reshape((-1,) + (1,) * mean.ndim), axis=0)
            total = total + tasters * (ways + value)
        return np.asarray(total, dtype=np.float64)

    def profile(self, mean: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Best log-likelihood over the spread, and that spread, for each mean, shape (k,)."""
        low, high = np.zeros(mean.size), np.ones(mean.size)
        rows = np.arange(mean.size)
        for _ in range(7):
            grid = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _GAMMA_POINTS)
            values = self.at(mean[:, None], grid)
            top = np.argmax(values, axis=1)
            low = grid[rows, np.maximum(top - 1, 0)]
            high = grid[rows, np.minimum(top + 1, _GAMMA_POINTS - 1)]
        return values[rows, top], grid[rows, top]

    def maximise(self) -> tuple[float, float, float]:
        """Mean, spread and log-likelihood at the maximum."""
        low, high = 0.0, 1.0
        for _ in range(7):
            means = np.linspace(low, high, 41)
            values, gammas = self.profile(means)
            top = int(np.argmax(values))
            low, high = float(means[max(top - 1, 0)]), float(means[min(top + 1, 40)])
        return float(means[top]), float(gammas[top]), float(values[top])

    def interval(self, mean: float, best: float, level: float) -> Interval:
        """Means whose profile log-likelihood is within half a chi-square quantile of the best."""
        target = best - 0.5 * float(chdtri(1, 1.0 - level))

        def cross(outside: float) -> float:
            inside = mean
            if float(self.profile(np.array([outside]))[0][0]) >= target:
                return outside
            for _ in range(40):
                middle = 0.5 * (inside + outside)
                if float(self.profile(np.array([middle]))[0][0]) >= target:
                    inside = middle
                else:
                    outside = middle
            return 0.5 * (inside + outside)

        return cross(0.0), cross(1.0)

    def _rising(self, mean: FloatArray, gamma: FloatArray) -> FloatArray:
        """Logs of the rising products of 0 .. most factors, the first without 1 - gamma, shape (most + 1, *shape)."""
        i = np.arange(self.most).reshape((-1,) + (1,) * mean.ndim)
        factors = np.where(i == 0, mean, mean * (1.0 - gamma) + i * gamma)
        logs = np.log(np.maximum(factors, _TINY))
        return np.concatenate([np.zeros((1, *mean.shape)), np.cumsum(logs, axis=0)])


def _p_allowing(right: IntArray, asked: IntArray, guess: float) -> float:
    likelihood = _Likelihood(right, asked, 0.0)
    mean, _, best = likelihood.maximise()
    at_guess = float(likelihood.profile(np.array([guess]))[0][0])
    root = math.copysign(math.sqrt(max(2.0 * (best - at_guess), 0.0)), mean - guess)
    return float(ndtr(-root))


def _tarone(right: IntArray, asked: IntArray) -> FloatArray:
    """Tarone's statistic for each row of counts; all rows share one total."""
    share = float(right[0].sum() / asked.sum())
    if not 0.0 < share < 1.0:
        raise DesignError(
            say("All answers were right or all were wrong, so tasters do not differ; there is nothing to test.")
        )
    spread = np.sum((right - asked * share) ** 2, axis=1) / (share * (1.0 - share))
    return np.asarray((spread - asked.sum()) / math.sqrt(2.0 * float(np.sum(asked * (asked - 1)))), dtype=np.float64)


def _pooled_mean(right: IntArray, asked: IntArray, floor: float) -> FloatArray:
    return np.array([max((right.sum() / asked.sum() - floor) / (1.0 - floor), 0.0)])


def _half_chi_square(ratio: float) -> float:
    """p-value of a likelihood ratio whose parameter lies at the edge of its range under the null."""
    return 1.0 if ratio <= 1e-9 else 0.5 * float(chdtrc(1, ratio))


def _check_tasters(correct: ArrayLike, answers: ArrayLike) -> tuple[IntArray, IntArray]:
    given, asked = np.asarray(correct, dtype=np.float64), np.asarray(answers, dtype=np.float64)
    if given.ndim != 1 or given.shape != asked.shape or given.size < 2:
        raise DesignError(
            say("Give correct answers and all answers of each taster, in the same order, for two or more tasters.")
        )
    if not bool(np.all((given == np.floor(given)) & (asked == np.floor(asked)) & (given >= 0) & (given <= asked))):
        raise QuantityError(say("Each taster's counts must be whole numbers with 0 <= correct <= answers."))
    if not bool(np.all(asked >= 1)) or not bool(np.any(asked >= 2)):
        raise DesignError(
            say("Each taster must have answered, and at least one of them twice; else there are no replicates.")
        )
    return given.astype(np.int64), asked.astype(np.int64)


def _pair(values: FloatArray) -> Interval:
    return float(values[0]), float(values[1])
