"""Fisher's exact test of two rates: its p-value, its power, and how many cups it needs.

References
----------
Fisher (1935), "The logic of inductive inference", Journal of the Royal Statistical Society 98, 39-82.
"""

import numpy as np
from scipy.special import gammaln, ndtri, xlogy

from evenhand.errors import DesignError, QuantityError
from evenhand.panel._discrimination_exact import IntArray, check_counts, check_probability
from evenhand.panel._discrimination_psychometric import FloatArray
from evenhand.words import say

MOST_CUPS_A_SIDE = 400  # a search for a number of cups stops here
_TOO_MANY = say(
    "More than {most} cups of either kind would be needed; ask for a larger difference, or choose a forced-choice "
    "method, which needs fewer.",
    most=MOST_CUPS_A_SIDE,
)


def fisher_p_value(hits: int, signals: int, false_alarms: int, noises: int) -> float:
    """Fisher's exact one-sided p-value for a higher rate of hits than of false alarms.

    Parameters
    ----------
    hits, signals, false_alarms, noises
        Counts of the two rates.

    Returns
    -------
    float
        Probability of at least so many hits, given the total of both.
    """
    check_counts(hits, signals)
    check_counts(false_alarms, noises)
    total = hits + false_alarms
    possible = np.arange(max(0, total - noises), min(signals, total) + 1)
    logs = _log_choose(signals, possible) + _log_choose(noises, total - possible)
    weights = np.exp(logs - logs.max())
    return min(1.0, float(weights[possible >= hits].sum() / weights.sum()))


def rates_power(signals: int, noises: int, hit_rate: float, false_alarm_rate: float, *, alpha: float = 0.05) -> float:
    """Exact power of Fisher's one-sided test between two rates.

    Parameters
    ----------
    signals, noises
        Cups or pairs served of either kind.
    hit_rate, false_alarm_rate
        True rates, as from ``a_not_a_rates`` or ``same_different_rates``.
    alpha
        Risk of seeing a difference where there is none.

    Returns
    -------
    float
        Probability that the test shows a difference.
    """
    check_counts(0, signals)
    check_counts(0, noises)
    check_probability(alpha, "alpha")
    for rate, name in ((hit_rate, say("The hit rate")), (false_alarm_rate, say("The false-alarm rate"))):
        if not 0.0 <= rate <= 1.0:
            raise QuantityError(say("{name} is {rate:g}, but must lie between 0 and 1.", name=name, rate=rate))
    log_signals = _log_choose(signals, np.arange(signals + 1))
    log_noises = _log_choose(noises, np.arange(noises + 1))
    chance_hits = _binomial(log_signals, hit_rate)
    chance_alarms = _binomial(log_noises, false_alarm_rate)
    power = 0.0
    for total in range(signals + noises + 1):
        possible = np.arange(max(0, total - noises), min(signals, total) + 1)
        logs = log_signals[possible] + log_noises[total - possible]
        weights = np.exp(logs - logs.max())
        tails = np.cumsum(weights[::-1])[::-1] / weights.sum()
        shown = possible[tails <= alpha * (1.0 + 1e-12)]
        power += float(np.sum(chance_hits[shown] * chance_alarms[total - shown]))
    return min(power, 1.0)


def cups_for_rates(
    hit_rate: float, false_alarm_rate: float, *, power: float = 0.8, alpha: float = 0.05
) -> tuple[int, int]:
    """Cups or pairs of either kind that Fisher's one-sided test needs, as many of one kind as of the other.

    Parameters
    ----------
    hit_rate, false_alarm_rate
        True rates, as from ``a_not_a_rates`` or ``same_different_rates``.
    power, alpha
        Chance of finding the difference, and risk of finding one that is not there.

    Returns
    -------
    tuple of int
        First number of each kind that reaches the power, and the number from which it holds, looking on to one and a
        half times the first plus 20.

    Raises
    ------
    DesignError
        If the hit rate is not above the false-alarm rate, or more than ``MOST_CUPS_A_SIDE`` would be needed.
    """
    check_probability(power, "power")
    check_probability(alpha, "alpha")
    if not hit_rate > false_alarm_rate:
        raise DesignError(say("The hit rate must lie above the false-alarm rate; there is no difference to be found."))
    mean = 0.5 * (hit_rate + false_alarm_rate)
    rough = 2.0 * mean * (1.0 - mean) * ((ndtri(power) - ndtri(alpha)) / (hit_rate - false_alarm_rate)) ** 2
    if rough > MOST_CUPS_A_SIDE:  # Fisher's test needs more still
        raise DesignError(_TOO_MANY)
    cups, first, last_failing, end = max(2, int(0.6 * rough)), 0, 0, MOST_CUPS_A_SIDE
    if rates_power(cups, cups, hit_rate, false_alarm_rate, alpha=alpha) >= power:
        cups = 1  # the rough figure started too far up
    while cups <= end:
        if rates_power(cups, cups, hit_rate, false_alarm_rate, alpha=alpha) < power:
            last_failing = cups
        elif first == 0:
            first, end = cups, int(1.5 * cups) + 20
        cups += 1
    if first == 0:
        raise DesignError(_TOO_MANY)
    return first, max(first, last_failing + 1)


def _log_choose(n: int, k: IntArray) -> FloatArray:
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1), dtype=np.float64)


def _binomial(log_choose: FloatArray, share: float) -> FloatArray:
    n = log_choose.size - 1
    k = np.arange(n + 1)
    return np.asarray(np.exp(log_choose + xlogy(k, share) + xlogy(n - k, 1.0 - share)), dtype=np.float64)
