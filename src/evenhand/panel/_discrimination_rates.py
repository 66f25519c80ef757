"""Tests with a yes and a no: A-not-A and same-different, where each taster draws the line somewhere else.

There is no fixed guess rate here. A taster who says "different" readily is right more often on different cups and wrong
more often on same ones. So two shares are needed, and the distance is what lies between them whatever the line.

References
----------
Macmillan and Creelman (2005), "Detection Theory: A User's Guide", 2nd ed., Erlbaum (yes-no and differencing models).
Christensen and Brockhoff (2009), "Estimation and inference in the same-different test", Food Quality and Preference 20,
514-524. Gourevitch and Galanter (1967), "A significance test for one parameter isosensitivity functions", Psychometrika
32, 25-33 (standard error of d').
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtr, ndtri, xlogy

from evenhand.errors import QuantityError
from evenhand.panel._discrimination_exact import check_counts, check_probability
from evenhand.panel._discrimination_fisher import fisher_p_value
from evenhand.panel._discrimination_psychometric import FloatArray
from evenhand.words import say

Interval = tuple[float, float]

_SQRT2 = math.sqrt(2.0)
_FARTHEST_D_PRIME = 20.0
_FARTHEST_LINE = 25.0


@dataclass(frozen=True, slots=True)
class RatesResult:
    """What an A-not-A or a same-different test showed.

    Attributes
    ----------
    hit_rate, false_alarm_rate
        Share of "A" on A cups and on not-A cups; or of "different" on different and on same pairs.
    d_prime, d_prime_se, d_prime_interval
        Maximum-likelihood distance, its standard error (not a number at the ends) and profile-likelihood interval.
    line
        Where the line lies: in A-not-A the criterion, 0 for a taster without leaning and negative for one who says "A"
        readily; in same-different the size of difference from which a pair is called different.
    p_value
        Fisher's exact one-sided probability of so clear a split if the two rates were one.
    level
        Confidence level of the interval.
    """

    hit_rate: float
    false_alarm_rate: float
    d_prime: float
    d_prime_se: float
    d_prime_interval: Interval
    line: float
    p_value: float
    level: float


def a_not_a_rates(d_prime: float, line: float) -> tuple[float, float]:
    """Hit and false-alarm rate of a taster in A-not-A (yes-no model, equal variances).

    Parameters
    ----------
    d_prime
        Distance of A from not-A.
    line
        Criterion, from midway between the two means; negative says "A" readily.

    Returns
    -------
    tuple of float
        Share of "A" on A cups, and on not-A cups.
    """
    return float(ndtr(0.5 * d_prime - line)), float(ndtr(-0.5 * d_prime - line))


def same_different_rates(d_prime: float, line: float) -> tuple[float, float]:
    """Hit and false-alarm rate of a taster in same-different (differencing model).

    Parameters
    ----------
    d_prime
        Distance of the two coffees.
    line
        A pair is called different if its two cups are heard at least this far apart; above 0.

    Returns
    -------
    tuple of float
        Share of "different" on different pairs, and on same pairs.
    """
    hit = float(ndtr((d_prime - line) / _SQRT2) + ndtr((-d_prime - line) / _SQRT2))
    return hit, float(2.0 * ndtr(-line / _SQRT2))


def a_not_a_test(hits: int, a_cups: int, false_alarms: int, not_a_cups: int, *, level: float = 0.95) -> RatesResult:
    """Test whether A is told from not-A, each cup judged once and alone.

    Parameters
    ----------
    hits, a_cups
        "A" said on A cups, and A cups served.
    false_alarms, not_a_cups
        "A" said on not-A cups, and not-A cups served.
    level
        Confidence level of the interval.

    Returns
    -------
    RatesResult
        Distance, its uncertainty, the criterion and the exact p-value. The distance is negative if "A" was said more
        often on not-A cups.

    Raises
    ------
    QuantityError
        If the counts are impossible.
    """
    check_counts(hits, a_cups)
    check_counts(false_alarms, not_a_cups)
    check_probability(level, "level")
    hit, alarm = hits / a_cups, false_alarms / not_a_cups
    z_hit, z_alarm = float(ndtri(hit)), float(ndtri(alarm))
    d_prime = 0.0 if hit == alarm else z_hit - z_alarm
    profile = _profile(_a_not_a_likelihood(hits, a_cups, false_alarms, not_a_cups), -_FARTHEST_LINE)
    return RatesResult(
        hit_rate=hit,
        false_alarm_rate=alarm,
        d_prime=d_prime,
        d_prime_se=_yes_no_error(hit, a_cups, alarm, not_a_cups),
        d_prime_interval=_profile_interval(profile, d_prime, level, -_FARTHEST_D_PRIME),
        line=-0.5 * (z_hit + z_alarm) if math.isfinite(z_hit) or math.isfinite(z_alarm) else math.nan,
        p_value=fisher_p_value(hits, a_cups, false_alarms, not_a_cups),
        level=level,
    )


def same_different_test(
    hits: int, different_pairs: int, false_alarms: int, same_pairs: int, *, level: float = 0.95
) -> RatesResult:
    """Test whether different pairs are told from same pairs.

    Parameters
    ----------
    hits, different_pairs
        "Different" said on different pairs, and different pairs served.
    false_alarms, same_pairs
        "Different" said on same pairs, and same pairs served.
    level
        Confidence level of the interval.

    Returns
    -------
    RatesResult
        Distance, its uncertainty, the line and the exact p-value. The distance is 0 if "different" was said no more
        often on different pairs.

    Raises
    ------
    QuantityError
        If the counts are impossible.
    """
    check_counts(hits, different_pairs)
    check_counts(false_alarms, same_pairs)
    check_probability(level, "level")
    hit, alarm = hits / different_pairs, false_alarms / same_pairs
    if hit > alarm:
        line = max(0.0, -_SQRT2 * float(ndtri(0.5 * alarm)))
        d_prime = _differencing_distance(hit, line)
    else:
        pooled = (hits + false_alarms) / (different_pairs + same_pairs)
        line, d_prime = max(0.0, -_SQRT2 * float(ndtri(0.5 * pooled))), 0.0
    profile = _profile(_same_different_likelihood(hits, different_pairs, false_alarms, same_pairs), 0.0)
    return RatesResult(
        hit_rate=hit,
        false_alarm_rate=alarm,
        d_prime=d_prime,
        d_prime_se=_differencing_error(hit, different_pairs, alarm, same_pairs, d_prime, line),
        d_prime_interval=_profile_interval(profile, d_prime, level, 0.0),
        line=line,
        p_value=fisher_p_value(hits, different_pairs, false_alarms, same_pairs),
        level=level,
    )


def rates_upper_bound(
    hits: int, signals: int, false_alarms: int, noises: int, *, alpha: float = 0.05, same_different: bool = False
) -> float:
    """One-sided upper bound of the distance: the coffees are similar, if it lies below the limit that matters.

    Parameters
    ----------
    hits, signals
        As in the two tests: A cups or different pairs.
    false_alarms, noises
        As in the two tests: not-A cups or same pairs.
    alpha
        Risk that the true distance lies above the bound.
    same_different
        Whether the counts come from same-different; otherwise from A-not-A.

    Returns
    -------
    float
        Bound from the profile likelihood, infinite if the counts set none. It is approximate (chi-square), unlike the
        exact bounds of the forced-choice tests.
    """
    check_probability(alpha, "alpha")
    if alpha >= 0.5:
        raise QuantityError(say("alpha is {alpha:g}, but an upper bound needs a risk below 0.5.", alpha=alpha))
    level = 1.0 - 2.0 * alpha
    test = same_different_test if same_different else a_not_a_test
    return test(hits, signals, false_alarms, noises, level=level).d_prime_interval[1]


def _yes_no_error(hit: float, a_cups: int, alarm: float, not_a_cups: int) -> float:
    if not (0.0 < hit < 1.0 and 0.0 < alarm < 1.0):
        return math.nan
    parts = (
        share * (1.0 - share) / (cups * _density(float(ndtri(share))) ** 2)
        for share, cups in ((hit, a_cups), (alarm, not_a_cups))
    )
    return math.sqrt(sum(parts))


def _differencing_distance(hit: float, line: float) -> float:
    """Distance at which different pairs are called different with rate ``hit``."""
    if hit >= 1.0 or math.isinf(line):
        return math.inf
    low, high = 0.0, 4.0 * _FARTHEST_D_PRIME
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if same_different_rates(middle, line)[0] < hit else (low, middle)
    return 0.5 * (low + high)


def _differencing_error(hit: float, different: int, alarm: float, same: int, d_prime: float, line: float) -> float:
    """Delta method: d' is a function of the hit rate and, through the line, of the false-alarm rate."""
    if not (0.0 < alarm < hit < 1.0 and math.isfinite(d_prime)):
        return math.nan
    near, far = _density((d_prime - line) / _SQRT2) / _SQRT2, _density((d_prime + line) / _SQRT2) / _SQRT2
    hit_by_distance, hit_by_line = near - far, -(near + far)
    alarm_by_line = -_SQRT2 * _density(line / _SQRT2)
    if hit_by_distance <= 0.0:
        return math.nan
    by_hit = 1.0 / hit_by_distance
    by_alarm = -hit_by_line / (hit_by_distance * alarm_by_line)
    return math.sqrt(by_hit**2 * hit * (1.0 - hit) / different + by_alarm**2 * alarm * (1.0 - alarm) / same)


def _a_not_a_likelihood(
    hits: int, a_cups: int, alarms: int, not_a_cups: int
) -> Callable[[float, FloatArray], FloatArray]:
    def log_likelihood(d_prime: float, line: FloatArray) -> FloatArray:
        yes, yes_other = 0.5 * d_prime - line, -0.5 * d_prime - line
        value = _count_log_likelihood(hits, a_cups, ndtr(yes), ndtr(-yes))
        return value + _count_log_likelihood(alarms, not_a_cups, ndtr(yes_other), ndtr(-yes_other))

    return log_likelihood


def _same_different_likelihood(
    hits: int, different: int, alarms: int, same: int
) -> Callable[[float, FloatArray], FloatArray]:
    def log_likelihood(d_prime: float, line: FloatArray) -> FloatArray:
        hit = ndtr((d_prime - line) / _SQRT2) + ndtr((-d_prime - line) / _SQRT2)
        miss = ndtr((line - d_prime) / _SQRT2) - ndtr((-line - d_prime) / _SQRT2)
        alarm = 2.0 * ndtr(-line / _SQRT2)
        value = _count_log_likelihood(hits, different, hit, miss)
        return value + _count_log_likelihood(alarms, same, alarm, 1.0 - alarm)

    return log_likelihood


def _count_log_likelihood(count: int, trials: int, share: FloatArray, rest: FloatArray) -> FloatArray:
    tiny = np.finfo(np.float64).tiny
    return np.asarray(
        xlogy(count, np.maximum(share, tiny)) + xlogy(trials - count, np.maximum(rest, tiny)), dtype=np.float64
    )


def _profile(log_likelihood: Callable[[float, FloatArray], FloatArray], lowest_line: float) -> Callable[[float], float]:
    """Log-likelihood of the distance alone, the line chosen best: a grid, made finer five times around its best."""

    def best(d_prime: float) -> float:
        low, high, value = lowest_line, _FARTHEST_LINE, -math.inf
        for _ in range(6):
            grid = np.linspace(low, high, 201)
            values = log_likelihood(d_prime, grid)
            top = int(np.argmax(values))
            value = float(values[top])
            low, high = float(grid[max(top - 1, 0)]), float(grid[min(top + 1, 200)])
        return value

    return best


def _profile_interval(profile: Callable[[float], float], estimate: float, level: float, floor: float) -> Interval:
    start = float(np.clip(estimate, floor, _FARTHEST_D_PRIME))
    target = profile(start) - 0.5 * float(chdtri(1, 1.0 - level))

    def cross(outside: float, beyond: float) -> float:
        if profile(outside) >= target:
            return beyond
        inside = start
        for _ in range(50):
            middle = 0.5 * (inside + outside)
            inside, outside = (middle, outside) if profile(middle) >= target else (inside, middle)
        return 0.5 * (inside + outside)

    return cross(floor, 0.0 if floor == 0.0 else -math.inf), cross(_FARTHEST_D_PRIME, math.inf)


def _density(x: float) -> float:
    return math.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
