"""The restricted log-likelihood of one attribute, its gradient and its information, at given variances.

Tasters, coffee means and covariates form the border of the mixed-model equations. Each border coefficient is written as
u = shift + scale * v, where v has prior variance 1 (tasters, and coefficients with a prior) or none (flat ones, scale
1). A variance of zero then is a scale of zero and needs no special case.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.panel._blocks import Blocks, Contraction
from evenhand.panel._mixed_design import Bools, Design, Floats

IN_BLOCK: Final = np.array([0, 2, 3, 4])  # where batch, batch x taster, pull and residual stand among TERMS
TASTER: Final = 1
_LOG_2PI: Final = float(np.log(2 * np.pi))


@dataclass(frozen=True, slots=True)
class Problem:
    """One attribute to fit: its shifted scores, their moments, and what is known beforehand.

    `shift` and `scale` (width,) belong to the border's columns; tasters have scale nan here, since theirs is estimated.
    `flat` marks columns without a prior. `log_median` and `log_sd` (5,) are the prior of each log standard deviation,
    with `log_sd` infinite where there is none. `wanted` (5,) marks the variances to be estimated.
    """

    blocks: Blocks
    moments: Floats
    score: Floats
    shift: Floats
    scale: Floats
    flat: Bools
    log_median: Floats
    log_sd: Floats
    wanted: Bools

    @property
    def design(self) -> Design:
        """The sorted rows."""
        return self.blocks.design

    @property
    def has_prior(self) -> Bools:
        """Which variances have a prior, as booleans."""
        return np.isfinite(self.log_sd)

    def log_prior(self, variances: Floats) -> float:
        """Log density of the variances' priors, on the scale of the log standard deviations."""
        known = self.has_prior & self.wanted
        if not known.any():
            return 0.0
        if np.any(variances[known] <= 0.0):
            return -np.inf
        z = (0.5 * np.log(variances[known]) - self.log_median[known]) / self.log_sd[known]
        return float(-0.5 * np.sum(z**2) - np.sum(np.log(self.log_sd[known])) - 0.5 * known.sum() * _LOG_2PI)


@dataclass(frozen=True, slots=True)
class Border:
    """The border solved: coefficients (shifted back), their prediction-error covariance, and the log-likelihood.

    `deviation` are the coefficients before shifting back, the solution for the shifted scores.
    """

    log_likelihood: float
    coefficients: Floats
    deviation: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True)
class Evaluation:
    """Everything at one point, in the order of TERMS, with respect to the variances themselves.

    `observed` is minus the second derivative, `expected` its expectation. `projected` (5,)
    is tr(P A P A) over tr(V^-1 A V^-1 A): zero where the fixed effects swallow a term whole.
    """

    log_likelihood: float
    gradient: Floats
    observed: Floats
    expected: Floats
    projected: Floats


def solve_border(scale: Floats, flat: Bools, shift: Floats, gram: Floats, log_det: float, rows: int) -> Border:
    """Solve the border of the mixed-model equations from the blocks' augmented Gram matrix.

    Parameters
    ----------
    scale, flat, shift
        Scale, flatness and shift of each border column, shape (w,).
    gram
        Augmented Gram matrix, shape (w + 1, w + 1).
    log_det
        Log determinant of the blocks' covariance.
    rows
        How many scores there are.

    Returns
    -------
    The border.
    """
    matrix = scale[:, None] * gram[:-1, :-1] * scale
    matrix[np.diag_indices_from(matrix)] += np.where(flat, 0.0, 1.0)
    right = scale * gram[:-1, -1]
    size = np.sqrt(np.maximum(np.diagonal(matrix), 1e-300))  # equilibrate, so that units do not matter
    root = np.linalg.cholesky(matrix / size[:, None] / size)
    inverse_root = np.linalg.inv(root) / size
    half = inverse_root @ right
    spread = inverse_root * scale
    deviation = spread.T @ half
    quadratic = gram[-1, -1] - half @ half
    log_all = log_det + 2 * float(np.sum(np.log(np.diagonal(root))) + np.sum(np.log(size)))
    value = -0.5 * ((rows - flat.sum()) * _LOG_2PI + log_all + float(quadratic))
    return Border(value, shift + deviation, deviation, spread.T @ spread)


def scale_at(problem: Problem, variances: Floats) -> Floats:
    """The border's scales with the tasters' standard deviation filled in."""
    scale = problem.scale.copy()
    scale[problem.design.taster_columns] = np.sqrt(variances[TASTER])
    return scale


def sums_at(problem: Problem, variances: Floats) -> Contraction:
    """The blocks' log determinant and augmented Gram matrix at given variances (5,)."""
    return problem.blocks.contract(variances[IN_BLOCK], problem.moments, problem.score, slopes=False)


def border_at(problem: Problem, variances: Floats) -> Border:
    """Solve the border at given variances (5,)."""
    sums = sums_at(problem, variances)
    scale = scale_at(problem, variances)
    return solve_border(scale, problem.flat, problem.shift, sums.gram, sums.log_det, problem.design.n)


def evaluate(problem: Problem, variances: Floats) -> Evaluation:
    """Log-likelihood (without the variances' priors), gradient and information matrices.

    Parameters
    ----------
    problem
        The attribute.
    variances
        Shape (5,), in the order of TERMS, the residual's positive.

    Returns
    -------
    The evaluation.

    Notes
    -----
    With P the projected inverse covariance, S the coefficients' covariance and r the scores less W times the
    coefficients: tr(PA) = tr(V^-1 A) - tr(S W'V^-1 A V^-1 W), and Py = V^-1 r for the blocks' terms. For tasters, with
    C = E - S W'V^-1 Z where E picks the tasters' columns, PZ = V^-1 W C, so that nothing is divided by their variance.
    """
    design = problem.design
    sums = problem.blocks.contract(variances[IN_BLOCK], problem.moments, problem.score, slopes=True)
    scale = scale_at(problem, variances)
    border = solve_border(scale, problem.flat, problem.shift, sums.gram, sums.log_det, design.n)
    assert sums.first is not None
    assert sums.second is not None
    w, q = design.width, len(design.tasters)
    cov = border.covariance
    residual = np.append(-border.deviation, 1.0)  # r = [W y] residual
    pick = sums.first @ residual  # (4, w + 1)
    omega = pick[:, :w]
    square = pick @ residual  # r'V^-1 A V^-1 r
    first = sums.first[:, :w, :w]
    spread = first @ cov  # (4, w, w)
    second_sr = sums.second @ residual @ residual  # (4, 4)

    gram = sums.gram[:w, :w]
    taster_gram = gram[:, :q]
    c = -cov @ taster_gram
    c[np.arange(q), np.arange(q)] += 1.0
    zpy = (sums.gram[:w, w] - gram @ border.deviation)[:q]
    zpz = taster_gram[:q] + taster_gram.T @ (c - np.eye(w, q))

    gradient = np.empty(5)
    gradient[IN_BLOCK] = -0.5 * (sums.trace - np.trace(spread, axis1=1, axis2=2) - square)
    gradient[TASTER] = -0.5 * (np.trace(zpz) - zpy @ zpy)

    traces = np.empty((5, 5))
    quads = np.empty((5, 5))
    block = np.ix_(IN_BLOCK, IN_BLOCK)
    flat_spread = spread.reshape(4, -1)
    turned = spread.swapaxes(1, 2).reshape(4, -1)
    with_cov = sums.second[:, :, :w, :w].reshape(16, -1) @ cov.reshape(-1)
    traces[block] = sums.trace2 - 2 * with_cov.reshape(4, 4) + flat_spread @ turned.T
    quads[block] = second_sr - omega @ cov @ omega.T
    first_c = first @ c
    traces[IN_BLOCK, TASTER] = traces[TASTER, IN_BLOCK] = np.sum(c * first_c, axis=(1, 2))
    quads[IN_BLOCK, TASTER] = quads[TASTER, IN_BLOCK] = omega @ (c @ zpy)
    traces[TASTER, TASTER] = np.sum(zpz * zpz)
    quads[TASTER, TASTER] = zpy @ zpz @ zpy

    whole = np.empty(5)
    whole[IN_BLOCK] = np.diagonal(sums.trace2)
    whole[TASTER] = np.sum(taster_gram[:q] ** 2)
    projected = np.diagonal(traces) / np.where(whole > 0, whole, np.inf)
    return Evaluation(border.log_likelihood, gradient, quads - 0.5 * traces, 0.5 * traces, projected)
