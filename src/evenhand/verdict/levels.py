"""From sheets to levels: each attribute's level for each batch at the house recipe, with the doubt about the variances.

Two fits stand behind an attribute. Plain REML gives the variances that are reported. The judgement itself adds the
priors of `priors` and averages over what the variances may be.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import ndtri

from evenhand.panel import mixed
from evenhand.verdict.fitting import fit_tables
from evenhand.verdict.tables import Column, Panel, Table
from evenhand.verdict.tolerance import Levels

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_DRAWS = 32
_MOST_WEIGHT = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeLevels:
    """One attribute in one service over all batches, in points of its scale.

    Attributes
    ----------
    levels
        At the house recipe and for the panel's mean taster.
    raw_mean, shot_effect, taster_effect
        Shape (batches,); NaN, 0, 0 where not scored.
    scores, tasters, pulls
        How many stand behind each batch, shape (batches,).
    variances, log_likelihood
        Plain REML: variance by term, points squared, and the restricted log-likelihood; None where too few scores are
        there for it.
    believed
        Variance by term as the judgement believes them (the mode under the priors), points squared.
    adjusted
        Score less the response to its pull and the taster's own level, shape (sheets,), NaN where not scored.
    dropped
        Terms and covariates left out of plain REML, each with a sentence.
    """

    service: str
    attribute: str
    levels: Levels
    raw_mean: FloatArray
    shot_effect: FloatArray
    taster_effect: FloatArray
    scores: IntArray
    tasters: IntArray
    pulls: IntArray
    variances: Mapping[str, float] | None
    log_likelihood: float | None
    believed: Mapping[str, float]
    adjusted: FloatArray
    dropped: tuple[tuple[str, str], ...]
    converged: bool


def estimate(tables: Sequence[Table], panel: Panel) -> tuple[AttributeLevels, ...]:
    """Estimate every column that any coffee has a target for.

    Parameters
    ----------
    tables
        The sheets, one table a service; at least one score in each column.
    panel
        What the indices mean, and what is asked.

    Returns
    -------
    tuple of AttributeLevels
        First the columns of the tables, in order; then those with a target that nobody scored, by the priors alone.
    """
    fitted = fit_tables(tables, panel)
    scored = [
        _collect(work.table, panel, a, informed[a], plain[a], fitted.about_target)
        for work, informed, plain in zip(fitted.works, fitted.informed, fitted.plain, strict=True)
        for a in range(len(work.table.attributes))
    ]
    done = {(one.service, one.attribute) for one in scored}
    untasted = [
        _untasted(column, panel, fitted.about_target, fitted.priors) for column in panel.goals if column not in done
    ]
    return (*scored, *untasted)


def _before_tasting(column: Column, panel: Panel, about_target: float) -> tuple[FloatArray, FloatArray]:
    """Level and s.d. of a batch nobody scored on a column, of a coffee nobody scored either, shape (coffees,).

    `about_target` is the spread of batches about their targets, in tolerances.
    """
    goal = panel.goals[column]
    return np.nan_to_num(goal.target), np.full(len(panel.coffees), goal.unit * about_target)


def _untasted(
    column: Column, panel: Panel, about_target: float, priors: Mapping[str, tuple[float, float]]
) -> AttributeLevels:
    """A column with a target that has no score at all."""
    goal, batches = panel.goals[column], len(panel.batches)
    level, sd = (values[panel.coffee_of_batch] for values in _before_tasting(column, panel, about_target))
    nothing, none = np.zeros(batches), np.zeros(batches, dtype=np.intp)
    return AttributeLevels(
        service=column[0],
        attribute=column[1],
        levels=Levels(np.ones(1), level[None], sd[None]),
        raw_mean=np.full(batches, np.nan),
        shot_effect=nothing,
        taster_effect=nothing,
        scores=none,
        tasters=none,
        pulls=none,
        variances=None,
        log_likelihood=None,
        believed={
            term: (median * (goal.unit if term == "batch" else goal.width)) ** 2 for term, (median, _) in priors.items()
        },
        adjusted=np.zeros(0),
        dropped=(),
        converged=True,
    )


def _draws(fit: mixed.Fit) -> FloatArray:
    """Sets of variances from Laplace's approximation about the mode, shape (draws, 5); the first is the mode."""
    k = len(fit.active)
    root = np.linalg.cholesky(fit.information)
    z = np.vstack([np.zeros(k), _spread_normals(_DRAWS - 1, k)])
    log_sd = fit.log_sd + solve_triangular(root, z.T, lower=True, trans="T").T
    table = np.zeros((_DRAWS, len(mixed.TERMS)))
    for place, name in enumerate(fit.active):
        table[:, mixed.TERMS.index(name)] = np.exp(2 * np.clip(log_sd[:, place], -12.0, 12.0))
    return table


def _spread_normals(count: int, dimensions: int) -> FloatArray:
    """Evenly spread standard normal points, shape (count, dimensions), from an additive lattice, mirrored about 0."""
    # Roberts' generalised golden ratio: the root of x^(d+1) = x + 1.
    ratio = 2.0
    for _ in range(40):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    steps = (1.0 / ratio) ** np.arange(1, dimensions + 1)
    half = np.arange(1, (count + 1) // 2 + 1)
    u = (0.5 + np.outer(half, steps)) % 1.0
    z = ndtri(np.clip(u, 1e-6, 1 - 1e-6))
    return np.asarray(np.vstack([z, -z])[:count], dtype=float)


def _collect(
    table: Table, panel: Panel, a: int, fit: mixed.Fit, plain: mixed.Fit | None, about_target: float
) -> AttributeLevels:
    variances = _draws(fit)
    posteriors = [fit.posterior(one) for one in variances]
    # The draws come from a normal law; what the likelihood says of them, against that law, is their weight.
    offsets = 0.5 * np.log(variances[:, [mixed.TERMS.index(name) for name in fit.active]]) - fit.log_sd
    proposal = -0.5 * np.einsum("ij,jk,ik->i", offsets, fit.information, offsets)
    weight = _weights(np.array([one.log_density for one in posteriors]) - proposal)
    batches = len(panel.batches)
    place = {label: index for index, label in enumerate(panel.batches)}
    mine = np.array([place[label] for label in fit.levels["batch"]], dtype=np.intp)
    mean, sd = np.zeros((len(variances), batches)), np.zeros((len(variances), batches))
    scored = np.zeros(batches, dtype=bool)
    scored[mine] = True
    coffees = {label: index for index, label in enumerate(fit.levels["coffee"])}
    before, before_sd = _before_tasting((table.service, table.attributes[a]), panel, about_target)
    for draw, posterior in enumerate(posteriors):
        mean[draw, mine], sd[draw, mine] = posterior.level, posterior.level_sd
        for coffee in np.unique(panel.coffee_of_batch[~scored]):
            label = panel.coffees[coffee]
            of_coffee = np.flatnonzero(~scored & (panel.coffee_of_batch == coffee))
            if label in coffees:
                expected = posterior.new_batch(label)
            else:
                expected = (float(before[coffee]), float(before_sd[coffee]))
            mean[draw, of_coffee], sd[draw, of_coffee] = expected
    levels = Levels(weight, mean, sd)

    rows = np.flatnonzero(np.isfinite(table.score[:, a]))
    effects = _effects(table, panel, rows, fit)
    shot, tasting = effects.response + effects.pull, effects.taster + effects.batch_taster
    index = table.batch[rows]
    count = np.bincount(index, minlength=batches)

    def average(values: FloatArray) -> FloatArray:
        total = np.bincount(index, values, minlength=batches)
        return np.divide(total, count, out=np.zeros(batches), where=count > 0)

    adjusted = np.full(len(table.score), np.nan)
    adjusted[rows] = table.score[rows, a] - effects.response - effects.taster
    return AttributeLevels(
        service=table.service,
        attribute=table.attributes[a],
        levels=levels,
        raw_mean=np.where(count > 0, average(table.score[rows, a]), np.nan),
        shot_effect=average(shot),
        taster_effect=average(tasting),
        scores=count.astype(np.intp),
        tasters=_distinct(index, table.taster[rows], batches),
        pulls=_distinct(index, table.pull[rows], batches),
        variances=plain.variances if plain else None,
        log_likelihood=plain.log_likelihood if plain else None,
        believed=fit.variances,
        adjusted=adjusted,
        dropped=plain.dropped if plain else (),
        converged=fit.converged and (plain is None or plain.converged),
    )


def _weights(log_weight: FloatArray) -> FloatArray:
    """Normalised importance weights, mixed with equal ones where a single draw would count for over a quarter."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    even, largest = 1.0 / len(weight), float(weight.max())
    if largest > _MOST_WEIGHT:
        share = (largest - _MOST_WEIGHT) / (largest - even)
        weight = (1.0 - share) * weight + share * even
    return np.asarray(weight, dtype=float)


@dataclass(frozen=True, slots=True)
class _Effects:
    """What each part added to each score, at the mode, shape (rows,); the panel's mean taster adds nothing."""

    response: FloatArray
    pull: FloatArray
    taster: FloatArray
    batch_taster: FloatArray


def _effects(table: Table, panel: Panel, rows: IntArray, fit: mixed.Fit) -> _Effects:
    posterior = fit.posterior()
    slopes = posterior.coefficients[len(fit.levels["coffee"]) :]
    by_pull = dict(zip((pull for _, pull in fit.levels["pull"]), posterior.pull_effect, strict=True))
    by_taster = dict(zip(fit.levels["taster"], posterior.taster_effect - posterior.panel_mean, strict=True))
    by_pair = dict(zip(fit.levels["batch_taster"], posterior.batch_taster_effect, strict=True))
    pulls = [panel.pulls[index] for index in table.pull[rows].tolist()]
    tasters = [panel.tasters[index] for index in table.taster[rows].tolist()]
    batches = [panel.batches[index] for index in table.batch[rows].tolist()]
    return _Effects(
        response=np.asarray(panel.response.columns[table.pull[rows]] @ slopes, dtype=float),
        pull=np.array([by_pull.get(pull, 0.0) for pull in pulls]),
        taster=np.array([by_taster[taster] for taster in tasters]),
        batch_taster=np.array([by_pair.get(pair, 0.0) for pair in zip(batches, tasters, strict=True)]),
    )


def _distinct(owner: IntArray, item: IntArray, owners: int) -> IntArray:
    """Count distinct items of each owner, shape (owners,)."""
    pairs = np.unique(np.stack([owner, item], axis=1), axis=0)
    return np.bincount(pairs[:, 0], minlength=owners).astype(np.intp)
