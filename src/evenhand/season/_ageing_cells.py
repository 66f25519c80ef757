"""The grid behind an ageing line: three scatters and three storage effects are summed; lines in a cell are exact."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import erf, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# A half-normal of scale 1 in six pieces: the mass of each and its mean.
_SPREAD_EDGES: Final = np.array([0.0, 0.12, 0.35, 0.7, 1.2, 1.8, 9.0])
_SPREAD_MASS: Final = np.diff([erf(edge / sqrt(2.0)) for edge in _SPREAD_EDGES])
_SPREAD_STEPS: Final = -np.diff(sqrt(2.0 / pi) * np.exp(-0.5 * _SPREAD_EDGES**2)) / _SPREAD_MASS
_PARTS: Final = 2000  # equal parts of the weight, each of which carries the cell at its middle on


@dataclass(frozen=True, slots=True)
class Grid:
    """What is summed over: storage effects with their weights, scatters of batches, scales of the lots' scatters."""

    effects: Array
    ln_effect_weight: Array
    scatter: Array
    level_spread_scale: float
    change_spread_scale: float


@dataclass(frozen=True, slots=True)
class Cells:
    """The cells that stand for all, one entry a cell, and the logarithm of the evidence of all of them."""

    weight: Array
    effects: Array
    scatter: Array
    change_spread: Array
    common_variance: Array
    mean: Array
    cov: Array
    ln_evidence: float


def solve(
    y: Array, sd: Array, member: NDArray[np.int_], lots: int, stored: Array, grid: Grid, change_prior_sd: float
) -> Cells:
    """Weigh every cell of the grid, and work out each lot's line in those that stand for all."""
    spread_ln = np.log(_SPREAD_MASS)
    spreads = np.stack([x.ravel() for x in np.meshgrid(_SPREAD_STEPS, _SPREAD_STEPS, indexing="ij")], axis=1)
    ln_spreads = (spread_ln[:, None] + spread_ln[None, :]).ravel()
    spreads = spreads * [grid.level_spread_scale, grid.change_spread_scale]
    is_of = (member[:, None] == np.arange(lots)).astype(float)
    w = 1.0 / (sd**2 + grid.scatter[:, None, None] ** 2)  # (scatter, 1, batches)
    # Sums of each lot in each cell of scatter and storage effects: (scatter, effects, lots).
    sums = [
        np.broadcast_to(part @ is_of, (len(grid.scatter), len(stored), lots))
        for part in (w, w * stored, w * stored**2, w * y, w * y * stored)
    ]
    constant = (w * y**2 - np.log(w)).sum(axis=2)  # (scatter, 1)
    ln = np.empty((len(grid.scatter), len(stored), len(spreads)))
    for number, spread in enumerate(spreads):
        ln[:, :, number] = ln_evidence_of(sums, constant, spread, change_prior_sd)
    ln += grid.ln_effect_weight[None, :, None] + ln_spreads
    weight = np.exp(ln - ln.max())
    # Too many cells to carry on: take those at the middle of equal parts of the whole weight, as often as they come.
    cells, count = np.unique(equal_parts(weight.ravel(), _PARTS), return_counts=True)
    at = np.unravel_index(cells, weight.shape)
    chosen = count / _PARTS
    mean, cov, common_variance = lines_of([part[at[0], at[1]] for part in sums], spreads[at[2]], change_prior_sd)
    # The prior on the common change is not normalised in the cells, and differs where priors are to be compared.
    evidence = float(np.log(weight.sum()) + ln.max()) - float(np.log(change_prior_sd))
    return Cells(
        chosen, grid.effects[at[1]], grid.scatter[at[0]], spreads[at[2], 1], common_variance, mean, cov, evidence
    )


def equal_parts(weight: Array, parts: int) -> NDArray[np.intp]:
    """Number of the cell at the middle of each of so many equal parts of the whole weight."""
    heap = np.cumsum(weight) / weight.sum()
    middle = (np.arange(parts) + 0.5) / parts
    return np.minimum(np.searchsorted(heap, middle), weight.size - 1)


def ln_evidence_of(sums: Sequence[Array], constant: Array, spread: Array, change_prior_sd: float) -> Array:
    """Logarithm of the marginal likelihood in each cell of scatter and storage effects, up to a constant.

    Every 2 x 2 matrix is written out as its elements: many tiny matrices are slow in any other form.
    """
    s0, s1, s2, t0, t1 = sums
    p0, p1 = 1.0 / spread**2
    a, b, c = s0 + p0, s1, s2 + p1  # precision of a lot's line, given the common one
    det = a * c - b * b
    i0, i1, i2 = c / det, -b / det, a / det
    # The lots' evidence on the common line: precision and precision times mean, summed over lots.
    h0 = (p0 - p0 * i0 * p0).sum(-1)
    h1 = (-p0 * i1 * p1).sum(-1)
    h2 = (p1 - p1 * i2 * p1).sum(-1) + 1.0 / change_prior_sd**2
    g0, g1 = (p0 * (i0 * t0 + i1 * t1)).sum(-1), (p1 * (i1 * t0 + i2 * t1)).sum(-1)
    common_det = h0 * h2 - h1 * h1
    common = (h2 * g0 * g0 - 2.0 * h1 * g0 * g1 + h0 * g1 * g1) / common_det
    own = (i0 * t0 * t0 + 2.0 * i1 * t0 * t1 + i2 * t1 * t1).sum(-1)
    ln_dets = np.log(det).sum(-1) - s0.shape[-1] * np.log(p0 * p1) + np.log(common_det)
    return np.asarray(-0.5 * (constant - own - common + ln_dets))


def lines_of(sums: Sequence[Array], spreads: Array, change_prior_sd: float) -> tuple[Array, Array, Array]:
    """Lines' means (cells, lots + 1, 2), covariances, and the variance of the common change (cells,)."""
    s0, s1, s2, t0, t1 = sums
    gram = np.stack([np.stack([s0, s1], -1), np.stack([s1, s2], -1)], -2)  # (cells, lots, 2, 2)
    pull = np.stack([t0, t1], -1)[..., None]
    prior = (1.0 / spreads**2)[:, None, :, None] * np.eye(2)
    inner = _inverse(prior + gram)
    lean = inner @ prior  # how far a lot leans on the common line
    total = (prior - prior @ lean).sum(axis=1)
    total[:, 1, 1] += 1.0 / change_prior_sd**2
    spread = _inverse(total)
    common = spread @ (np.swapaxes(lean, -1, -2) @ pull).sum(axis=1)
    own = inner @ pull + lean @ common[:, None]
    own_cov = inner + lean @ spread[:, None] @ np.swapaxes(lean, -1, -2)
    fresh_cov = spread + (spreads**2)[:, :, None] * np.eye(2)
    mean = np.concatenate([own[..., 0], common[:, None, :, 0]], axis=1)
    cov = np.concatenate([own_cov, fresh_cov[:, None]], axis=1)
    return mean, cov, spread[:, 1, 1]


def _inverse(matrix: Array) -> Array:
    """Inverse of many symmetric 2 x 2 matrices."""
    a, b, c = matrix[..., 0, 0], matrix[..., 0, 1], matrix[..., 1, 1]
    inverse = np.stack([np.stack([c, -b], -1), np.stack([-b, a], -1)], -2)
    return np.asarray(inverse / (a * c - b * b)[..., None, None])
