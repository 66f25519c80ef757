"""The measures behind the assessment of a taster, each from plain arrays and each with its uncertainty."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, fdtrc, ndtri, stdtr, stdtrit

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

#: Level of every interval below.
LEVEL = 0.90
_Z = float(ndtri(0.5 + LEVEL / 2.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Discrimination:
    """Whether a taster's scores tell batches apart: one-way analysis of variance over batches.

    `f` is the variance between batches over that between replicates, with its degrees of freedom and `p`; `between_sd`
    (points) is the standard deviation of the batches as this taster hears them, replicates' scatter taken off.
    """

    f: float
    df_between: int
    df_within: int
    p: float
    between_sd: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeatability:
    """The scatter of a taster's scores on one batch, in points.

    `lower90` and `upper90` bound `sd`. `others_sd` is the pooled value of the other tasters (None without), and
    `p_worse` the probability of so large a ratio if this taster were as repeatable as they.
    """

    sd: float
    lower90: float
    upper90: float
    df: int
    others_sd: float | None
    p_worse: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """How a taster's batch means follow those of the others.

    `correlation` has 90 % bounds (Fisher's transformation; None under four batches) and a two-sided `p`. `slope` is
    points of this taster for one point of the others, with its standard error. The others' mean has an error of its
    own, so a slope somewhat below 1 is normal.
    """

    correlation: float
    lower90: float | None
    upper90: float | None
    p: float
    slope: float
    slope_se: float
    batches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ScaleUse:
    """Where on the scale a taster sits and how much of it is used.

    `offset` (points) is the mean difference from the others on shared batches, with standard error and two-sided `p`.
    `spread_ratio` is the standard deviation of this taster's batch means over that of the others (root mean square), on
    shared batches, with 90 % bounds by the jackknife. Either is None where it cannot be told.
    """

    offset: float | None
    offset_se: float | None
    p: float | None
    batches: int
    spread_ratio: float | None
    lower90: float | None
    upper90: float | None
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """The trend of a taster's difference from the others over sessions.

    `slope` is in points for one unit of time, with its standard error and two-sided `p`, from one mean a session.
    """

    slope: float
    slope_se: float
    p: float
    sessions: int


def cell_means(y: Floats, b: Ints, t: Ints, n_b: int, n_t: int) -> tuple[Floats, Floats]:
    """Return means (NaN where empty) and counts by batch and taster, both (n_b, n_t)."""
    cell = b * n_t + t
    counts = np.bincount(cell, minlength=n_b * n_t).astype(float)
    sums = np.bincount(cell, y, minlength=n_b * n_t)
    means = np.divide(sums, counts, out=np.full(n_b * n_t, np.nan), where=counts > 0)
    return means.reshape(n_b, n_t), counts.reshape(n_b, n_t)


def effects_of_others(means: Floats, j: int) -> Floats:
    """Return the batch means (n_b,) of all tasters but `j`, each corrected for that taster's own level.

    Least squares of cell mean = batch + taster over the others, tasters' levels adding to nothing; so a batch that only
    mild tasters met is not taken for a weak one. NaN where no other tasted the batch.
    """
    y = np.delete(means, j, axis=1)
    there = ~np.isnan(y)
    m = there.astype(float)
    filled = np.where(there, y, 0.0)
    n_batch = m.sum(axis=1)
    met = n_batch > 0
    share = np.divide(m, n_batch[:, None], out=np.zeros_like(m), where=met[:, None])
    mean = np.divide(filled.sum(axis=1), n_batch, out=np.zeros_like(n_batch), where=met)
    normal = np.diag(m.sum(axis=0)) - m.T @ share
    level = np.linalg.pinv(normal, hermitian=True) @ ((filled - mean[:, None] * m).sum(axis=0))
    return np.where(met, mean - share @ level, np.nan)


def within_squares(y: Floats, b: Ints) -> tuple[float, int]:
    """Return the sum of squares within batches and its degrees of freedom."""
    _, inside, count = np.unique(b, return_inverse=True, return_counts=True)
    centre = np.bincount(inside, y) / count
    return float(np.sum((y - centre[inside]) ** 2)), len(y) - len(count)


def discrimination(y: Floats, b: Ints) -> Discrimination | None:
    """Return the one-way analysis of variance over batches, or None without replicates or without any difference."""
    _, inside, count = np.unique(b, return_inverse=True, return_counts=True)
    k, n = len(count), len(y)
    if k < 2 or n == k:
        return None
    centre = np.bincount(inside, y) / count
    between = float(np.sum(count * (centre - y.mean()) ** 2)) / (k - 1)
    inner, df = within_squares(y, b)
    inner /= df
    small = 1e-18 * float(np.max(np.abs(y)) ** 2)  # rounding, not scatter
    if inner <= small and between <= small:
        return None
    f = np.inf if inner <= small else between / inner
    typical = (n - float(np.sum(count**2)) / n) / (k - 1)
    return Discrimination(
        f=float(f),
        df_between=k - 1,
        df_within=df,
        p=0.0 if np.isinf(f) else float(fdtrc(k - 1, df, f)),
        between_sd=float(np.sqrt(max(0.0, between - inner) / typical)),
    )


def repeatability(within: Sequence[tuple[float, int]], j: int) -> Repeatability | None:
    """Return the replicates' standard deviation of taster `j`, or None without replicates."""
    squares, df = within[j]
    if df < 1:
        return None
    others = sum(s for i, (s, _) in enumerate(within) if i != j)
    others_df = sum(d for i, (_, d) in enumerate(within) if i != j)
    p_worse = None
    if others_df > 0:
        p_worse = float(fdtrc(df, others_df, squares / df / (others / others_df))) if others > 0 else None
    half = (1.0 - LEVEL) / 2.0
    return Repeatability(
        sd=float(np.sqrt(squares / df)),
        lower90=float(np.sqrt(squares / chdtri(df, half))),
        upper90=float(np.sqrt(squares / chdtri(df, 1.0 - half))),
        df=df,
        others_sd=float(np.sqrt(others / others_df)) if others_df > 0 else None,
        p_worse=p_worse,
    )


def agreement(mine: Floats, others: Floats) -> Agreement | None:
    """Return correlation and slope over shared batches; None under three of them or where one side never varies."""
    shared = ~np.isnan(mine) & ~np.isnan(others)
    n = int(shared.sum())
    if n < 3:
        return None
    x, y = others[shared] - others[shared].mean(), mine[shared] - mine[shared].mean()
    sxx, syy, sxy = float(x @ x), float(y @ y), float(x @ y)
    small = 1e-18 * n * float(max(np.max(np.abs(others[shared])), np.max(np.abs(mine[shared]))) ** 2)
    if sxx <= small or syy <= small:
        return None
    r = float(np.clip(sxy / np.sqrt(sxx * syy), -1.0, 1.0))
    slope = sxy / sxx
    se = float(np.sqrt(max(0.0, syy - slope * sxy) / (n - 2) / sxx))
    lower = upper = None
    if n > 3:
        centre, wide = np.arctanh(np.clip(r, -1 + 1e-12, 1 - 1e-12)), _Z / np.sqrt(n - 3)
        lower, upper = float(np.tanh(centre - wide)), float(np.tanh(centre + wide))
    return Agreement(
        correlation=r,
        lower90=lower,
        upper90=upper,
        p=_two_sided(slope, se, n - 2),
        slope=float(slope),
        slope_se=se,
        batches=n,
    )


def scale_use(y: Floats, means: Floats, others: Floats, j: int) -> ScaleUse:
    """Return offset and spread of taster `j` (`y`: own raw scores) against the others on shared batches."""
    mine = means[:, j]
    shared = ~np.isnan(mine) & ~np.isnan(others)
    n = int(shared.sum())
    offset = offset_se = p = None
    if n >= 1:
        difference = mine[shared] - others[shared]
        offset = float(difference.mean())
    if offset is not None and n >= 2:
        offset_se = float(difference.std(ddof=1) / np.sqrt(n))
        p = _two_sided(offset, offset_se, n - 1)
    log_ratio, error = _log_spread_ratio(mine, np.delete(means, j, axis=1))
    known = log_ratio is not None and error is not None
    return ScaleUse(
        offset=offset,
        offset_se=offset_se,
        p=p,
        batches=n,
        spread_ratio=float(np.exp(log_ratio)) if log_ratio is not None else None,
        lower90=float(np.exp(log_ratio - _Z * error)) if known else None,  # type: ignore[operator]
        upper90=float(np.exp(log_ratio + _Z * error)) if known else None,  # type: ignore[operator]
        lowest=float(y.min()),
        highest=float(y.max()),
    )


def drift(y: Floats, others: Floats, when: Floats) -> Drift | None:
    """Return the trend over time of own score less the others'; None under three sessions shared with others."""
    shared = ~np.isnan(others)
    if not shared.any():
        return None
    times, inside, count = np.unique(when[shared], return_inverse=True, return_counts=True)
    if len(times) < 3:
        return None
    mean = np.bincount(inside, (y - others)[shared]) / count
    # One mean a session, weighted by its scores: what shifts a whole session must not count as many witnesses.
    weight = count / count.sum()
    x = times - weight @ times
    sxx = float(weight @ x**2)
    slope = float(weight @ (x * mean)) / sxx
    rest = mean - weight @ mean - slope * x
    df = len(times) - 2
    se = float(np.sqrt(max(0.0, float(weight @ rest**2)) / df / sxx))
    return Drift(slope=slope, slope_se=se, p=_two_sided(slope, se, df), sessions=len(times))


def _two_sided(estimate: float, se: float, df: int) -> float:
    """Return the two-sided p of Student's t; a se of rounding size settles it one way or the other."""
    if se <= 1e-12 * max(1.0, abs(estimate)):
        return 1.0 if abs(estimate) <= 1e-12 else 0.0
    return float(2.0 * stdtr(df, -abs(estimate) / se))


def _log_spread_ratio(mine: Floats, rest: Floats) -> tuple[float | None, float | None]:
    """Return the log ratio of spreads and its jackknife standard error over batches (None where not to be had).

    The ratio is half the log of own variance over the mean variance of the others, each on the batches both tasted.
    """
    keep = ~np.isnan(mine)
    mine, rest = mine[keep], rest[keep]
    there = ~np.isnan(rest)
    use = there.sum(axis=0) >= 3
    if not use.any():
        return None, None
    there, n = there[:, use], len(mine)
    own_all, own_without = _variances(np.broadcast_to(mine[:, None], there.shape), there)
    rest_all, rest_without = _variances(rest[:, use], there)
    count = there.sum(axis=0)
    top, bottom = float(own_all @ count), float(rest_all @ count)
    if top <= 0.0 or bottom <= 0.0:
        return None, None
    whole = 0.5 * float(np.log(top / bottom))
    left = count - there
    tops, bottoms = np.sum(own_without * left, axis=1), np.sum(rest_without * left, axis=1)
    if n < 5 or np.any(tops <= 1e-12 * top) or np.any(bottoms <= 1e-12 * bottom):
        return whole, None
    values = 0.5 * np.log(tops / bottoms)
    return whole, float(np.sqrt((n - 1) / n * np.sum((values - values.mean()) ** 2)))


def _variances(x: Floats, there: NDArray[np.bool_]) -> tuple[Floats, Floats]:
    """Return the variance of each column where `there`, and (rows, columns) the same without each row in turn."""
    count = there.sum(axis=0)
    filled = np.where(there, x, 0.0)
    away = np.where(there, filled - filled.sum(axis=0) / count, 0.0)
    squares = np.sum(away**2, axis=0)
    # Taking one value out of n lowers the sum of squares by its squared distance times n / (n - 1).
    left = squares - away**2 * (count / (count - 1))
    return squares / (count - 1), np.maximum(left, 0.0) / np.maximum(count - there - 1, 1)


def t_quantile(df: int) -> float:
    """Return the two-sided 90 % point of Student's t."""
    return float(stdtrit(df, 0.5 + LEVEL / 2.0))
