"""Climbs the restricted likelihood: Newton steps with an active set, so that a variance of zero is reached exactly.

A variance without a prior is stepped on its own scale, where the likelihood is smooth across zero: a step past zero is
cut there, and a variance at zero is let go again only when the likelihood rises away from zero. The residual variance,
and every variance with a prior, is stepped on the scale of its log standard deviation.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from evenhand.panel._mixed_design import Bools, Floats, Ints
from evenhand.panel._mixed_likelihood import TASTER, Evaluation, Problem, evaluate

RESIDUAL_TERM: Final = 4
_TOLERANCE: Final = 1e-11  # Newton decrement, in units of log-likelihood
_ENOUGH: Final = 1e-6  # decrement accepted when rounding hides further progress
_PATIENCE: Final = 15  # steps after which a hundredth of that is enough too
_EARLY: Final = 8  # steps
_LEAST_CURVATURE: Final = 1e-6  # of the observed information, the expected one being 1
_MOST_STEPS: Final = 60
_MOST_HALVINGS: Final = 25
_LONGEST_LOG_STEP: Final = 1.5
_FLOOR: Final = 1e-5  # residual variance over that of the scores, at least: below it rounding hides the slope
_UNEVEN: Final = np.array([1.1, 1.05, 1.0, 0.95, 1.0])  # so that no climb starts on a ridge between two terms
_NOTHING: Final = 1e-9  # a variance below this share of the scores' variance is zero


@dataclass(frozen=True, slots=True)
class Optimum:
    """Where the climb ended: variances (5,), the evaluation there, and how it went."""

    variances: Floats
    evaluation: Evaluation
    converged: bool
    evaluations: int
    at_floor: bool


def start_at(problem: Problem, spread: float) -> Floats:
    """Variances to start from: four tenths of the scores' variance as residual, the rest shared out about equally."""
    wanted = problem.wanted
    others = max(1, int(wanted.sum()) - 1)
    start = np.where(wanted, 0.6 * spread / others, 0.0)
    start[RESIDUAL_TERM] = 0.4 * spread
    known = problem.has_prior & wanted
    prior = np.exp(2 * problem.log_median[known])
    start[known] = np.clip(prior, 1e-4 * spread, 10 * spread)
    return np.asarray(start * _UNEVEN)


def to_log_sd(variances: Floats, gradient: Floats, information: Floats, mask: Bools) -> tuple[Floats, Floats]:
    """Gradient and observed information on the log standard deviation where `mask` says so, else on the variance."""
    chain = np.where(mask, 2 * variances, 1.0)
    bend = np.where(mask, 4 * variances * gradient, 0.0)
    return chain * gradient, chain[:, None] * information * chain - np.diag(bend)


def _add_prior(problem: Problem, variances: Floats, gradient: Floats, information: Floats) -> None:
    known = problem.has_prior & problem.wanted & (variances > 0)
    z = 0.5 * np.log(variances[known]) - problem.log_median[known]
    weight = 1.0 / problem.log_sd[known] ** 2
    gradient[known] -= weight * z
    information[known, known] += weight


def log_sd_information(problem: Problem, variances: Floats, evaluation: Evaluation, active: Ints) -> Floats:
    """Observed information of the active log standard deviations, with the curvature of their priors.

    Parameters
    ----------
    problem
        The attribute.
    variances
        Shape (5,).
    evaluation
        The evaluation there.
    active
        Numbers of the terms wanted, shape (k,).

    Returns
    -------
    Array of shape (k, k). Where the observed information is not positive definite the expected one stands in for it.
    """
    every = np.ones(5, bool)
    gradient, information = to_log_sd(variances, evaluation.gradient, evaluation.observed, every)
    _add_prior(problem, variances, gradient, information)
    part = information[np.ix_(active, active)]
    if _is_positive(part):
        return np.asarray(part)
    information = 4 * variances[:, None] * evaluation.expected * variances
    _add_prior(problem, variances, gradient, information)
    return np.asarray(information[np.ix_(active, active)])


def _is_positive(matrix: Floats, least: float = 1e-8) -> bool:
    size = np.diagonal(matrix)
    if np.any(size <= 0):
        return False
    root = np.sqrt(size)
    return bool(np.linalg.eigvalsh(matrix / root[:, None] / root)[0] > least)


def _direction(observed: Floats, expected: Floats, gradient: Floats, early: bool) -> Floats:
    """Newton's step where the surface is concave; elsewhere Fisher's scoring step early on.

    Later, where scoring would creep along a ridge between two terms, Newton's step is taken with every curvature
    counted as falling.
    """
    root = np.sqrt(np.maximum(np.diagonal(expected), 1e-300))
    slope = gradient / root
    sizes, axes = np.linalg.eigh(observed / root[:, None] / root)
    if sizes[0] <= _LEAST_CURVATURE and early:
        sizes, axes = np.linalg.eigh(expected / root[:, None] / root)
        sizes = np.maximum(sizes, 1e-12)
    elif sizes[0] <= _LEAST_CURVATURE:
        sizes = np.maximum(np.abs(sizes), 0.05)
    return np.asarray(axes @ ((axes.T @ slope) / sizes) / root)


def climb(problem: Problem, spread: float) -> Optimum:
    """Find the variances that maximise the restricted likelihood plus the log density of their priors.

    Parameters
    ----------
    problem
        The attribute.
    spread
        Variance of its scores about their coffee means, above zero.

    Returns
    -------
    The optimum.
    """
    wanted = problem.wanted
    log_type = problem.has_prior | (np.arange(5) == RESIDUAL_TERM)
    known = problem.has_prior & wanted
    usual = float(np.max(np.exp(2 * problem.log_median[known]), initial=0.0))
    floor = _FLOOR * max(spread, float(np.mean(problem.score**2)), usual)
    theta = start_at(problem, max(spread, floor))
    here = evaluate(problem, theta)
    value = here.log_likelihood + problem.log_prior(theta)
    evaluations, converged = 1, False

    for step_number in range(_MOST_STEPS):
        gradient, observed = to_log_sd(theta, here.gradient, here.observed, log_type)
        chain = np.where(log_type, 2 * theta, 1.0)
        expected = chain[:, None] * here.expected * chain
        _add_prior(problem, theta, gradient, observed)
        _add_prior(problem, theta, gradient.copy(), expected)
        bound = np.where(log_type, False, theta <= 0)
        bound[RESIDUAL_TERM] = theta[RESIDUAL_TERM] <= floor * (1 + 1e-12)
        free = wanted & ~(bound & (gradient <= 0))
        step = np.zeros(5)
        while free.any():
            part = np.flatnonzero(free)
            block = np.ix_(part, part)
            step[:] = 0.0
            step[part] = _direction(observed[block], expected[block], gradient[part], step_number < _EARLY)
            pushed = free & bound & (step < 0)  # at the bound and sent through it by its neighbours
            if not pushed.any():
                break
            free &= ~pushed
        decrement = float(gradient @ step)
        if decrement <= (_TOLERANCE if step_number < _PATIENCE else 0.01 * _ENOUGH):
            converged = True
            break
        longest = float(np.max(np.abs(step[log_type & wanted]), initial=0.0))
        length = min(1.0, _LONGEST_LOG_STEP / longest) if longest > 0 else 1.0
        accepted = False
        for _ in range(_MOST_HALVINGS):
            trial = _move(theta, length * step, log_type, floor, _NOTHING * spread)
            there = _try(problem, trial)
            evaluations += 1
            gain = float(gradient @ _moved(theta, trial, log_type))
            if there is not None and gain > 0:
                trial_value = there.log_likelihood + problem.log_prior(trial)
                if trial_value >= value + 1e-4 * gain:
                    accepted = True
                    break
            if decrement < _ENOUGH:
                break
            length *= 0.4
        if not accepted or there is None:
            converged = decrement < _ENOUGH
            break
        theta, here, value = trial, there, trial_value
    at_floor = bool(theta[RESIDUAL_TERM] <= floor * (1 + 1e-12))
    return Optimum(theta, here, converged, evaluations, at_floor)


def _try(problem: Problem, trial: Floats) -> Evaluation | None:
    """Evaluate at a trial point, or None where the matrices are singular to working precision."""
    try:
        there = evaluate(problem, trial)
    except np.linalg.LinAlgError:
        return None
    finite = np.isfinite(there.log_likelihood) and np.isfinite(there.gradient).all()
    return there if finite and np.isfinite(there.observed).all() else None


def _move(theta: Floats, step: Floats, log_type: Bools, floor: float, nothing: float) -> Floats:
    """Step from here, cut at the bounds."""
    linear = np.where(theta + step > nothing, theta + step, 0.0)
    out = np.where(log_type, theta * np.exp(2 * np.where(log_type, step, 0.0)), linear)
    out[RESIDUAL_TERM] = max(out[RESIDUAL_TERM], floor)
    return out


def _moved(theta: Floats, trial: Floats, log_type: Bools) -> Floats:
    """How far the step went, on the scales that it was made on."""
    safe = np.where(log_type & (theta > 0), theta, 1.0)
    ratio = np.where(log_type & (theta > 0), trial, 1.0) / safe
    return np.where(log_type, 0.5 * np.log(ratio), trial - theta)


def identifiable(problem: Problem, spread: float) -> tuple[Floats, Floats]:
    """How much of each term the data can tell from the fixed effects, and from the terms before it.

    Parameters
    ----------
    problem
        The attribute, whose wanted variances are under test.
    spread
        A variance that sets the scale, above zero.

    Returns
    -------
    Share left after the fixed effects, shape (5,), and share left after the terms that come first, in the order
    residual, batch, taster, batch x taster, pull, shape (5,); both between 0 and 1.
    """
    wanted = problem.wanted
    others = max(1, int(wanted.sum()) - 1)
    point = np.where(wanted, spread / others, 0.0)
    point[RESIDUAL_TERM] = spread
    here = evaluate(problem, point)
    left = np.ones(5)
    before: list[int] = []
    for term in (RESIDUAL_TERM, 0, TASTER, 2, 3):
        if not wanted[term] or here.projected[term] < 1e-9:
            left[term] = 0.0 if wanted[term] else 1.0
            continue
        if before:
            size = np.sqrt(np.maximum(np.diagonal(here.expected), 0.0))
            scaled = here.expected / np.outer(size, np.where(size > 0, size, 1.0)).clip(1e-300)
            row = scaled[term, before]
            solved = np.linalg.lstsq(scaled[np.ix_(before, before)], row, rcond=1e-12)[0]
            left[term] = max(0.0, 1.0 - float(row @ solved))
        if left[term] > 1e-8:
            before.append(term)
    return here.projected, left
