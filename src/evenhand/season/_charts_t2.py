"""Hotelling's T²: one chart for a whole profile or all roast measures, which sees a batch that is odd only as a whole.

References
----------
Tracy, N. D., Young, J. C., and Mason, R. L. (1992). Multivariate control charts for individual observations. Journal of
Quality Technology 24(2), 88-95 (limits). Holmes, D. S., and Mergen, A. E. (1993). Quality Engineering 5(4), 619-625
(spread from successive differences). Mason, R. L., Tracy, N. D., and Young, J. C. (1995). Journal of Quality Technology
27(2), 99-108 (which measures a signal comes from).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, chdtr, chdtri, fdtri

from evenhand.errors import DesignError
from evenhand.words import say

Floats = NDArray[np.float64]

# A difference of neighbours further out than this share of sound ones counts no further.
_CLIP_SHARE = 0.90


@dataclass(frozen=True, slots=True, kw_only=True)
class JointBaseline:
    """What is usual for several measures together.

    Attributes
    ----------
    centre
        Shape (measures,).
    batch_cov
        Covariance of true levels between batches, shape (measures, measures).
    batches
        Complete batches it rests on.
    freedom
        Degrees of freedom of the covariance.
    """

    centre: Floats
    batch_cov: Floats
    batches: int
    freedom: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JointChart:
    """T² of every batch, one entry a batch.

    Attributes
    ----------
    t_squared, limit
        The statistic and its limit; NaN where fewer than two measures, or none of one, are known.
    part
        Shape (batches, measures): by how much T² falls when a measure is left out; NaN where not measured.
    signals
        Numbers of the batches beyond their limit.
    """

    t_squared: Floats
    limit: Floats
    part: Floats
    signals: tuple[int, ...]


def estimate_joint_baseline(
    value: ArrayLike, sd: ArrayLike | float = 0.0, *, method: str = "robust_differences"
) -> JointBaseline:
    """Learn centre and covariance of several measures from batches in roasting order (phase I).

    Parameters
    ----------
    value
        Shape (batches, measures), NaN where not measured; batches with a gap are left out here.
    sd
        Standard uncertainties: a number, or shape (batches, measures).
    method
        "sample": mean and sample covariance, the textbook's. "differences": covariance from neighbours, so that a drift
        does not widen it. "robust_differences": the same, odd differences clipped, and the centre clipped too.

    Raises
    ------
    DesignError
        If shapes differ, the method is unknown, there are too few complete batches (two more than measures at the
        least, and more for the differences), or a measure does not vary or follows from the others.

    Notes
    -----
    The mean measurement variance is taken off the diagonal; eigenvalues that fall below 0 are set to 0.
    """
    x, u = _read_table(value, sd)
    complete = np.all(np.isfinite(x), axis=1)
    x, u = x[complete], u[complete]
    m, p = x.shape
    if method not in ("sample", "differences", "robust_differences"):
        raise DesignError(
            say("The method must be sample, differences or robust_differences, not {method!r}.", method=method)
        )
    freedom = float(m - 1) if method == "sample" else 2.0 * (m - 1) ** 2 / (3 * m - 4) if m > 1 else 0.0
    if freedom - p < 1.0:
        raise DesignError(
            say(
                "{batches} batches with all {measures} measures are too few for one joint chart; wait for more or "
                "leave measures out.",
                batches=m,
                measures=p,
            )
        )
    if method == "sample":
        centre, total = x.mean(axis=0), np.cov(x, rowvar=False).reshape(p, p)
    else:
        total = _from_differences(np.diff(x, axis=0), robust=method == "robust_differences")
        centre = x.mean(axis=0)
    _check_rank(total)
    if method == "robust_differences":
        centre = _robust_centre(x, total)
    roots, vectors = np.linalg.eigh(total - np.diag(np.mean(u**2, axis=0)))
    batch_cov = (vectors * np.maximum(roots, 0.0)) @ vectors.T
    return JointBaseline(centre=centre, batch_cov=batch_cov, batches=m, freedom=freedom)


def t_squared(
    value: ArrayLike,
    base: JointBaseline,
    sd: ArrayLike | float = 0.0,
    *,
    false_alarm: float = 0.0027,
    in_baseline: ArrayLike | bool = False,
) -> JointChart:
    """Chart T² of every batch against a joint baseline; each batch carries its own measurement uncertainty.

    Parameters
    ----------
    value, sd
        As in `estimate_joint_baseline`; a batch with gaps is judged by the measures it has.
    base
        From `estimate_joint_baseline`.
    false_alarm
        Chance of a signal for a sound batch; 0.0027 is that of three-sigma limits.
    in_baseline
        Whether a batch took part in the baseline: its T² then follows a Beta law, that of a new batch an F law.

    Raises
    ------
    DesignError
        If shapes differ, the false alarm rate is not between 0 and 1, or a measure neither varies nor is uncertain.
    """
    x, u = _read_table(value, sd)
    n, p = x.shape
    if p != base.centre.size:
        raise DesignError(
            say("The baseline knows {known} measures, but {given} are given.", known=base.centre.size, given=p)
        )
    if not 0 < false_alarm < 1:
        raise DesignError(say("A false alarm rate lies between 0 and 1, not at {rate:g}.", rate=false_alarm))
    old = np.broadcast_to(np.asarray(in_baseline, dtype=bool), (n,))
    statistic, limit, part = np.full(n, np.nan), np.full(n, np.nan), np.full((n, p), np.nan)
    for i in range(n):
        known = np.flatnonzero(np.isfinite(x[i]))
        if known.size == 0 or (known.size == 1 and p > 1):
            continue
        covariance = base.batch_cov[np.ix_(known, known)] + np.diag(u[i, known] ** 2)
        away = x[i, known] - base.centre[known]
        try:
            inverse = np.linalg.inv(covariance)
        except np.linalg.LinAlgError:
            raise DesignError(
                say("Batch number {number} has a measure without any spread; give uncertainties.", number=i + 1)
            ) from None
        pull = inverse @ away
        statistic[i] = away @ pull
        # Leaving a measure out takes just this off T²; it needs no second inverse.
        part[i, known] = pull**2 / np.diag(inverse)
        limit[i] = joint_limit(known.size, base, false_alarm, in_baseline=bool(old[i]))
    signals = tuple(int(i) for i in np.flatnonzero(statistic > limit))
    return JointChart(t_squared=statistic, limit=limit, part=part, signals=signals)


def joint_limit(measures: int, base: JointBaseline, false_alarm: float, *, in_baseline: bool) -> float:
    """Return the limit of T² by the Beta law (a batch of the baseline) or the F law (a new one).

    Exact for the sample covariance and equal uncertainties; for successive differences with their effective degrees of
    freedom (Scholz and Tosch, 1994) an approximation.
    """
    m, f, p = base.batches, base.freedom, measures
    if in_baseline:
        share = betaincinv(0.5 * p, 0.5 * (f - p), 1.0 - false_alarm)
        return float((m - 1) ** 2 / m * share)
    return float((1.0 + 1.0 / m) * p * f / (f - p + 1.0) * fdtri(p, f - p + 1.0, 1.0 - false_alarm))


def _read_table(value: ArrayLike, sd: ArrayLike | float) -> tuple[Floats, Floats]:
    x = np.array(value, dtype=float)
    if x.ndim != 2 or x.shape[1] == 0:
        raise DesignError(say("Several measures must be a table: one row a batch, one column a measure."))
    u = np.asarray(sd, dtype=float)
    if u.ndim == 0:
        u = np.full(x.shape, float(u))
    if u.shape != x.shape:
        raise DesignError(
            say(
                "The table of values has shape {values}, that of uncertainties {uncertainties}; give them alike.",
                values=x.shape,
                uncertainties=u.shape,
            )
        )
    if np.any(u < 0):
        raise DesignError(say("An uncertainty must be 0 or more."))
    missing = ~np.isfinite(x) | ~np.isfinite(u)
    return np.where(missing, np.nan, x), np.where(missing, 0.0, u)


def _from_differences(step: Floats, *, robust: bool) -> Floats:
    """Return half the mean square of the steps between neighbours, with far ones clipped where robust."""
    p = step.shape[1]
    covariance = np.asarray(0.5 * step.T @ step / len(step))
    if not robust:
        return covariance
    cut = float(chdtri(p, 1.0 - _CLIP_SHARE))
    # E[min(1, cut / d²) d²] / p for d² of chi-square law makes the clipped mean true for normal batches.
    true = float(chdtr(p + 2, cut) + cut / p * (1.0 - _CLIP_SHARE))
    # Medians of single measures are a start that odd batches cannot reach far.
    start = np.median(np.abs(step), axis=0) / (0.6745 * np.sqrt(2.0))
    if np.all(start > 0):
        covariance = np.diag(start**2)
    for _ in range(200):
        _check_rank(covariance)
        distance = np.einsum("ij,ij->i", step, np.linalg.solve(covariance, step.T).T) / 2.0
        weight = np.minimum(1.0, cut / np.maximum(distance, cut))
        moved = 0.5 * (step * weight[:, None]).T @ step / len(step) / true
        done = np.max(np.abs(moved - covariance)) <= 1e-10 * np.max(np.abs(moved))
        covariance = moved
        if done:
            break
    return covariance


def _robust_centre(x: Floats, covariance: Floats) -> Floats:
    cut = float(chdtri(x.shape[1], 1.0 - _CLIP_SHARE))
    centre = np.median(x, axis=0)
    for _ in range(200):
        away = x - centre
        distance = np.einsum("ij,ij->i", away, np.linalg.solve(covariance, away.T).T)
        weight = np.sqrt(np.minimum(1.0, cut / np.maximum(distance, cut)))
        moved = weight @ x / weight.sum()
        if np.max(np.abs(moved - centre)) <= 1e-12 * max(1.0, float(np.max(np.abs(moved)))):
            return np.asarray(moved)
        centre = moved
    return np.asarray(centre)


def _check_rank(covariance: Floats) -> None:
    size = np.sqrt(np.diag(covariance))
    if np.any(size <= 0) or np.linalg.eigvalsh(covariance / np.outer(size, size))[0] < 1e-10:
        raise DesignError(say("A measure does not vary, or follows from the others; leave it out of the joint chart."))
