"""What the rows of one batch share: marks, covariance, and the classes of pairs of rows that it cannot tell apart."""

from typing import Final

import numpy as np

from evenhand.panel._mixed_design import Floats, Ints

BATCH: Final = 0
CELL: Final = 1
PULL: Final = 2
RESIDUAL: Final = 3
MOST_CLASSES: Final = 80


def sharing(place: Ints, pull: Ints) -> Floats:
    """Mark the pairs of rows of a batch that share a taster or a pull.

    Parameters
    ----------
    place, pull
        Numbers of taster and pull, shape (batches, n); -1 where there is no pull.

    Returns
    -------
    Array of shape (batches, 2, n, n) of ones and zeros.
    """
    out = np.empty((*place.shape[:1], 2, place.shape[1], place.shape[1]))
    out[:, 0] = place[:, :, None] == place[:, None, :]
    out[:, 1] = (pull[:, :, None] == pull[:, None, :]) & (pull[:, :, None] >= 0)
    return out


def classes_of(share: Floats, most: int = MOST_CLASSES) -> Ints | None:
    """Find the coarsest split of the pairs of rows on which every polynomial in J, B and P is constant.

    Parameters
    ----------
    share
        B and P of one pattern, shape (2, n, n).
    most
        Give up beyond this number of classes.

    Returns
    -------
    The number of each pair's class, shape (n, n), symmetric; None when there would be too many.

    Notes
    -----
    The split starts from the identity and is refined until B S and P S are constant on its classes for every class's
    marker S, counted exactly. Then the span of the markers holds I and is closed under multiplication by J, B and P.
    Only symmetric matrices are wanted, so a class and its transpose count as one.
    """
    n = share.shape[-1]
    whole = share.astype(np.int64)
    label = (np.eye(n, dtype=np.int64) + 2 * whole[0] + 4 * whole[1]).reshape(-1)
    count = 0
    while True:
        _, label = np.unique(label, return_inverse=True)
        found = int(label.max()) + 1
        if found > 2 * most:
            return None
        if found == count:
            break
        count = found
        marker = (label.reshape(n, n)[:, :, None] == np.arange(found)).astype(np.float64).reshape(n, -1)
        seen = [(m.astype(np.float64) @ marker).reshape(n * n, found) for m in (whole[0], whole[1])]
        totals = np.broadcast_to(marker.sum(0), (n, n * found)).reshape(n * n, found)
        _, label = np.unique(np.column_stack([label[:, None], *seen, totals]), axis=0, return_inverse=True)
        label = label.reshape(-1)
    square = label.reshape(n, n)
    low, high = np.minimum(square, square.T), np.maximum(square, square.T)
    _, both = np.unique((low * count + high).reshape(-1), return_inverse=True)
    both = both.reshape(n, n)
    return both.astype(np.int64) if int(both.max()) < most else None


def covariance(share: Floats, variances: Floats) -> Floats:
    """Covariance of a batch's rows, shape (batches, n, n), from what they share and the four variances."""
    v = variances[CELL] * share[:, 0] + variances[PULL] * share[:, 1] + variances[BATCH]
    index = np.arange(share.shape[-1])
    v[:, index, index] += variances[RESIDUAL]
    return np.asarray(v)


def invert(share: Floats, variances: Floats) -> tuple[Floats, Floats]:
    """Inverse covariance of each batch and its log determinant."""
    scale = variances[RESIDUAL]  # by which the matrix is divided, so that no score's unit makes it overflow
    v = covariance(share, variances / scale)
    logs = np.linalg.slogdet(v)[1] + share.shape[-1] * np.log(scale)
    return np.linalg.inv(v) / scale, logs


def apply_terms(share: Floats, columns: Floats) -> Floats:
    """Multiply by J, B, P and I, that is sum over the batch, the taster and the pull, or leave as it is: (4, ...)."""
    out = np.empty((4, *columns.shape))
    out[BATCH] = columns.sum(1, keepdims=True)
    out[CELL] = share[:, 0] @ columns
    out[PULL] = share[:, 1] @ columns
    out[RESIDUAL] = columns
    return out
