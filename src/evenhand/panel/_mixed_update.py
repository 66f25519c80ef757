"""Takes further sheets into account at given variances by exchanging the blocks of the batches that they belong to."""

from collections.abc import Hashable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenhand.errors import DesignError
from evenhand.panel._blocks import Contraction
from evenhand.panel._blocks_pattern import covariance, sharing
from evenhand.panel._mixed_design import Floats, Labels, code
from evenhand.panel._mixed_likelihood import IN_BLOCK, Problem, scale_at, solve_border
from evenhand.panel._mixed_posterior import joint_of
from evenhand.panel._mixed_prepare import Covariates, read_covariates
from evenhand.words import say


@dataclass(frozen=True, slots=True, kw_only=True)
class Update:
    """What is believed after further sheets, of the batches that these belong to, at unchanged variances.

    `level`, `level_sd`, `batch_effect` and `batch_sd` are in the order of `batches`; `taster_effect` and `taster_sd` in
    that of `tasters`. `coefficients` and their covariance are the coffee means of `coffees`, then the covariates kept.
    `joint` holds, by batch, mean and covariance of (coffee mean, batch effect, panel mean).
    """

    batches: tuple[Hashable, ...]
    tasters: tuple[Hashable, ...]
    coffees: tuple[Hashable, ...]
    level: Floats
    level_sd: Floats
    batch_effect: Floats
    batch_sd: Floats
    taster_effect: Floats
    taster_sd: Floats
    coefficients: Floats
    coefficients_cov: Floats
    joint: Mapping[Hashable, tuple[Floats, Floats]]
    log_likelihood: float


@dataclass(frozen=True, slots=True)
class _Rows:
    """Rows of one batch: border columns, shifted scores, and what they share."""

    border: Floats
    score: Floats
    taster: npt.NDArray[np.int64]
    pull: npt.NDArray[np.int64]


def _gram(rows: _Rows, variances: Floats) -> tuple[Floats, float, Floats, Floats]:
    """Augmented Gram matrix and log determinant of a block, with V^-1 1 and V^-1 itself."""
    v = covariance(sharing(rows.taster[None], rows.pull[None]), variances[IN_BLOCK])[0]
    inverse = np.linalg.inv(v)
    full = np.column_stack([rows.border, rows.score])
    return full.T @ inverse @ full, float(np.linalg.slogdet(v)[1]), inverse.sum(1), inverse


def with_sheets(
    problem: Problem,
    variances: Floats,
    sums: Contraction,
    score: npt.ArrayLike,
    batch: Labels,
    taster: Labels,
    pull: Labels | None,
    coffee: Labels | None,
    covariates: Covariates | None,
) -> Update:
    """Refresh the batches that further sheets belong to.

    Parameters
    ----------
    problem
        The attribute as it was fitted.
    variances
        Shape (5,), in the order of TERMS.
    sums
        The blocks' sums at these variances.
    score, batch, taster, pull, coffee, covariates
        The further sheets; scores that are NaN are left out. `coffee` may be left out for known batches.

    Returns
    -------
    The update.

    Raises
    ------
    DesignError
        When the sheets do not fit the design: an unknown coffee, a wrong number of covariates, pulls on one side only.
    """
    design = problem.design
    new_score = np.asarray(score, float).reshape(-1)
    rows = len(new_score)
    coded = code(rows, batch, taster, pull, coffee)
    if (pull is not None) != bool(design.pulls):
        raise DesignError(say("Pulls must be given for further sheets if, and only if, the fit has them."))
    columns, _ = read_covariates(covariates, rows)
    if covariates is None:
        columns = np.zeros((rows, len(design.covariate_names)))
    if columns.shape[1] != len(design.covariate_names):
        raise DesignError(
            say(
                "The further sheets have {given} covariates; the fit has {fitted}.",
                given=columns.shape[1],
                fitted=len(design.covariate_names),
            )
        )
    columns = columns[:, design.kept]
    use = ~np.isnan(new_score)
    if not use.any():
        raise DesignError(say("None of the further sheets has a score; there is nothing to take into account."))

    # the panel as it is now: new tasters come behind the known ones
    known = {label: i for i, label in enumerate(design.tasters)}
    for label in (coded.tasters[t] for t in np.unique(coded.taster[use]).tolist()):
        known.setdefault(label, len(known))
    q_old, q = len(design.tasters), len(known)
    place = np.concatenate([np.arange(q_old), q + np.arange(design.width - q_old)])
    width = q + design.width - q_old

    total = np.zeros((width + 1, width + 1))
    at = np.append(place, width)
    total[np.ix_(at, at)] = sums.gram
    log_det = sums.log_det

    blocks: dict[Hashable, tuple[int, Floats, float, _Rows, Floats]] = {}
    for number, label in enumerate(coded.batches):
        mine = np.flatnonzero((coded.batch == number) & use)
        if not len(mine):
            continue
        before = design.position.get(label)
        coffee_number = _coffee(
            problem, before, label, None if coffee is None else coded.coffees[coded.coffee[mine[0]]]
        )
        span = slice(0, 0)
        if before is not None:
            found = np.flatnonzero(design.batch == before)
            span = slice(int(found[0]), int(found[-1]) + 1)
        had = span.stop - span.start
        border = np.zeros((had + len(mine), width))
        border[:had, place] = design.border(span)
        tasters = np.concatenate(
            [design.taster[span], [known[coded.tasters[t]] for t in coded.taster[mine].tolist()]]
        ).astype(np.int64)
        fresh = np.arange(had, len(border))
        border[fresh, tasters[had:]] = 1.0
        border[fresh, q + coffee_number] = 1.0
        border[had:, q + len(design.coffees) :] = columns[mine]
        shift = problem.shift[design.fixed_columns]
        shifted = new_score[mine] - shift[coffee_number] - columns[mine] @ shift[len(design.coffees) :]
        pulls = _pulls(
            [design.pulls[p] for p in design.pull[span].tolist()] if design.pulls else None,
            [coded.pulls[p] for p in coded.pull[mine].tolist()] if design.pulls else None,
            len(border),
        )
        rows_now = _Rows(border, np.concatenate([problem.score[span], shifted]), tasters, pulls)
        if had:
            rows_then = _Rows(border[:had], problem.score[span], tasters[:had], pulls[:had])
            gram_then, log_then, _, _ = _gram(rows_then, variances)
            total -= gram_then
            log_det -= log_then
        gram_now, log_now, unit, _ = _gram(rows_now, variances)
        total += gram_now
        log_det += log_now
        blocks[label] = (coffee_number, unit, float(unit.sum()), rows_now, unit @ border)

    scale = np.full(width, np.sqrt(variances[1]))
    scale[q:] = scale_at(problem, variances)[q_old:]
    flat, shift_all = np.zeros(width, bool), np.zeros(width)
    flat[q:], shift_all[q:] = problem.flat[q_old:], problem.shift[q_old:]
    border_now = solve_border(scale, flat, shift_all, total, log_det, design.n + int(use.sum()))

    joint: dict[Hashable, tuple[Floats, Floats]] = {}
    for label, (coffee_number, unit, sum_unit, rows_now, arrow) in blocks.items():
        residual = rows_now.score - rows_now.border @ border_now.deviation
        own = max(variances[0] - variances[0] ** 2 * sum_unit, 0.0)
        effect = float(variances[0] * (unit @ residual))
        joint[label] = joint_of(border_now, q, coffee_number, variances[0] * arrow, own, effect)
    means = np.array([mean for mean, _ in joint.values()])
    covs = np.array([cov for _, cov in joint.values()])
    return Update(
        batches=tuple(joint),
        tasters=tuple(known),
        coffees=design.coffees,
        level=means.sum(1),
        level_sd=np.sqrt(np.maximum(covs.sum((1, 2)), 0.0)),
        batch_effect=means[:, 1],
        batch_sd=np.sqrt(np.maximum(covs[:, 1, 1], 0.0)),
        taster_effect=border_now.coefficients[:q],
        taster_sd=np.sqrt(np.maximum(np.diagonal(border_now.covariance)[:q], 0.0)),
        coefficients=border_now.coefficients[q:],
        coefficients_cov=border_now.covariance[q:, q:],
        joint=joint,
        log_likelihood=border_now.log_likelihood,
    )


def _coffee(problem: Problem, before: int | None, label: Hashable, said: Hashable | None) -> int:
    """Number of a batch's coffee, from what is known of it or from what the further sheets say."""
    design = problem.design
    if before is not None:
        number = int(design.coffee_of_batch[before])
        if said is not None and design.coffees[number] != said:
            raise DesignError(
                say(
                    "Batch {label} is of {coffee}, but a further sheet says {said}.",
                    label=label,
                    coffee=design.coffees[number],
                    said=said,
                )
            )
        return number
    if said is None and len(design.coffees) == 1:
        return 0
    if said is None or said not in design.coffees:
        raise DesignError(
            say("Batch {label} is new and its coffee is not among those fitted; fit anew with all sheets.", label=label)
        )
    return design.coffees.index(said)


def _pulls(then: list[object] | None, now: list[object] | None, rows: int) -> npt.NDArray[np.int64]:
    """Number the (batch, pull) pairs of one batch's rows, -1 without pulls."""
    if then is None or now is None:
        return np.full(rows, -1)
    numbers: dict[object, int] = {}
    return np.array([numbers.setdefault(pair, len(numbers)) for pair in [*then, *now]])
