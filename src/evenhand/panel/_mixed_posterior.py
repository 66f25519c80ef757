"""What is believed of coffees, batches and tasters at given variances: best predictions and their full uncertainty.

An error of prediction of a batch's effect has two parts: that of the border's coefficients, carried over by the arrow
of the batch, and what the batch's own rows leave open. All standard deviations here hold both.
"""

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from evenhand.errors import DesignError
from evenhand.panel._blocks_pattern import covariance, sharing
from evenhand.panel._mixed_design import Design, Floats
from evenhand.panel._mixed_likelihood import IN_BLOCK, Border, Problem, border_at
from evenhand.words import say


@dataclass(frozen=True)
class Posterior:
    """Best linear unbiased predictions at given variances, with prediction-error standard deviations.

    Attributes
    ----------
    variances
        Shape (5,), in the order batch, taster, batch x taster, pull, residual.
    log_likelihood, log_density
        Restricted log-likelihood there; the same plus the log density of the variances' priors.
    level, level_sd
        Coffee mean + batch effect + mean of the tasters' effects, at covariates of zero, shape (batches,).
    batch_effect, batch_sd
        The batch's own part, shape (batches,).
    coefficients, coefficients_cov
        Coffee means, then covariates; a covariate that was left out has coefficient 0 and variance 0.
    taster_effect, taster_sd
        Shape (tasters,).
    panel_mean
        Mean of the tasters' effects.

    Notes
    -----
    The order of each array is that of the fit's `levels`.
    """

    problem: Problem
    border: Border
    variances: Floats
    log_likelihood: float
    log_density: float
    coefficients: Floats
    coefficients_cov: Floats
    taster_effect: Floats
    taster_sd: Floats
    batch_effect: Floats
    batch_sd: Floats
    level: Floats
    level_sd: Floats
    panel_mean: float
    weighted: Floats
    """Inverse block covariance times the residuals from the border, in the design's order of rows."""

    @property
    def design(self) -> Design:
        """The sorted rows."""
        return self.problem.design

    @cached_property
    def batch_taster_effect(self) -> Floats:
        """What each taster hears in each batch beyond their own level, in the order of `levels["batch_taster"]`."""
        return np.asarray(self.variances[2] * np.bincount(self.design.cell, self.weighted, len(self.design.cells)))

    @cached_property
    def pull_effect(self) -> Floats:
        """What each pull adds that the covariates do not explain, in the order of `levels["pull"]`."""
        if not self.design.pulls:
            return np.zeros(0)
        return np.asarray(self.variances[3] * np.bincount(self.design.pull, self.weighted, len(self.design.pulls)))

    @cached_property
    def residual(self) -> Floats:
        """What no term explains, one for each score in the order given; scores that were NaN are left out."""
        return np.asarray((self.variances[4] * self.weighted)[np.argsort(self.design.order)])

    def joint(self, batch: Hashable) -> tuple[Floats, Floats]:
        """Coffee mean, batch effect and panel mean of one batch, with their joint covariance.

        Parameters
        ----------
        batch
            The batch's label.

        Returns
        -------
        Mean, shape (3,), and prediction-error covariance, shape (3, 3).
        """
        number = number_of(self.design, batch)
        arrow, own = arrow_of(self.problem, self.variances, number)
        q, coffee = len(self.design.tasters), int(self.design.coffee_of_batch[number])
        return joint_of(self.border, q, coffee, self.variances[0] * arrow, own, float(self.batch_effect[number]))

    def contrast(self, batch_a: Hashable, batch_b: Hashable) -> tuple[float, float]:
        """Level of one batch less that of another, with the standard deviation of that difference.

        The panel's mean cancels, and within one coffee so does the coffee's mean.

        Parameters
        ----------
        batch_a, batch_b
            The batches' labels.

        Returns
        -------
        Difference and its prediction-error standard deviation.
        """
        a, b = number_of(self.design, batch_a), number_of(self.design, batch_b)
        if a == b:
            return 0.0, 0.0
        (arrow_a, own_a), (arrow_b, own_b) = (arrow_of(self.problem, self.variances, x) for x in (a, b))
        toward = self.variances[0] * (arrow_b - arrow_a)
        first = len(self.design.tasters)
        toward[first + self.design.coffee_of_batch[a]] += 1.0
        toward[first + self.design.coffee_of_batch[b]] -= 1.0
        variance = toward @ self.border.covariance @ toward + own_a + own_b
        return float(self.level[a] - self.level[b]), float(np.sqrt(max(variance, 0.0)))

    def new_batch(self, coffee: Hashable) -> tuple[float, float]:
        """Level to expect of a batch of a coffee that was not tasted yet, with its standard deviation.

        Parameters
        ----------
        coffee
            The coffee's label.

        Returns
        -------
        Level and standard deviation, the scatter of batches included.
        """
        if coffee not in self.design.coffees:
            raise DesignError(
                say("No score is of the coffee {coffee}; ask for one of those that were scored.", coffee=coffee)
            )
        toward = np.zeros(self.design.width)
        toward[self.design.taster_columns] = 1.0 / len(self.design.tasters)
        toward[len(self.design.tasters) + self.design.coffees.index(coffee)] = 1.0
        variance = toward @ self.border.covariance @ toward + self.variances[0]
        return float(toward @ self.border.coefficients), float(np.sqrt(variance))


def number_of(design: Design, batch: Hashable) -> int:
    """Number of a batch by its label, or an error that names it."""
    try:
        return design.position[batch]
    except KeyError:
        raise DesignError(
            say("No score is of batch {batch}; ask for one of the batches that were scored.", batch=batch)
        ) from None


def arrow_of(problem: Problem, variances: Floats, batch: int) -> tuple[Floats, float]:
    """W'V^-1 1 of one batch, shape (w,), and the variance that its own rows leave open in its effect."""
    design = problem.design
    rows = np.flatnonzero(design.batch == batch)
    span = slice(int(rows[0]), int(rows[-1]) + 1)
    share = sharing(design.place[span][None], design.pull[span][None])
    weight = np.linalg.solve(covariance(share, variances[IN_BLOCK])[0], np.ones(len(rows)))
    own = variances[0] - variances[0] ** 2 * float(weight.sum())
    return weight @ design.border(span), max(own, 0.0)


def joint_of(
    border: Border, tasters: int, coffee: int, carried: Floats, own: float, effect: float
) -> tuple[Floats, Floats]:
    """Mean (3,) and covariance (3, 3) of coffee mean, batch effect and panel mean.

    `coffee` is the coffee's column after the tasters; `carried` (w,) is by how much each coefficient's error moves the
    batch effect, with sign turned; `own` is the variance that the batch's own rows leave open.
    """
    toward = np.zeros((3, len(carried)))
    toward[0, tasters + coffee] = 1.0
    toward[1] = -carried
    toward[2, :tasters] = 1.0 / tasters
    mean = np.array([border.coefficients[tasters + coffee], effect, border.coefficients[:tasters].mean()])
    cov = toward @ border.covariance @ toward.T
    cov[1, 1] += own
    return mean, cov


def full_coefficients(design: Design, border: Border) -> tuple[Floats, Floats]:
    """Coefficients and covariance of coffees and all named covariates, zero where a covariate was left out."""
    coffees, names = len(design.coffees), len(design.covariate_names)
    at = np.concatenate([np.arange(coffees), coffees + design.kept])
    coefficients = np.zeros(coffees + names)
    covariance_ = np.zeros((coffees + names, coffees + names))
    coefficients[at] = border.coefficients[design.fixed_columns]
    covariance_[np.ix_(at, at)] = border.covariance[design.fixed_columns, design.fixed_columns]
    return coefficients, covariance_


def posterior_at(problem: Problem, variances: Floats) -> Posterior:
    """Predict everything at given variances.

    Parameters
    ----------
    problem
        The attribute.
    variances
        Shape (5,), none negative, the residual's positive.

    Returns
    -------
    The posterior.
    """
    design = problem.design
    border = border_at(problem, variances)
    q, coffees, batches = len(design.tasters), len(design.coffees), len(design.batches)
    u = border.deviation
    coffee = design.coffee_of_batch
    fixed = u[q : q + coffees][coffee]
    residual = problem.score - u[:q][design.taster] - fixed[design.batch]
    if design.covariates.shape[1]:
        residual -= design.covariates @ u[q + coffees :]
    both = np.column_stack([residual, np.ones(design.n)])
    solved = problem.blocks.solve(variances[IN_BLOCK], both)
    weighted, unit = np.ascontiguousarray(solved[:, 0]), np.ascontiguousarray(solved[:, 1])
    batch_variance = variances[0]
    effect = batch_variance * np.bincount(design.batch, weighted, batches)
    total = np.asarray(np.bincount(design.batch, unit, batches), float)
    own = np.maximum(batch_variance - batch_variance**2 * total, 0.0)

    arrows = _arrows(design, unit, total)
    spread = arrows @ border.covariance
    carried = batch_variance**2 * np.einsum("bw,bw->b", spread, arrows)
    ends = np.zeros((coffees, design.width))
    ends[:, :q] = 1.0 / q
    ends[np.arange(coffees), q + np.arange(coffees)] = 1.0
    end_variance = np.einsum("cw,wv,cv->c", ends, border.covariance, ends, optimize=True)
    shared = spread[:, :q].mean(1) + spread[np.arange(batches), q + coffee]
    level_variance = end_variance[coffee] - 2 * batch_variance * shared + carried + own
    coefficients, coefficients_cov = full_coefficients(design, border)
    tasters = border.coefficients[:q]
    return Posterior(
        problem=problem,
        border=border,
        variances=variances,
        log_likelihood=border.log_likelihood,
        log_density=border.log_likelihood + problem.log_prior(variances),
        coefficients=coefficients,
        coefficients_cov=coefficients_cov,
        taster_effect=tasters,
        taster_sd=np.sqrt(np.maximum(np.diagonal(border.covariance)[:q], 0.0)),
        batch_effect=effect,
        batch_sd=np.sqrt(carried + own),
        level=coefficients[:coffees][coffee] + effect + tasters.mean(),
        level_sd=np.sqrt(np.maximum(level_variance, 0.0)),
        panel_mean=float(tasters.mean()),
        weighted=weighted,
    )


def _arrows(design: Design, unit: Floats, total: Floats) -> Floats:
    """W'V^-1 1 of every batch, shape (batches, w)."""
    q, coffees, batches = len(design.tasters), len(design.coffees), len(design.batches)
    arrows = np.zeros((batches, design.width))
    arrows[:, :q] = np.bincount(design.batch * q + design.taster, unit, batches * q).reshape(batches, q)
    arrows[np.arange(batches), q + design.coffee_of_batch] = total
    for j in range(design.covariates.shape[1]):
        arrows[:, q + coffees + j] = np.bincount(design.batch, unit * design.covariates[:, j], batches)
    return arrows
