"""Fits scores by coffee, batch, taster and pull by restricted maximum likelihood, and predicts every batch's level.

The model of one attribute is

    score = coffee mean + covariates x coefficients + batch + taster + batch x taster + pull + residual,

where pull and batch x taster nest within batch. See docs/explanation/mixed-model.md for the method and its limits.
"""

from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from evenhand.errors import DesignError
from evenhand.panel._blocks import Blocks
from evenhand.panel._mixed_design import TERMS, Design, Labels, arrange, code
from evenhand.panel._mixed_fit import Fit, LevelDraws
from evenhand.panel._mixed_identify import keep_covariates
from evenhand.panel._mixed_likelihood import evaluate
from evenhand.panel._mixed_optimise import Optimum, climb, log_sd_information
from evenhand.panel._mixed_posterior import Posterior, posterior_at
from evenhand.panel._mixed_prepare import (
    Covariates,
    Prepared,
    Prior,
    VariancePrior,
    prepare,
    read_covariates,
    read_prior,
    read_terms,
    read_variance_prior,
    shift_of,
)
from evenhand.panel._mixed_update import Update
from evenhand.words import say

__all__ = ["TERMS", "Fit", "LevelDraws", "Posterior", "Update", "fit", "fit_many"]

_WIDEST: Final = 1000  # columns of the border, which is a full matrix
_NO_SCATTER: Final = 1e-6  # residual standard deviation of constant scores, as a share of their size


def fit(
    score: npt.ArrayLike,
    batch: Labels,
    taster: Labels,
    pull: Labels | None = None,
    coffee: Labels | None = None,
    covariates: Covariates | None = None,
    coffee_prior: Prior | None = None,
    *,
    covariate_prior: Prior | None = None,
    variance_prior: VariancePrior | None = None,
    terms: Collection[str] | None = None,
) -> Fit:
    """Fit one attribute by restricted maximum likelihood.

    Parameters
    ----------
    score
        Points on the attribute's scale, shape (rows,); NaN where not scored.
    batch, taster, pull, coffee
        One label a row: any hashable. Pull labels count within their batch. Without `coffee` all rows are of one.
    covariates
        Deviations from the house recipe, shape (rows,) or (rows, k), or a mapping from name to column.
    coffee_prior
        Means and standard deviations of a Gaussian prior on the coffee means: numbers, or arrays in the order of the
        sorted coffee labels. An infinite standard deviation means no prior.
    covariate_prior
        The same for the covariates' coefficients, in their order.
    variance_prior
        By term, the median of the prior on its standard deviation and the spread of its logarithm: a lognormal prior,
        added to the objective as a density on the log standard deviation.
    terms
        Which of batch, taster, batch_taster and pull to estimate; by default all that the arguments allow.

    Returns
    -------
    The fit.

    Raises
    ------
    DesignError
        When the arguments do not fit together, or there are too few scores to see any scatter.
    """
    column = np.asarray(score, float)
    if column.ndim != 1:
        raise DesignError(
            say("The scores have shape {shape}; give one dimension, or use fit_many.", shape=column.shape)
        )
    return fit_many(
        column[:, None],
        batch,
        taster,
        pull,
        coffee,
        covariates,
        coffee_prior,
        covariate_prior=covariate_prior,
        variance_prior=variance_prior,
        terms=terms,
    )[0]


def fit_many(
    scores: npt.ArrayLike,
    batch: Labels,
    taster: Labels,
    pull: Labels | None = None,
    coffee: Labels | None = None,
    covariates: Covariates | None = None,
    coffee_prior: Prior | None = None,
    *,
    covariate_prior: Prior | None = None,
    variance_prior: VariancePrior | Sequence[VariancePrior] | None = None,
    terms: Collection[str] | None = None,
) -> list[Fit]:
    """Fit many attributes that were scored on the same sheets; the work on the design is shared.

    Parameters
    ----------
    scores
        Shape (rows, attributes); NaN where not scored.
    batch, taster, pull, coffee, covariates, terms
        As in `fit`.
    coffee_prior, covariate_prior
        As in `fit`; arrays may also have shape (coffees, attributes) or (k, attributes).
    variance_prior
        As in `fit`, or one mapping for each attribute.

    Returns
    -------
    One fit for each attribute, in their order.

    Raises
    ------
    DesignError
        As in `fit`.
    """
    table = np.asarray(scores, float)
    if table.ndim != 2:
        raise DesignError(say("The scores have shape {shape}; give rows x attributes.", shape=table.shape))
    rows, attributes = table.shape
    if np.isinf(table).any():
        raise DesignError(
            say("The score in row {row} is infinite; use NaN for none.", row=int(np.argwhere(np.isinf(table))[0, 0]))
        )
    coded = code(rows, batch, taster, pull, coffee)
    columns, names = read_covariates(covariates, rows)
    coffee_mean, coffee_sd = read_prior(coffee_prior, len(coded.coffees), attributes, "coffee_prior")
    slope_mean, slope_sd = read_prior(covariate_prior, len(names), attributes, "covariate_prior")
    variance_priors = read_variance_prior(variance_prior, attributes)
    wanted = read_terms(terms, pull is not None)

    scored = ~np.isnan(table)
    alike: dict[bytes, list[int]] = {}
    for a in range(attributes):
        if not scored[:, a].any():
            raise DesignError(
                say("No row has a score of attribute {attribute}; leave it out or give scores.", attribute=a)
            )
        key = np.packbits(scored[:, a]).tobytes() + np.isinf(slope_sd[:, a]).tobytes()
        alike.setdefault(key, []).append(a)
    fits: dict[int, Fit] = {}
    for members in alike.values():
        use = np.flatnonzero(scored[:, members[0]])
        flat = np.isinf(slope_sd[:, members[0]])
        kept, dropped = keep_covariates(coded.coffee[use], columns[use], names, flat)
        design = arrange(coded, use, columns, kept, names)
        if design.width > _WIDEST:
            raise DesignError(
                say(
                    "There are {width} tasters, coffees and covariates together, more than the {widest} that one fit "
                    "takes; fit families of coffees apart.",
                    width=design.width,
                    widest=_WIDEST,
                )
            )
        blocks = Blocks(design)
        shifted = np.empty((len(members), design.n))
        shifts, sds, sizes = [], [], []
        for m, a in enumerate(members):
            score = table[design.order, a]
            mean, sd = coffee_mean[design.coffee_index, a], coffee_sd[design.coffee_index, a]
            by_coffee = shift_of(design, score, mean, sd)
            by_slope = slope_mean[kept, a]
            shifted[m] = score - by_coffee[design.coffee_of_batch[design.batch]] - design.covariates @ by_slope
            shifts.append(np.concatenate([by_coffee, by_slope]))
            sds.append(np.concatenate([sd, slope_sd[kept, a]]))
            sizes.append(float(np.abs(score).max()))
        moments = blocks.moments(shifted.T)
        levels = _levels(design)
        for m, a in enumerate(members):
            prepared = prepare(
                blocks,
                moments,
                m,
                shifted[m],
                sizes[m],
                shifts[m],
                sds[m],
                variance_priors[a],
                wanted,
            )
            fits[a] = _fit(prepared, dropped, levels, sizes[m])
    return [fits[a] for a in range(attributes)]


def _levels(design: Design) -> dict[str, tuple[Any, ...]]:
    return {
        "coffee": design.coffees,
        "batch": design.batches,
        "taster": design.tasters,
        "batch_taster": design.cells,
        "pull": design.pulls,
        "covariate": design.covariate_names,
    }


def _fit(
    prepared: Prepared, dropped: tuple[tuple[str, str], ...], levels: Mapping[str, tuple[Any, ...]], size: float
) -> Fit:
    problem = prepared.problem
    dropped = prepared.dropped + dropped
    none = (_NO_SCATTER * max(size, 1.0)) ** 2
    if prepared.spread > 0.0:
        best = climb(problem, prepared.spread)
    elif np.any(problem.has_prior & problem.wanted):
        best = climb(problem, none)
    else:
        variances = np.array([0.0, 0.0, 0.0, 0.0, none])
        best = Optimum(variances, evaluate(problem, variances), True, 1, True)
    if best.at_floor:
        dropped += (
            (
                "residual",
                say(
                    "The other terms account for the scores exactly, so the residual was held just above zero "
                    "(standard deviation {sd:.2g}).",
                    sd=np.sqrt(best.variances[4]),
                ),
            ),
        )
    wanted = problem.wanted
    active = np.flatnonzero(wanted & (best.variances > 0))
    at = posterior_at(problem, best.variances)
    return Fit(
        variances={name: float(best.variances[i]) for i, name in enumerate(TERMS)},
        log_likelihood=best.evaluation.log_likelihood,
        coefficients=at.coefficients,
        coefficients_cov=at.coefficients_cov,
        batch_effect=at.batch_effect,
        batch_sd=at.batch_sd,
        taster_effect=at.taster_effect,
        taster_sd=at.taster_sd,
        levels=levels,
        dropped=dropped,
        at_zero=tuple(TERMS[i] for i in np.flatnonzero(wanted & (best.variances <= 0))),
        active=tuple(TERMS[i] for i in active),
        log_sd=0.5 * np.log(best.variances[active]),
        information=log_sd_information(problem, best.variances, best.evaluation, active),
        converged=best.converged,
        evaluations=best.evaluations,
        n=problem.design.n,
        prepared=prepared,
    )
