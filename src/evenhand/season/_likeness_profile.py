"""How far one profile lies from another, counted in tolerances, with what the tastings leave open.

Differences that are only noise make two profiles look apart, the more so the more attributes there are. So the true
differences get a common scale that is learned from all attributes together, and are drawn in by it.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.mixed import Fit
from evenhand.units import Measured
from evenhand.words import Words, join, say

Array = NDArray[np.float64]

# The common scale of true differences, in tolerances: half-normal of scale 1 (common practice, no source), on a grid.
_SCALES: Final = np.exp(np.linspace(np.log(0.02), np.log(4.0), 33))
_LEAST_SD: Final = 1e-9
_CLEAR: Final = 0.95  # chance from which a sentence says so


@dataclass(frozen=True, slots=True)
class AttributeDifference:
    """One attribute of two profiles: the difference as tasted, and what is believed of it.

    `tasted` and `believed` are in points; `p_within` is the chance that the true difference is within the tolerance.
    """

    attribute: str
    tasted: Measured
    believed: Measured
    tolerance: float
    p_within: float


@dataclass(frozen=True, slots=True)
class ProfileDistance:
    """How far two profiles lie apart.

    Attributes
    ----------
    distance, lower, upper, level
        Root mean square of the differences, each over its tolerance: median and interval. 1 is as far as if every
        attribute stood at the edge of its tolerance.
    p_all_within
        Chance that every attribute's true difference is within its tolerance.
    limit, p_below_limit
        The distance that would matter, and the chance that the true one is below it.
    attributes
        One by one, the largest believed difference (in tolerances) first.
    says
        The same in sentences, and what it does not show.
    """

    distance: float
    lower: float
    upper: float
    level: float
    p_all_within: float
    limit: float
    p_below_limit: float
    attributes: tuple[AttributeDifference, ...]
    says: str


def lot_difference(fits: Sequence[Fit], lot: Hashable, other: Hashable) -> tuple[Array, Array]:
    """Mean of one lot's batches less that of another's, by attribute, out of mixed models with the lot as coffee.

    Parameters
    ----------
    fits
        One an attribute, from `evenhand.panel.mixed.fit_many` with `coffee` set to the green lot.
    lot, other
        Labels of the two lots.

    Returns
    -------
    Differences and their standard uncertainties, points, (attributes,) each. Tasters' levels cancel as far as the same
    tasters met both lots.

    Raises
    ------
    DesignError
        If a lot was not scored.
    """
    difference, sd = np.empty(len(fits)), np.empty(len(fits))
    for number, one in enumerate(fits):
        coffees = one.levels["coffee"]
        for name in (lot, other):
            if name not in coffees:
                raise DesignError(
                    say(
                        "No score of attribute {number} is of the lot {lot}; leave the attribute out.",
                        number=number,
                        lot=name,
                    )
                )
        a, b = coffees.index(lot), coffees.index(other)
        difference[number] = one.coefficients[a] - one.coefficients[b]
        cov = one.coefficients_cov
        sd[number] = np.sqrt(max(float(cov[a, a] + cov[b, b] - 2.0 * cov[a, b]), 0.0))
    return difference, sd


def profile_distance(
    attributes: Sequence[str],
    difference: ArrayLike,
    uncertainty: ArrayLike,
    tolerance: ArrayLike,
    rng: np.random.Generator,
    *,
    limit: float = 1.0,
    level: float = 0.9,
    draws: int = 8000,
    names: tuple[str, str] = (say("This lot"), say("the other")),
) -> ProfileDistance:
    """Measure how far one profile lies from another, or from its target.

    Parameters
    ----------
    attributes
        Names or words, k of them (join the service where there are several, as in "acidity, milk").
    difference
        One less the other as tasted, points, shape (k,): from `lot_difference`, or a level less its target.
    uncertainty
        Its standard uncertainties, shape (k,), or its covariance, shape (k, k).
    tolerance
        What is allowed either way, points, shape (k,).
    rng
        Source of randomness; the same state gives the same answer.
    limit
        The distance that would matter, in tolerances.
    level
        Level of the interval.
    draws
        How many; the chances given are good to about 0.5 / sqrt(draws).
    names
        What is compared, as names or words for the sentences.

    Returns
    -------
    ProfileDistance

    Raises
    ------
    DesignError
        If the arrays do not fit together.
    QuantityError
        If a tolerance, uncertainty, limit or level is impossible.

    Notes
    -----
    In units of tolerance: tasted = true + error with the given covariance; true is normal about 0 with a scale common
    to the attributes; the scale is summed over a grid with a half-normal prior.
    """
    from scipy.special import ndtr

    d, cov, tol = _arrays(attributes, difference, uncertainty, tolerance)
    if not (0 < level < 1 and limit > 0 and draws >= 100):
        raise QuantityError(
            say("The level lies between 0 and 1, the limit above 0, and there must be 100 draws or more.")
        )
    k = d.size
    values, vectors = np.linalg.eigh(cov / np.outer(tol, tol))
    values = np.maximum(values, _LEAST_SD**2)
    z = vectors.T @ (d / tol)
    total = values[None, :] + _SCALES[:, None] ** 2  # (scales, k): variance of what is tasted
    ln = -0.5 * (z**2 / total + np.log(total)).sum(axis=1) - 0.5 * _SCALES**2 + np.log(_SCALES)
    weight = np.exp(ln - ln.max())
    weight /= weight.sum()
    gain = _SCALES[:, None] ** 2 / total
    mean, variance = gain * z, gain * values  # in the directions of the errors: independent there
    # Each attribute by itself is a mixture of normals: no draws are needed.
    means = mean @ vectors.T  # (scales, k)
    sds = np.sqrt(np.maximum(variance @ (vectors.T**2), 1e-300))
    centre = weight @ means
    spread = np.sqrt(weight @ (sds**2 + (means - centre) ** 2))
    within = weight @ (ndtr((1.0 - means) / sds) - ndtr((-1.0 - means) / sds))
    picked = rng.choice(_SCALES.size, size=draws, p=weight)
    true = (mean[picked] + np.sqrt(variance[picked]) * rng.standard_normal((draws, k))) @ vectors.T
    distances = np.sqrt(np.mean(true**2, axis=1))
    low, middle, high = (float(x) for x in np.quantile(distances, [0.5 - level / 2, 0.5, 0.5 + level / 2]))
    p_all = float(np.mean(np.all(np.abs(true) <= 1.0, axis=1)))
    found = [
        AttributeDifference(
            attributes[i],
            Measured(float(d[i]), float(np.sqrt(cov[i, i]))),
            Measured(float(centre[i] * tol[i]), float(spread[i] * tol[i])),
            float(tol[i]),
            float(min(max(within[i], 0.0), 1.0)),
        )
        for i in np.argsort(-np.abs(centre), kind="stable")
    ]
    below = float(np.mean(distances < limit))
    says = _sentence(names, found, (low, middle, high), level, p_all, limit, below)
    return ProfileDistance(middle, low, high, level, p_all, limit, below, tuple(found), says)


def _arrays(
    attributes: Sequence[str], difference: ArrayLike, uncertainty: ArrayLike, tolerance: ArrayLike
) -> tuple[Array, Array, Array]:
    d, tol = np.asarray(difference, dtype=float), np.asarray(tolerance, dtype=float)
    given = np.asarray(uncertainty, dtype=float)
    if d.ndim != 1 or d.size == 0 or len(attributes) != d.size or tol.shape != d.shape:
        raise DesignError(say("Attributes, differences and tolerances must be lists of one length, one entry or more."))
    if given.shape not in (d.shape, (d.size, d.size)):
        raise DesignError(
            say("The uncertainty must be one standard uncertainty an attribute, or their covariance matrix.")
        )
    if not (np.all(np.isfinite(d)) and np.all(np.isfinite(given)) and np.all(np.isfinite(tol) & (tol > 0))):
        raise QuantityError(say("Differences and uncertainties must be finite, and tolerances finite and above 0."))
    if given.ndim == 1:
        if np.any(given < 0):
            raise QuantityError(say("A standard uncertainty must be 0 or more."))
        return d, np.diag(given**2), tol
    scale = max(float(np.abs(given).max()), 1e-300)
    if np.abs(given - given.T).max() > 1e-9 * scale or np.linalg.eigvalsh(given).min() < -1e-9 * scale:
        raise QuantityError(say("The covariance must be symmetric and give no negative variance."))
    return d, given, tol


def _sentence(
    names: tuple[str, str],
    found: Sequence[AttributeDifference],
    distance: tuple[float, float, float],
    level: float,
    p_all: float,
    limit: float,
    below: float,
) -> Words:
    first = found[0]
    one, other = names
    low, middle, high = distance
    parts = [
        say(
            "{one} lies {distance:.1f} tolerances from {other} ({level:.0f} % interval {low:.1f} to {high:.1f}), most "
            "in {attribute} ({points:+.1f} points).",
            one=one,
            distance=middle,
            other=other,
            level=100 * level,
            low=low,
            high=high,
            attribute=first.attribute,
            points=first.believed.value,
        ),
        say("Every attribute is within its tolerance with a chance of {chance:.0f} %.", chance=100 * p_all),
    ]
    by = say("{limit:g} tolerance", limit=limit) if limit == 1 else say("{limit:g} tolerances", limit=limit)
    if below >= _CLEAR:
        parts.append(
            say(
                "They are alike within {limit} ({chance:.0f} %), in the attributes that were scored.",
                limit=by,
                chance=100 * below,
            )
        )
    elif below <= 1.0 - _CLEAR:
        parts.append(say("They differ by more than {limit} ({chance:.0f} %).", limit=by, chance=100 * (1.0 - below)))
    else:
        parts.append(
            say(
                "This shows neither that they are alike within {limit} nor that they are farther apart: taste more.",
                limit=by,
            )
        )
    return join(parts, " ")
