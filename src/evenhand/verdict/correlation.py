"""How attributes move together: in the roast, and in the noise of tasting it.

The levels of a batch are estimated one attribute at a time. Their errors are tied nonetheless: tasters who score one
attribute high on a cup tend to score its neighbours high (noise), and roasts that go off go off in company (signal).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Correlations:
    """Correlation matrices of shape (attributes, attributes) for the roast's own signal and for the tasting noise."""

    signal: FloatArray
    noise: FloatArray


def estimate(adjusted: FloatArray, batch: IntArray, coffee: IntArray) -> Correlations:
    """Estimate both correlations by moments, shrunk towards none where there is little data.

    Parameters
    ----------
    adjusted
        Mean score of each taster on each batch after the pull's and the taster's part were taken out, shape
        (batch x taster pairs, attributes), NaN where not scored.
    batch
        Index of the batch of each pair, shape (pairs,).
    coffee
        Index of the coffee of each batch, shape (batches,).

    Notes
    -----
    Noise: products of deviations from the batch mean over tasters. Signal: products of batch means about their
    coffee's mean, less the noise they carry. Each matrix is shrunk by d / (d + pairs of data) towards the identity and
    made positive definite by clipping eigenvalues.
    """
    d = adjusted.shape[1]
    seen = np.isfinite(adjusted)
    filled = np.where(seen, adjusted, 0.0)
    batches = len(coffee)

    def sums(values: FloatArray, index: IntArray, length: int) -> FloatArray:
        out = np.zeros((length, values.shape[1]))
        np.add.at(out, index, values)
        return out

    tasters = sums(seen.astype(float), batch, batches)
    means = np.divide(sums(filled, batch, batches), tasters, out=np.zeros((batches, d)), where=tasters > 0)
    several = seen & (tasters[batch] > 1)
    within = np.where(several, filled - means[batch], 0.0)
    # Centring on a batch of t tasters leaves t - 1 free.
    lost = _pairs(tasters > 1)
    freedom = np.maximum(_pairs(several) - lost, 1.0)
    noise_cov = within.T @ within / freedom
    noise = _to_correlation(noise_cov, freedom)

    has = tasters > 0
    coffees = int(coffee.max()) + 1 if batches else 0
    per_coffee = sums(has.astype(float), coffee, coffees)
    centre = np.divide(sums(means * has, coffee, coffees), per_coffee, out=np.zeros((coffees, d)), where=per_coffee > 0)
    fellows = has & (per_coffee[coffee] > 1)
    between = np.where(fellows, means - centre[coffee], 0.0)
    # Centring on a coffee takes one batch of it away, for each pair of columns that it has.
    pairs = np.maximum(_pairs(fellows) - _pairs(per_coffee > 1), 1.0)
    average_tasters = np.maximum(tasters.sum(axis=0) / np.maximum(has.sum(axis=0), 1), 1.0)
    carried = noise_cov / np.sqrt(np.outer(average_tasters, average_tasters))
    total = between.T @ between / pairs
    # Where noise explains all, keep a tenth of the total so that a correlation stays defined.
    diagonal = np.maximum(np.diag(total) - np.diag(carried), 0.1 * np.diag(total))
    signal_cov = total - carried
    np.fill_diagonal(signal_cov, diagonal)
    return Correlations(signal=_to_correlation(signal_cov, pairs), noise=noise)


def _pairs(mask: NDArray[np.bool_]) -> FloatArray:
    present = mask.astype(float)
    return np.asarray(present.T @ present, dtype=float)


def _to_correlation(covariance: FloatArray, weight: FloatArray) -> FloatArray:
    """Scale to a correlation matrix, shrink by the weight of data behind each entry, make it positive definite."""
    d = len(covariance)
    scale = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    product = np.outer(scale, scale)
    raw = np.divide(covariance, product, out=np.zeros((d, d)), where=product > 0)
    shrunk = np.clip(raw, -0.95, 0.95) * (weight / (weight + d))
    np.fill_diagonal(shrunk, 1.0)
    values, vectors = np.linalg.eigh(0.5 * (shrunk + shrunk.T))
    fixed = (vectors * np.maximum(values, 0.02)) @ vectors.T
    root = np.sqrt(np.diag(fixed))
    return np.asarray(fixed / np.outer(root, root), dtype=float)


def of_errors(
    correlations: Correlations, signal_var: FloatArray, noise_var: FloatArray, rest_var: FloatArray
) -> FloatArray:
    """Correlation between the attributes' errors for each batch.

    The error of a shrunk estimate is (1 - s) of the roast's own deviation less s of the noise, plus what is not known
    of coffee, panel and response; each part brings its own correlation. A sum of such products is positive definite.

    Parameters
    ----------
    signal_var, noise_var, rest_var
        Parts of the error variance, points squared, shape (batches, attributes).

    Returns
    -------
    ndarray
        Shape (batches, attributes, attributes).
    """

    def outer(part: FloatArray) -> FloatArray:
        root = np.sqrt(np.maximum(part, 0.0))
        return np.asarray(root[:, :, None] * root[:, None, :], dtype=float)

    covariance = correlations.signal * outer(signal_var) + correlations.noise * (outer(noise_var) + outer(rest_var))
    d = covariance.shape[1]
    covariance[:, np.arange(d), np.arange(d)] += 1e-12
    root = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    return np.asarray(covariance / (root[:, :, None] * root[:, None, :]), dtype=float)
