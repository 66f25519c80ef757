"""From sheets to levels: each attribute's level for each batch at the house recipe, with the doubt about the variances.

Two fits stand behind an attribute. Plain REML gives the variances that are reported. The judgement itself adds weak
priors, in shares of the scale or in tolerances, which are our own choice (no source): light beside a season of sheets,
and there for the week when a shop starts. It then averages over what the variances may be.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import ndtri

from evenhand.errors import DesignError
from evenhand.panel import mixed
from evenhand.panel.response import Response
from evenhand.verdict.tolerance import Levels

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

_DRAWS = 32
# Prior of each standard deviation: its median as a share of the scale, and the s.d. of its natural logarithm.
_SD_PRIORS = {
    "taster": (0.050, 0.8),
    "batch_taster": (0.030, 0.8),
    "pull": (0.025, 0.8),
    "residual": (0.070, 0.6),
}
_BATCH_LOG_SD = 0.6
# How far a coffee's mean lies from its target, in tolerances, where the shop's coffees cannot say; and what that is
# worth beside those that can, in coffees.
_COFFEE_SD, _COFFEE_SD_WEIGHT = 0.3, 2.0
_LEAST_COFFEE_SD = 0.05
# With this many attributes their spreads teach each other, down to this s.d. of the logarithm between them.
_ATTRIBUTES_TO_LEARN, _LEAST_SPREAD = 3, 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Who and what the sheets speak of: labels, and what is asked of each coffee.

    Attributes
    ----------
    batches, coffees, tasters, pulls
        Labels that every index points into.
    coffee_of_batch
        Shape (batches,).
    response, prior_bad, columns
        Covariates of the pulls, in the order of `pulls`; the share of bad batches; how many columns have a target.
    """

    batches: tuple[str, ...]
    coffees: tuple[str, ...]
    tasters: tuple[str, ...]
    pulls: tuple[str, ...]
    coffee_of_batch: IntArray
    response: Response
    prior_bad: float
    columns: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """All sheets of one service: one row a sheet, one column an attribute.

    Attributes
    ----------
    batch, taster, pull, cup
        Indices into the panel's labels, shape (sheets,); cups are numbered as they come.
    score
        Points, shape (sheets, attributes), NaN where not scored.
    target, tolerance
        Points, shape (coffees, attributes), NaN where the coffee has no target.
    scale
        Lower and upper end, points, shape (attributes, 2).
    """

    service: str
    attributes: tuple[str, ...]
    batch: IntArray
    taster: IntArray
    pull: IntArray
    cup: IntArray
    score: FloatArray
    target: FloatArray
    tolerance: FloatArray
    scale: FloatArray


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
        Plain REML: variance by term, points squared, and the restricted log-likelihood.
    believed
        Variance by term as the judgement believes them (the mode under the priors), points squared.
    adjusted
        Score less the pull's and the taster's part, shape (sheets,), NaN where not scored.
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
    variances: Mapping[str, float]
    log_likelihood: float
    believed: Mapping[str, float]
    adjusted: FloatArray
    dropped: tuple[tuple[str, str], ...]
    converged: bool


def batch_sd_in_tolerances(prior_bad: float, attributes: int) -> float:
    """Spread of batches about their coffee's target, in tolerances, that puts `prior_bad` of them out of tolerance.

    Half of the bad batches (on the scale of odds against being good) are left to faults. Attributes are taken as
    independent and centred on target.

    Parameters
    ----------
    prior_bad
        Share of batches that are bad, between 0 and 1.
    attributes
        How many attributes have a target.
    """
    p_inside = (1.0 - prior_bad) ** (0.5 / max(attributes, 1))
    return float(1.0 / ndtri(0.5 * (1.0 + p_inside)))


def estimate(tables: Sequence[Table], panel: Panel) -> tuple[AttributeLevels, ...]:
    """Estimate every attribute of every service.

    Parameters
    ----------
    tables
        The sheets, one table a service; at least one score in each column.
    panel
        What the indices mean.

    Returns
    -------
    tuple of AttributeLevels
        One for each attribute of each table, in order.
    """
    works = [_Work.on(table, panel) for table in tables]
    plain = [work.fit_plain() for work in works]
    usual = _coffee_sd(works, plain)
    start = _first_priors(usual, panel)
    first = [work.fit_informed(usual, start) for work in works]
    learned = _learn_priors(works, first, start)
    informed = [work.fit_informed(usual, learned) for work in works]
    return tuple(
        _collect(work.table, panel, a, informed_fits[a], plain_fits[a], usual)
        for work, informed_fits, plain_fits in zip(works, informed, plain, strict=True)
        for a in range(len(work.table.attributes))
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """One table made ready for the mixed model: labels by row, covariates by name, priors in points.

    `coffee_mean`, `known` (is it a target?) have shape (coffees seen, attributes), in the order of sorted labels.
    """

    table: Table
    labels: tuple[NDArray[np.str_], ...]  # batch, taster, pull, coffee
    covariates: dict[str, FloatArray] | None
    slopes: tuple[FloatArray, FloatArray] | None
    tolerance: FloatArray
    coffee_mean: FloatArray
    known: NDArray[np.bool_]

    @classmethod
    def on(cls, table: Table, panel: Panel) -> "_Work":
        coffee = panel.coffee_of_batch[table.batch]
        seen = np.unique(coffee)  # panel.coffees is sorted, so this is the order of sorted labels
        columns = panel.response.columns[table.pull]
        named = {name: columns[:, index] for index, name in enumerate(panel.response.names)}
        priors = [
            panel.response.priors(attribute, table.service, *table.scale[index])
            for index, attribute in enumerate(table.attributes)
        ]
        known = np.isfinite(table.target)
        width = table.scale[:, 1] - table.scale[:, 0]
        tolerances = (column[np.isfinite(column)] for column in table.tolerance.T)
        return cls(
            table=table,
            labels=(
                np.array(panel.batches)[table.batch],
                np.array(panel.tasters)[table.taster],
                np.array(panel.pulls)[table.pull],
                np.array(panel.coffees)[coffee],
            ),
            covariates=named or None,
            slopes=(np.array([mean for mean, _ in priors]).T, np.array([sd for _, sd in priors]).T) if named else None,
            tolerance=np.array(
                [np.median(some) if len(some) else 0.1 * one for some, one in zip(tolerances, width, strict=True)]
            ),
            coffee_mean=np.where(known, np.nan_to_num(table.target), table.scale.mean(axis=1))[seen],
            known=known[seen],
        )

    def fit_plain(self) -> Sequence[mixed.Fit | None]:
        """Plain REML for the report; None for all where there are too few scores for it."""
        batch, taster, pull, coffee = self.labels
        try:
            return mixed.fit_many(
                self.table.score, batch, taster, pull, coffee, self.covariates, covariate_prior=self.slopes
            )
        except DesignError:
            return [None] * len(self.table.attributes)

    def units(self, term: str) -> FloatArray:
        """What a prior on this term's s.d. is counted in, points, shape (attributes,): tolerances, or whole scales."""
        return self.tolerance if term == "batch" else np.asarray(self.table.scale[:, 1] - self.table.scale[:, 0])

    def fit_informed(self, usual: float, priors: Mapping[str, tuple[float, float]]) -> Sequence[mixed.Fit]:
        """The fit that judges: coffees `usual` tolerances about their targets, and a prior on every spread."""
        batch, taster, pull, coffee = self.labels
        return mixed.fit_many(
            self.table.score,
            batch,
            taster,
            pull,
            coffee,
            self.covariates,
            (self.coffee_mean, np.asarray(np.where(self.known, usual * self.tolerance, np.inf), dtype=float)),
            covariate_prior=self.slopes,
            variance_prior=[
                {term: (median * float(self.units(term)[a]), spread) for term, (median, spread) in priors.items()}
                for a in range(len(self.table.attributes))
            ],
        )


def _first_priors(usual: float, panel: Panel) -> dict[str, tuple[float, float]]:
    """Priors before any sheet: median s.d. (the batches' in tolerances, others in scales) and s.d. of its logarithm."""
    # What coffees do not take of the spread about the targets is the batches'.
    about_target = batch_sd_in_tolerances(panel.prior_bad, panel.columns)
    of_batches = float(np.sqrt(max(about_target**2 - usual**2, 0.25 * about_target**2)))
    return _SD_PRIORS | {"batch": (of_batches, _BATCH_LOG_SD)}


def _learn_priors(
    works: Sequence[_Work], fits: Sequence[Sequence[mixed.Fit]], start: Mapping[str, tuple[float, float]]
) -> dict[str, tuple[float, float]]:
    """Priors that the shop's attributes lend each other: where their spreads agree, one attribute's learns from all.

    The median is the attributes' geometric mean; the spread is how far they differ beyond their own doubt, never below
    a fifth nor above what it was before any sheet.
    """
    learned = dict(start)
    for term in start:
        found = [
            (fit.log_sd[place] - np.log(work.units(term)[a]), np.linalg.inv(fit.information)[place, place])
            for work, attribute_fits in zip(works, fits, strict=True)
            for a, fit in enumerate(attribute_fits)
            if term in fit.active
            for place in [fit.active.index(term)]
        ]
        if len(found) < _ATTRIBUTES_TO_LEARN:
            continue
        log_sd, doubt = np.array(found).T
        spread = float(np.sqrt(np.clip(log_sd.var(ddof=1) - doubt.mean(), _LEAST_SPREAD**2, start[term][1] ** 2)))
        learned[term] = (float(np.exp(log_sd.mean())), spread)
    return learned


def _coffee_sd(works: Sequence[_Work], plain: Sequence[Sequence[mixed.Fit | None]]) -> float:
    """How far the shop's coffees lie from their targets, in tolerances, learned over its attributes by moments.

    A shift that all coffees share is the panel's, not theirs, and is left out.
    """
    total, freedom = _COFFEE_SD_WEIGHT * _COFFEE_SD**2, _COFFEE_SD_WEIGHT
    for work, fits in zip(works, plain, strict=True):
        for a, fit in enumerate(fits):
            if fit is None or len(fit.levels["coffee"]) != len(work.known):
                continue
            rows = np.flatnonzero(work.known[:, a])
            if len(rows) < 2:
                continue
            posterior = fit.posterior()
            found = np.array([posterior.new_batch(fit.levels["coffee"][row]) for row in rows])
            away = (found[:, 0] - work.coffee_mean[rows, a]) / work.tolerance[a]
            noise = np.maximum(found[:, 1] ** 2 - fit.variances["batch"], 0.0) / work.tolerance[a] ** 2
            total += float(np.sum((away - away.mean()) ** 2) - (1 - 1 / len(rows)) * noise.sum())
            freedom += len(rows) - 1
    return max(float(np.sqrt(max(total, 0.0) / freedom)), _LEAST_COFFEE_SD)


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
    table: Table, panel: Panel, a: int, fit: mixed.Fit, plain: mixed.Fit | None, usual: float
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
    batch_sd = batch_sd_in_tolerances(panel.prior_bad, panel.columns)
    for draw, posterior in enumerate(posteriors):
        mean[draw, mine], sd[draw, mine] = posterior.level, posterior.level_sd
        for coffee in np.unique(panel.coffee_of_batch[~scored]):
            label = panel.coffees[coffee]
            of_coffee = np.flatnonzero(~scored & (panel.coffee_of_batch == coffee))
            if label in coffees:
                expected = posterior.new_batch(label)
            else:
                width = float(np.hypot(usual, batch_sd)) * float(np.nan_to_num(table.tolerance[coffee, a]))
                expected = (float(np.nan_to_num(table.target[coffee, a])), width)
            mean[draw, of_coffee], sd[draw, of_coffee] = expected
    levels = Levels(weight, mean, sd)

    rows = np.flatnonzero(np.isfinite(table.score[:, a]))
    shot, tasting = _effects(table, panel, rows, fit)
    index = table.batch[rows]
    count = np.bincount(index, minlength=batches)

    def average(values: FloatArray) -> FloatArray:
        total = np.bincount(index, values, minlength=batches)
        return np.divide(total, count, out=np.zeros(batches), where=count > 0)

    adjusted = np.full(len(table.score), np.nan)
    adjusted[rows] = table.score[rows, a] - shot - tasting
    nothing = dict.fromkeys(mixed.TERMS, 0.0)
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
        variances=plain.variances if plain else nothing,
        log_likelihood=plain.log_likelihood if plain else 0.0,
        believed=fit.variances,
        adjusted=adjusted,
        dropped=plain.dropped if plain else (),
        converged=fit.converged and (plain is None or plain.converged),
    )


def _weights(log_weight: FloatArray) -> FloatArray:
    """Normalised importance weights, none above a quarter, so that no single draw speaks alone."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    weight = np.minimum(weight, 0.25)
    return np.asarray(weight / weight.sum(), dtype=float)


def _effects(table: Table, panel: Panel, rows: IntArray, fit: mixed.Fit) -> tuple[FloatArray, FloatArray]:
    """What the pull and what the taster added to each score, at the mode; the panel's mean taster adds nothing."""
    posterior = fit.posterior()
    slopes = posterior.coefficients[len(fit.levels["coffee"]) :]
    shot = panel.response.columns[table.pull[rows]] @ slopes
    if len(posterior.pull_effect):
        by_pull = {pull: value for (_, pull), value in zip(fit.levels["pull"], posterior.pull_effect, strict=True)}
        shot = shot + np.array([by_pull[panel.pulls[index]] for index in table.pull[rows]])
    by_taster = dict(zip(fit.levels["taster"], posterior.taster_effect - posterior.panel_mean, strict=True))
    by_pair = dict(zip(fit.levels["batch_taster"], posterior.batch_taster_effect, strict=True))
    tasting = np.array(
        [
            by_taster[panel.tasters[taster]] + by_pair.get((panel.batches[batch], panel.tasters[taster]), 0.0)
            for batch, taster in zip(table.batch[rows], table.taster[rows], strict=True)
        ]
    )
    return np.asarray(shot, dtype=float), np.asarray(tasting, dtype=float)


def _distinct(owner: IntArray, item: IntArray, owners: int) -> IntArray:
    """Count distinct items of each owner, shape (owners,)."""
    pairs = np.unique(np.stack([owner, item], axis=1), axis=0)
    return np.bincount(pairs[:, 0], minlength=owners).astype(np.intp)
