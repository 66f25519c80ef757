"""Where a measure usually lies and how far batches scatter: robust limits that let a poorly known batch count less.

A value is the batch's true level plus an error of known standard uncertainty (a taste from few cups, a loss from a worn
scale). Batches scatter about the centre by `batch_sd`, which is learned here from neighbours, so that a slow drift or a
single step does not widen the limits.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtr

from evenhand.errors import DesignError
from evenhand.words import say

Floats = NDArray[np.float64]

# Beyond this many standard deviations a difference between neighbours counts no further. Half of the ranges, that is a
# quarter of lone odd batches, would have to be odd to carry the estimate away.
_CLIP_RANGE = 1.5
# The same for a batch against the centre (Huber, 1964): 96 % efficient when nothing is odd.
_CLIP_LEVEL = 1.5
_HUBER_LOSS = 1.018
# Degrees of freedom of the spread for each range. For mean ranges 1 / (2 x 0.8265), the variance of the mean of
# overlapping ranges of two; for clipped ranges found by simulation (see docs/explanation/control-charts.md).
_FREEDOM_MEAN = 0.605
_FREEDOM_CLIPPED = 0.48
# Rounds in which the ranges' weights follow the spread found, and the least spread, as a share of the best measurement,
# that weights are made with: a spread of 0 would leave all the weight with one pair.
_REWEIGHTINGS = 3
_LEAST_SHARE = 0.5
_FEWEST = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """What is usual for a measure, in the measure's unit.

    Attributes
    ----------
    centre, centre_sd
        The usual level and its standard uncertainty (0 when it was stated, not learned).
    batch_sd
        Standard deviation of true levels between batches made alike.
    typical_sd
        Standard deviation of what is seen of a batch of usual information: batch and measurement together. A batch
        known just so well counts as 1 in the charts with a memory.
    batches
        How many batches it rests on (0 when it was stated).
    freedom
        Degrees of freedom of the spread, infinite when it was stated.
    """

    centre: float
    centre_sd: float = 0.0
    batch_sd: float
    typical_sd: float
    batches: int = 0
    freedom: float = np.inf

    def spread(self, sd: Floats) -> Floats:
        """Standard deviation of what is seen of batches measured with the uncertainties `sd`.

        Raises
        ------
        DesignError
            If it would be 0: a batch known exactly among batches that do not scatter.
        """
        total = np.hypot(self.batch_sd, sd)
        if np.any(total <= 0):
            raise DesignError(
                say("A value is said to be known exactly where batches do not scatter; give its uncertainty.")
            )
        return np.asarray(total)

    def false_alarm(self, width: float = 3.0) -> float:
        """Chance that a sound new batch of usual information lies beyond limits of this width.

        Limits that rest on few batches are themselves uncertain, so this is more than the normal law says (Student's
        law with the baseline's degrees of freedom; an approximation).
        """
        reach = width / np.hypot(1.0, self.centre_sd / self.typical_sd)
        return float(2.0 * (ndtr(-reach) if np.isinf(self.freedom) else stdtr(self.freedom, -reach)))


def stated_baseline(centre: float, batch_sd: float, typical_sd: float | None = None) -> Baseline:
    """Make a baseline from a stated target and spread, as a works standard or an earlier season gives them.

    Raises
    ------
    DesignError
        If a number is not finite, a spread is negative, or the typical spread is not positive.
    """
    typical = batch_sd if typical_sd is None else typical_sd
    if not (np.isfinite(centre) and np.isfinite(batch_sd) and np.isfinite(typical) and batch_sd >= 0 and typical > 0):
        raise DesignError(
            say("A stated baseline needs a finite centre, a spread of 0 or more and a typical spread above 0.")
        )
    return Baseline(centre=centre, batch_sd=batch_sd, typical_sd=typical)


def estimate_baseline(value: ArrayLike, sd: ArrayLike | float = 0.0, *, robust: bool = True) -> Baseline:
    """Learn centre and spread from batches in the order in which they were roasted (phase I).

    Parameters
    ----------
    value
        Shape (batches,), NaN where not measured.
    sd
        Standard uncertainty of each value; one number for all, or shape (batches,).
    robust
        Clip odd ranges and odd batches. False gives the mean and the mean moving range of ISO 7870-2 where all values
        are known equally well.

    Raises
    ------
    DesignError
        If shapes differ, an uncertainty is negative, fewer than four batches were measured, or nothing scatters.

    Notes
    -----
    The spread solves mean(min(|d_i| / s_i, c)) = E min(|Z|, c) for the differences d_i of neighbours, with
    s_i² = 2 batch_sd² + u_i² + u_(i-1)²; c is infinite where not robust. Where the batches are not known equally well,
    range i has the weight 1 / s_i². The centre is Huber's weighted mean.
    """
    x, u = read_series(value, sd)
    known = np.isfinite(x)
    x, u = x[known], u[known]
    if x.size < _FEWEST:
        raise DesignError(
            say(
                "A baseline needs at least {fewest} measured batches, not {count}; chart it later.",
                fewest=_FEWEST,
                count=x.size,
            )
        )
    ranges = np.abs(np.diff(x))
    batch_sd = _between_batches(ranges, u[1:] ** 2 + u[:-1] ** 2, _CLIP_RANGE if robust else np.inf)
    total = np.hypot(batch_sd, u)
    if not np.all(total > 0):
        raise DesignError(
            say("Neighbouring batches hardly differ and are said to be known exactly; give uncertainties.")
        )
    weight = total**-2
    centre = _huber(x, total) if robust else float(weight @ x / weight.sum())
    return Baseline(
        centre=centre,
        centre_sd=float(weight.sum() ** -0.5) * (_HUBER_LOSS if robust else 1.0),
        batch_sd=batch_sd,
        # The mean information of a batch, so that the memory of a chart is told in usual batches.
        typical_sd=float(np.mean(weight) ** -0.5),
        batches=int(x.size),
        freedom=(_FREEDOM_CLIPPED if robust else _FREEDOM_MEAN) * (x.size - 1),
    )


def read_series(value: ArrayLike, sd: ArrayLike | float) -> tuple[Floats, Floats]:
    """Return values and uncertainties as arrays of one shape, or say what does not fit.

    A value without a finite uncertainty (a batch nobody tasted) comes back as not measured: both are NaN then.
    """
    x = np.array(value, dtype=float)
    if x.ndim != 1:
        raise DesignError(say("The values of a measure must be one list, one entry a batch."))
    u = np.asarray(sd, dtype=float)
    if u.ndim == 0:
        u = np.full(x.shape, float(u))
    if u.shape != x.shape:
        raise DesignError(
            say(
                "There are {values} values but {uncertainties} uncertainties; give one for each batch.",
                values=x.size,
                uncertainties=u.size,
            )
        )
    if np.any(u < 0):
        raise DesignError(say("An uncertainty must be 0 or more."))
    missing = ~np.isfinite(x) | ~np.isfinite(u)
    return np.where(missing, np.nan, x), np.where(missing, np.nan, u)


def own_evidence(level: ArrayLike, sd: ArrayLike, usual: ArrayLike, usual_sd: ArrayLike) -> tuple[Floats, Floats]:
    """Take out of an estimated level what it borrowed from its fellows, so that it can be charted against them.

    A level from the mixed model leans on the coffee's mean, the more so the less the batch was tasted. On a chart that
    would hide just the batches that stand out. With usual levels as the prior, N(usual, usual_sd²), what the batch's
    own cups say is (level / sd² - usual / usual_sd²) u² with u^-2 = sd^-2 - usual_sd^-2.

    Parameters
    ----------
    level, sd
        The batch's estimated level and its standard deviation, any shape.
    usual, usual_sd
        What was expected of an untasted batch of that coffee (in `panel.mixed`: `Posterior.new_batch`).

    Returns
    -------
    tuple of arrays
        Level and standard uncertainty by the batch's own cups; NaN and infinite where it has none.

    Raises
    ------
    DesignError
        If a standard deviation is not positive.
    """
    m, s, m0, s0 = (np.asarray(x, dtype=float) for x in np.broadcast_arrays(level, sd, usual, usual_sd))
    if np.any(s <= 0) or np.any(s0 <= 0):
        raise DesignError(say("Own evidence needs positive standard deviations of the level and of usual batches."))
    with np.errstate(divide="ignore", invalid="ignore"):
        # A gain of under one part in a thousand is rounding, not tasting.
        information = np.where(s < 0.9995 * s0, s**-2 - s0**-2, 0.0)
        own = np.where(information > 0, (m / s**2 - m0 / s0**2) / information, np.nan)
        return own, np.where(information > 0, information**-0.5, np.inf)


def clipped_mean(clip: float) -> float:
    """Mean of min(|Z|, clip) for a standard normal Z."""
    if np.isinf(clip):
        return float(np.sqrt(2.0 / np.pi))
    return float(np.sqrt(2.0 / np.pi) * (1.0 - np.exp(-0.5 * clip**2)) + 2.0 * clip * ndtr(-clip))


def _between_batches(ranges: Floats, measured: Floats, clip: float) -> float:
    """Solve for the batch standard deviation; `measured` is the variance that measurement gives each range."""
    found = _solve_spread(ranges, measured, np.ones(ranges.size), clip)
    if np.ptp(measured) > 0.0:
        # A range between well known batches says more: its share is what it tells of the batch variance.
        for _ in range(_REWEIGHTINGS):
            weight = 1.0 / (2.0 * max(found, _LEAST_SHARE * float(np.sqrt(measured.min()))) ** 2 + measured)
            found = _solve_spread(ranges, measured, weight, clip)
    return found


def _solve_spread(ranges: Floats, measured: Floats, weight: Floats, clip: float) -> float:
    wanted = clipped_mean(clip)
    share = weight / weight.sum()

    def excess(batch_sd: float) -> float:
        with np.errstate(divide="ignore", invalid="ignore"):
            scaled = np.where(ranges > 0, ranges / np.sqrt(2.0 * batch_sd**2 + measured), 0.0)
        return float(share @ np.minimum(scaled, clip)) - wanted

    if excess(0.0) <= 0.0:
        return 0.0
    low, high = 0.0, float(ranges.max())
    while excess(high) > 0.0:
        high *= 2.0
    for _ in range(55):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess(middle) > 0.0 else (low, middle)
    return 0.5 * (low + high)


def _huber(x: Floats, total: Floats) -> float:
    order = np.argsort(x)
    share = np.cumsum(total[order] ** -2)
    centre = float(x[order][np.searchsorted(share, 0.5 * share[-1])])
    for _ in range(200):
        distance = np.abs(x - centre) / total
        weight = total**-2 * np.minimum(1.0, _CLIP_LEVEL / np.maximum(distance, _CLIP_LEVEL))
        moved = float(weight @ x / weight.sum())
        if abs(moved - centre) <= 1e-12 * max(abs(centre), float(total.min())):
            return moved
        centre = moved
    return centre
