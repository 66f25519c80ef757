"""Reads the arguments of a fit and turns one attribute into a problem: scores, priors, and terms to estimate."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from evenhand.errors import DesignError
from evenhand.panel._blocks import Blocks, Moments
from evenhand.panel._mixed_design import TERMS, Design, Floats
from evenhand.panel._mixed_identify import Dropped, coinciding, sentence
from evenhand.panel._mixed_likelihood import Problem
from evenhand.panel._mixed_optimise import identifiable
from evenhand.words import say

Covariates = npt.ArrayLike | Mapping[str, npt.ArrayLike]
Prior = tuple[npt.ArrayLike, npt.ArrayLike]
VariancePrior = Mapping[str, tuple[float, float]]
_CONSTANT: Final = 1e-9  # spread of scores over their size, below which they are constant


@dataclass(frozen=True, slots=True)
class Prepared:
    """A problem, the variance of its scores about their coffee means, and what was left out of it."""

    problem: Problem
    spread: float
    dropped: Dropped


def read_covariates(covariates: Covariates | None, rows: int) -> tuple[Floats, tuple[str, ...]]:
    """Covariates as an array (rows, k), and their names (x1, x2, ... where they have none)."""
    if covariates is None:
        return np.zeros((rows, 0)), ()
    if isinstance(covariates, Mapping):
        names = tuple(covariates)
        columns = [np.asarray(covariates[name], float).reshape(-1) for name in names]
        for name, column in zip(names, columns, strict=True):
            if len(column) != rows:
                raise DesignError(
                    say(
                        "The covariate {name} has {values} values for {rows} scores; give one each.",
                        name=name,
                        values=len(column),
                        rows=rows,
                    )
                )
        table = np.column_stack(columns) if columns else np.zeros((rows, 0))
    else:
        table = np.asarray(covariates, float)
        table = table[:, None] if table.ndim == 1 else table
        if table.ndim != 2 or len(table) != rows:
            raise DesignError(
                say(
                    "The covariates have shape {shape}; give {rows} rows, one for each score.",
                    shape=table.shape,
                    rows=rows,
                )
            )
        names = tuple(f"x{j + 1}" for j in range(table.shape[1]))
    bad = np.argwhere(~np.isfinite(table))
    if len(bad):
        row, column = bad[0].tolist()
        raise DesignError(
            say(
                "The covariate {name} is not a finite number in row {row}; give a deviation, or 0 for none.",
                name=names[column],
                row=row,
            )
        )
    return table, names


def read_prior(prior: Prior | None, items: int, attributes: int, name: str) -> tuple[Floats, Floats]:
    """Means and standard deviations of a prior, both of shape (items, attributes); infinite where there is none."""
    if prior is None:
        return np.zeros((items, attributes)), np.full((items, attributes), np.inf)
    out = []
    for what, value in zip((say("means"), say("standard deviations")), prior, strict=True):
        array = np.asarray(value, float)
        array = array[:, None] if array.ndim == 1 else array
        try:
            out.append(np.array(np.broadcast_to(array, (items, attributes))))
        except ValueError:
            raise DesignError(
                say(
                    "The {what} in {name} have shape {shape}; give one number, or {items} in sorted order.",
                    what=what,
                    name=name,
                    shape=np.shape(value),
                    items=items,
                )
            ) from None
    mean, sd = out
    if not np.all(sd >= 0):
        raise DesignError(
            say("A standard deviation in {name} is below zero or missing; use infinity for no prior.", name=name)
        )
    mean[np.isinf(sd)] = 0.0
    if not np.all(np.isfinite(mean)):
        raise DesignError(
            say("A mean in {name} is not a finite number; give one, or an infinite standard deviation.", name=name)
        )
    return mean, sd


def read_terms(terms: Collection[str] | None, has_pulls: bool) -> set[str]:
    """Names of the variance terms wanted beside the residual."""
    allowed = {"batch", "taster", "batch_taster"} | ({"pull"} if has_pulls else set())
    if terms is None:
        return allowed
    asked = {terms} if isinstance(terms, str) else set(terms)
    for term in sorted(asked - allowed - {"residual"}):
        if term == "pull":
            raise DesignError(say("The term pull was asked for but no pulls were given; pass them or leave it out."))
        raise DesignError(say("There is no term {term}; choose among batch, taster, batch_taster and pull.", term=term))
    return asked - {"residual"}


def read_variance_prior(
    prior: VariancePrior | Sequence[VariancePrior] | None, attributes: int
) -> list[tuple[Floats, Floats]]:
    """For each attribute the prior median and spread of the log standard deviations, shape (5,) each."""
    given: list[VariancePrior] = (
        [prior or {}] * attributes if prior is None or isinstance(prior, Mapping) else list(prior)
    )
    if len(given) != attributes:
        raise DesignError(
            say(
                "There are {given} variance priors for {attributes} attributes; give one for each.",
                given=len(given),
                attributes=attributes,
            )
        )
    out = []
    for one in given:
        log_median, log_sd = np.zeros(5), np.full(5, np.inf)
        for name, (median_sd, width) in one.items():
            if name not in TERMS:
                raise DesignError(
                    say("The variance prior names {name}; choose among {terms}.", name=name, terms=", ".join(TERMS))
                )
            if not (0 < median_sd < np.inf and width > 0):
                raise DesignError(
                    say("The variance prior of {name} must have a median and a width above zero.", name=name)
                )
            log_median[TERMS.index(name)] = np.log(median_sd)
            log_sd[TERMS.index(name)] = width
        out.append((log_median, log_sd))
    return out


def shift_of(design: Design, score: Floats, mean: Floats, sd: Floats) -> Floats:
    """What is taken off the scores before fitting, by coffee: the prior's mean, or without a prior the scores' mean.

    Parameters
    ----------
    design
        The sorted rows.
    score
        Shape (n,), in the design's order.
    mean, sd
        The coffees' prior, shape (coffees,).

    Returns
    -------
    Shape (coffees,).
    """
    coffee = design.coffee_of_batch[design.batch]
    average = np.bincount(coffee, score, len(design.coffees)) / np.bincount(coffee, minlength=len(design.coffees))
    return np.where(np.isinf(sd), average, mean)


def prepare(
    blocks: Blocks,
    moments: Moments,
    number: int,
    score: Floats,
    raw_size: float,
    shift: Floats,
    sds: Floats,
    variance_prior: tuple[Floats, Floats],
    wanted: set[str],
) -> Prepared:
    """Make the problem of one attribute, with the terms that its data can tell.

    Parameters
    ----------
    blocks
        The blocks of its design.
    moments, number
        Moments of the shifted scores, and which column of them is this attribute.
    score
        The shifted scores, shape (n,).
    raw_size
        Largest unshifted score, without sign.
    shift, sds
        Shift and prior standard deviation of the coffees and kept covariates, shape (fixed columns,).
    variance_prior
        Medians and spreads of the log standard deviations.
    wanted
        Names of the terms asked for.

    Returns
    -------
    The problem, its spread, and what was dropped.
    """
    design = blocks.design
    q, n = len(design.tasters), design.n
    flat = np.concatenate([np.zeros(q, bool), np.isinf(sds)])
    problem = Problem(
        blocks=blocks,
        moments=moments.augmented(number),
        score=score,
        shift=np.concatenate([np.zeros(q), shift]),
        scale=np.concatenate([np.full(q, np.nan), np.where(np.isinf(sds), 1.0, sds)]),
        flat=flat,
        log_median=variance_prior[0],
        log_sd=variance_prior[1],
        wanted=np.zeros(5, bool),
    )
    known = problem.has_prior
    if flat.sum() >= n and not known[4]:
        raise DesignError(
            say(
                "There are {n} scores for {unknown} unknown coffee means and coefficients, so no scatter can be "
                "seen; give more scores, or a prior for the coffee means or for the residual.",
                n=n,
                unknown=int(flat.sum()),
            )
        )
    spread = _spread(design, score, raw_size)
    # A prior says how much is whose even where the rows cannot.
    known_names = {name for name, is_known in zip(TERMS, known.tolist(), strict=True) if is_known}
    said = {name: why for name, why in coinciding(design, wanted).items() if name not in known_names}
    mask = np.array([name in wanted and name not in said for name in TERMS[:4]] + [True])
    problem = replace(problem, wanted=mask)
    projected, left = identifiable(problem, spread if spread > 0 else 1.0)
    for at, name in enumerate(TERMS[:4]):
        if mask[at] and not known[at] and (projected[at] < 1e-9 or left[at] < 1e-8):
            said[name] = sentence(name, design, bool(projected[at] < 1e-9))
            mask[at] = False
    dropped = tuple((name, said[name]) for name in TERMS if name in said)
    return Prepared(replace(problem, wanted=mask), spread, dropped)


def _spread(design: Design, score: Floats, raw_size: float) -> float:
    """Variance of the scores about their coffee means, zero when it is nothing but rounding."""
    coffee = design.coffee_of_batch[design.batch]
    coffees, n = len(design.coffees), design.n
    if n > coffees:
        mean = np.bincount(coffee, score, coffees) / np.bincount(coffee, minlength=coffees)
        spread = float(np.sum((score - mean[coffee]) ** 2)) / (n - coffees)
    else:
        spread = float(np.mean(score**2))
    return 0.0 if spread <= (_CONSTANT * max(raw_size, 1e-300)) ** 2 else spread
