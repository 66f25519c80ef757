"""Charts of one measure over batches: individuals, moving range, EWMA and CUSUM, with weights by uncertainty.

Charts with a memory run on information instead of on a count. A batch seen with standard deviation s counts as
w = (typical_sd / s)² usual batches: a batch tasted once moves them little, one tasted by all moves them fully. With
equal uncertainties every w is 1 and the charts are those of the textbooks.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import QuantityError
from evenhand.season._charts_baseline import Baseline, read_series
from evenhand.season._charts_constants import shewhart_factors
from evenhand.words import say

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Points and limits to draw, one entry a batch, in the measure's unit.

    Attributes
    ----------
    value
        What is plotted; NaN where there is none.
    centre, lower, upper
        The centre line and the limits at each batch; limits that hang on the batch's own uncertainty are NaN where it
        was not measured.
    weight
        How many usual batches each batch counts as; 0 where not measured.
    signals
        Numbers of the batches, from 0, whose point lies beyond a limit.
    """

    value: Floats
    centre: Floats
    lower: Floats
    upper: Floats
    weight: Floats
    signals: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """Both arms of a cumulative sum chart, in typical standard deviations.

    Attributes
    ----------
    high, low
        What has gathered for a rise and for a fall.
    decision
        Beyond this an arm signals.
    weight
        As in `Chart`.
    signals
        Numbers of the batches at which an arm lies beyond the decision limit.
    onset
        For each of `signals`, the batch after which its arm last stood at 0: about where the shift began.
    """

    high: Floats
    low: Floats
    decision: float
    weight: Floats
    signals: tuple[int, ...]
    onset: tuple[int, ...]


def weights(sd: Floats, value: Floats, base: Baseline) -> Floats:
    """How many usual batches each batch counts as; 0 where not measured."""
    return np.where(np.isfinite(value), (base.typical_sd / base.spread(sd)) ** 2, 0.0)


def individuals(value: ArrayLike, base: Baseline, sd: ArrayLike | float = 0.0, *, width: float = 3.0) -> Chart:
    """Chart single batches; the limits are wider for a batch that is known less well.

    Parameters
    ----------
    value
        Shape (batches,), in roasting order; NaN where not measured.
    base
        From `estimate_baseline` or `stated_baseline`.
    sd
        Standard uncertainty of each value.
    width
        Half-width of the limits in standard deviations.

    Raises
    ------
    DesignError
        If shapes differ or an uncertainty is negative.
    QuantityError
        If the width is not positive.

    References
    ----------
    ISO 7870-2:2013; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
    """
    _positive(say("The width of the limits"), width)
    x, u = read_series(value, sd)
    reach = width * base.spread(u)
    return _chart(x, np.full(x.shape, base.centre), reach, weights(u, x, base))


def moving_range(value: ArrayLike, base: Baseline, sd: ArrayLike | float = 0.0) -> Chart:
    """Chart the differences between neighbours: a jump in scatter shows here.

    The range stands at the later batch; the first has none. A batch that was not measured is passed over. Parameters
    and errors are those of `individuals`; the limits are D3 and D4 of ISO 7870-2 for groups of two.
    """
    x, u = read_series(value, sd)
    factors = shewhart_factors(2)
    known = np.flatnonzero(np.isfinite(x))
    ranges, unit = np.full(x.shape, np.nan), np.full(x.shape, np.nan)
    total = base.spread(u)
    ranges[known[1:]] = np.abs(np.diff(x[known]))
    # The range of two with unequal standard deviations is that of two with their quadratic mean.
    unit[known[1:]] = np.sqrt(0.5 * (total[known[1:]] ** 2 + total[known[:-1]] ** 2))
    centre = factors.d2 * unit
    upper = factors.D4 * centre
    return Chart(
        value=ranges,
        centre=centre,
        lower=factors.D3 * centre,
        upper=upper,
        weight=weights(u, x, base),
        signals=_where(ranges > upper),
    )


def ewma(
    value: ArrayLike,
    base: Baseline,
    sd: ArrayLike | float = 0.0,
    *,
    smoothing: float = 0.2,
    width: float = 2.859,
    steady_limits: bool = False,
) -> Chart:
    """Chart the exponentially weighted moving average, which sees small shifts that last.

    Parameters
    ----------
    value, base, sd
        As in `individuals`.
    smoothing
        Weight of the newest usual batch, above 0 and up to 1. A batch of weight w gets 1 - (1 - smoothing)^w.
    width
        Half-width of the limits in standard deviations of the average. With 0.2 and 2.859 and limits that are steady,
        a false alarm comes once in 370 usual batches.
    steady_limits
        Draw the limits of a long series from the start on, as textbooks do; else they are exact for each batch. The
        first batches then have narrower limits, because their average has moved less.

    Raises
    ------
    DesignError
        As in `individuals`.
    QuantityError
        If the smoothing is not above 0 and at most 1, or the width is not positive.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4. Lucas, J. M., and Saccucci, M. S. (1990). Technometrics
    32(1), 1-12.
    """
    if not 0 < smoothing <= 1:
        raise QuantityError(
            say("The smoothing lies above 0 and at most at 1, not at {smoothing:g}.", smoothing=smoothing)
        )
    _positive(say("The width of the limits"), width)
    x, u = read_series(value, sd)
    weight, total = weights(u, x, base), base.spread(u)
    share = 1.0 - (1.0 - smoothing) ** weight
    average, variance = base.centre, 0.0
    averages, variances = np.empty(x.shape), np.empty(x.shape)
    for i in range(x.size):
        if weight[i] > 0:
            average += share[i] * (x[i] - average)
            variance = (1.0 - share[i]) ** 2 * variance + (share[i] * total[i]) ** 2
        averages[i], variances[i] = average, variance
    if steady_limits:
        variances[:] = smoothing / (2.0 - smoothing) * base.typical_sd**2
    return _chart(
        np.where(weight > 0, averages, np.nan), np.full(x.shape, base.centre), width * np.sqrt(variances), weight
    )


def cusum(
    value: ArrayLike,
    base: Baseline,
    sd: ArrayLike | float = 0.0,
    *,
    allowance: float = 0.5,
    decision: float = 5.0,
) -> Cusum:
    """Chart the cumulative sums of rises and falls beyond an allowance (tabular form).

    Parameters
    ----------
    value, base, sd
        As in `individuals`.
    allowance
        Half of the shift worth seeing, in typical standard deviations (k in the books).
    decision
        Limit of a sum, in typical standard deviations (h in the books). With 0.5 and 5 a false alarm comes once in
        465 usual batches.

    Raises
    ------
    DesignError
        As in `individuals`.
    QuantityError
        If the allowance is negative or the decision limit is not positive.

    Notes
    -----
    A rise gathers as S_i = max(0, S_(i-1) + w_i (z_i - k)) with z in typical standard deviations. This is the
    likelihood ratio of a shift of 2 k for batches of unequal variance: a batch of weight w adds a step of mean -w k and
    variance w while all is well, so information plays the part of time.

    References
    ----------
    Page, E. S. (1954). Biometrika 41, 100-115. NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    """
    if not (np.isfinite(allowance) and allowance >= 0):
        raise QuantityError(say("The allowance must be 0 or more, not {allowance:g}.", allowance=allowance))
    _positive(say("The decision limit"), decision)
    x, u = read_series(value, sd)
    weight = weights(u, x, base)
    step = np.where(weight > 0, np.nan_to_num(x - base.centre) / base.typical_sd, 0.0)
    sums = np.zeros((2, x.size))
    began = np.zeros((2, x.size), dtype=np.intp)
    for arm, sign in enumerate((1.0, -1.0)):
        total, start = 0.0, 0
        for i in range(x.size):
            total += weight[i] * (sign * step[i] - allowance)
            if total <= 0.0:
                total, start = 0.0, i + 1
            sums[arm, i], began[arm, i] = total, start
    over = sums > decision
    signals = _where((over[0] | over[1]) & (weight > 0))
    arms = sums.argmax(axis=0)
    return Cusum(
        high=sums[0],
        low=sums[1],
        decision=decision,
        weight=weight,
        signals=signals,
        onset=tuple(int(began[arms[i], i]) for i in signals),
    )


def _chart(value: Floats, centre: Floats, reach: Floats, weight: Floats) -> Chart:
    lower, upper = centre - reach, centre + reach
    return Chart(
        value=value,
        centre=centre,
        lower=lower,
        upper=upper,
        weight=weight,
        signals=_where((value < lower) | (value > upper)),
    )


def _where(mask: NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(i) for i in np.flatnonzero(mask))


def _positive(what: str, number: float) -> None:
    if not (np.isfinite(number) and number > 0):
        raise QuantityError(say("{what} must be more than 0, not {number:g}.", what=what, number=number))
