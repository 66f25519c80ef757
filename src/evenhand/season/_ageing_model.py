"""One attribute of the green coffee over its months: a straight line a lot, the lots' lines alike but not the same.

A tasting of a lot is its level at harvest, plus its own change a reference month, plus the scatter of batches, plus the
known error of the tasting. Levels and changes of lots scatter about common means, so a new lot borrows from old ones.
Three scatters and three storage effects are summed over a grid; everything else is normal and exact in each cell.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from math import erf, pi, sqrt
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.mixed import Fit
from evenhand.season._ageing_leaving import Leaving, find_leaving
from evenhand.season._ageing_storage import History, effect_grid, reference_months
from evenhand.units import Measured

Array = NDArray[np.float64]

_SCATTER_STEPS: Final = np.exp(np.linspace(np.log(0.03), np.log(2.0), 9))
# A half-normal of scale 1 in six pieces: the mass of each and its mean.
_SPREAD_EDGES: Final = np.array([0.0, 0.12, 0.35, 0.7, 1.2, 1.8, 9.0])
_SPREAD_MASS: Final = np.diff([erf(edge / sqrt(2.0)) for edge in _SPREAD_EDGES])
_SPREAD_STEPS: Final = -np.diff(sqrt(2.0 / pi) * np.exp(-0.5 * _SPREAD_EDGES**2)) / _SPREAD_MASS
_PARTS: Final = 2000  # equal parts of the weight, each of which carries the cell at its middle on


@dataclass(frozen=True, slots=True, eq=False)
class Ageing:
    """What months of storage do to one attribute, learned from a shop's lots.

    Attributes
    ----------
    change
        Change a reference month of a lot like these: the common mean, points.
    change_spread
        How far single lots' changes scatter about it, points a reference month.
    shows
        Whether zero lies outside the 90 % interval of the common mean.
    scatter
        Scatter of batches of one lot, beyond the error of their tastings, points.
    storage_factors
        By how much a month counts: 10 degrees C warmer, 0.1 more water activity, airtight.
    lots
        The lots that were learned from, sorted.
    speaking
        How many of them were tasted at two or more ages.
    """

    change: Measured
    change_spread: Measured
    shows: bool
    scatter: Measured
    storage_factors: tuple[Measured, Measured, Measured]
    lots: tuple[Hashable, ...]
    speaking: int
    _weight: Array  # (cells,)
    _effects: Array  # (cells, 3)
    _mean: Array  # (cells, lots + 1, 2): level at harvest and change a month; the last is a lot not seen before
    _cov: Array  # (cells, lots + 1, 2, 2)
    _histories: Mapping[Hashable, History]

    def level(self, months: ArrayLike, lot: Hashable | None = None, history: History | None = None) -> list[Measured]:
        """Level of a lot's attribute at months since harvest, without the scatter of single batches.

        Parameters
        ----------
        months
            Months since harvest, shape (n,).
        lot
            One of `lots`; None for a lot not tasted yet.
        history
            Its storage from harvest on; for a lot of `lots` by default that which it was learned with.

        Returns
        -------
        list of Measured
            One a month asked.

        Raises
        ------
        DesignError
            If the lot is not among `lots`.
        """
        at = np.atleast_1d(np.asarray(months, dtype=float))
        mean, cov, history = self._line(lot, history)
        age = reference_months(history, at, self._effects)
        centre = mean[:, :1] + mean[:, 1:] * age
        variance = cov[:, :1, 0] + 2.0 * cov[:, :1, 1] * age + cov[:, 1:, 1] * age**2
        middle = self._weight @ centre
        spread = np.sqrt(self._weight @ (variance + (centre - middle) ** 2))
        return [Measured(float(m), float(s)) for m, s in zip(middle, spread, strict=True)]

    def leaving(
        self,
        low: float,
        high: float,
        now_months: float,
        lot: Hashable | None = None,
        history: History | None = None,
        *,
        attribute: str = "The attribute",
        horizon_months: float = 24.0,
    ) -> Leaving:
        """Find the month in which a lot's attribute is likely to leave its tolerance.

        Parameters
        ----------
        low, high
            The tolerance's limits, points.
        now_months
            Months since harvest today.
        lot, history
            As in `level`; the storage from today on is that of the history's last spell.
        attribute
            Its name, for the sentence.
        horizon_months
            How far ahead to look.

        Returns
        -------
        Leaving
            A prompt to taste, with its interval. It is never an expiry.

        Raises
        ------
        DesignError
            If the lot is not among `lots` or the limits are out of order.
        QuantityError
            If the months are negative or the horizon not above 0.
        """
        mean, cov, history = self._line(lot, history)
        at = now_months + np.arange(0.0, horizon_months + 0.125, 0.25)
        age = reference_months(history, at, self._effects)
        unknown = [spell for spell in history if not spell.known]
        return find_leaving(
            self._weight,
            mean,
            cov,
            at,
            age,
            low,
            high,
            attribute,
            leans=not self.shows,
            storage_known=bool(history) and not unknown,
        )

    def _line(self, lot: Hashable | None, history: History | None) -> tuple[Array, Array, History]:
        if lot is None:
            number = len(self.lots)
        elif lot in self.lots:
            number = self.lots.index(lot)
        else:
            raise DesignError(f"No tasting is of the lot {lot}; give one that was learned from, or None for a new one.")
        if history is None:
            history = () if lot is None else self._histories.get(lot, ())
        return self._mean[:, number], self._cov[:, number], history


def learn_ageing(
    level: ArrayLike,
    level_sd: ArrayLike,
    lot: Sequence[Hashable],
    months: ArrayLike,
    histories: Mapping[Hashable, History] | None = None,
    *,
    change_prior_sd: float = 0.15,
    level_prior_sd: float = 1.0,
) -> Ageing:
    """Learn how one attribute changes with months since harvest, from tastings of several lots.

    Parameters
    ----------
    level
        Level of a batch at the house recipe, points, shape (n,): from `tasted_levels`, or a mean.
    level_sd
        Its standard uncertainty, shape (n,), above 0; a batch tasted once counts less through it.
    lot
        The green lot of each batch.
    months
        Months since the lot's harvest when its batch was roasted, shape (n,).
    histories
        By lot, its storage as spells from harvest on. A lot left out is taken to have been stored at the reference.
    change_prior_sd
        How large the common change a reference month may be, one standard deviation about zero, in points. The default
        suits a scale of ten points (common practice, no source). Half of it is the scale of the lots' scatter about it.
    level_prior_sd
        Scale of the lots' scatter in level, points.

    Returns
    -------
    Ageing
        The change with its uncertainty, that of the storage effects included.

    Raises
    ------
    DesignError
        If the arrays do not fit together, or no lot was tasted at two ages.
    QuantityError
        If a value is impossible.

    Notes
    -----
    Only change within a lot, and the difference of lots tasted at different ages, speak of ageing. Batches of one lot
    must be roasted to one profile: a roast that drifts with the months cannot be told from a green that ages.
    """
    y, sd, age = (np.asarray(x, dtype=float) for x in (level, level_sd, months))
    if y.ndim != 1 or sd.shape != y.shape or age.shape != y.shape or len(lot) != y.size:
        raise DesignError("Levels, uncertainties, lots and months must be lists of the same length, one entry a batch.")
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(sd) & (sd > 0))):
        raise QuantityError("Every level must be a finite number with an uncertainty above 0.")
    if not (change_prior_sd > 0 and level_prior_sd > 0):
        raise QuantityError("The prior standard deviations must be more than 0.")
    names: tuple[Hashable, ...] = tuple(sorted(set(lot), key=str))
    member = np.array([names.index(one) for one in lot], dtype=int)
    speaking = sum(np.unique(age[member == j]).size > 1 for j in range(len(names)))
    if speaking == 0:
        raise DesignError("No lot was tasted at two ages; taste one again some months later to see what ageing does.")
    histories = dict(histories or {})
    effects, effect_weight = effect_grid()
    stored = np.empty((len(effects), y.size))
    for j, name in enumerate(names):
        rows = member == j
        stored[:, rows] = reference_months(histories.get(name, ()), age[rows], effects)
    centre = float(y.mean())
    seen = max(float(y.std()), float(np.sqrt(np.mean(sd**2))))
    grid = _Grid(effects, np.log(effect_weight), seen * _SCATTER_STEPS, level_prior_sd, 0.5 * change_prior_sd)
    cells = _solve(y - centre, sd, member, len(names), stored, grid, change_prior_sd)
    mean = cells.mean
    mean[:, :, 0] += centre
    weight, new = cells.weight, len(names)
    common_mean, common_sd = mean[:, new, 1], np.sqrt(cells.common_variance)
    factors = [_mixture(weight, np.exp(cells.effects[:, i]), np.zeros(len(weight))) for i in range(3)]
    return Ageing(
        change=_mixture(weight, common_mean, common_sd),
        change_spread=_mixture(weight, cells.change_spread, np.zeros(len(weight))),
        shows=_clear_of_zero(weight, common_mean, common_sd),
        scatter=_mixture(weight, cells.scatter, np.zeros(len(weight))),
        storage_factors=(factors[0], factors[1], factors[2]),
        lots=names,
        speaking=speaking,
        _weight=weight,
        _effects=cells.effects,
        _mean=mean,
        _cov=cells.cov,
        _histories=histories,
    )


def tasted_levels(fit: Fit) -> tuple[tuple[Hashable, ...], Array, Array]:
    """Take each batch's level out of a mixed model as it was tasted, not drawn to the mean of its coffee.

    A mixed model draws batches together, which is right for judging one. Learning from them a second time would draw
    twice and hide a slow change, so here the batches' variance is set far above all others.

    Parameters
    ----------
    fit
        One attribute, from `evenhand.panel.mixed.fit`.

    Returns
    -------
    Batches, levels and their standard uncertainties, (n,) each: what `learn_ageing` takes.
    """
    wide = 1e6 * max(fit.variances.values())
    at = fit.posterior({"batch": wide})
    return tuple(fit.levels["batch"]), at.level, at.level_sd


@dataclass(frozen=True, slots=True)
class _Grid:
    effects: Array
    ln_effect_weight: Array
    scatter: Array
    level_spread_scale: float
    change_spread_scale: float


@dataclass(frozen=True, slots=True)
class _Cells:
    weight: Array
    effects: Array
    scatter: Array
    change_spread: Array
    common_variance: Array
    mean: Array
    cov: Array


def _solve(
    y: Array, sd: Array, member: NDArray[np.int_], lots: int, stored: Array, grid: _Grid, change_prior_sd: float
) -> _Cells:
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
        ln[:, :, number] = _ln_evidence(sums, constant, spread, change_prior_sd)
    ln += grid.ln_effect_weight[None, :, None] + ln_spreads
    weight = np.exp(ln - ln.max())
    # Too many cells to carry on: take those at the middle of equal parts of the whole weight, as often as they come.
    heap = np.cumsum(weight.ravel()) / weight.sum()
    middle = (np.arange(_PARTS) + 0.5) / _PARTS
    cells, count = np.unique(np.minimum(np.searchsorted(heap, middle), weight.size - 1), return_counts=True)
    at = np.unravel_index(cells, weight.shape)
    chosen = count / _PARTS
    mean, cov, common_variance = _lines([part[at[0], at[1]] for part in sums], spreads[at[2]], change_prior_sd)
    return _Cells(chosen, grid.effects[at[1]], grid.scatter[at[0]], spreads[at[2], 1], common_variance, mean, cov)


def _ln_evidence(sums: Sequence[Array], constant: Array, spread: Array, change_prior_sd: float) -> Array:
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


def _lines(sums: Sequence[Array], spreads: Array, change_prior_sd: float) -> tuple[Array, Array, Array]:
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


def _mixture(weight: Array, mean: Array, sd: Array) -> Measured:
    centre = float(weight @ mean)
    return Measured(centre, float(np.sqrt(weight @ (sd**2 + (mean - centre) ** 2))))


def _clear_of_zero(weight: Array, mean: Array, sd: Array) -> bool:
    from scipy.special import ndtr

    above = float(weight @ ndtr(mean / sd))
    return not 0.05 <= above <= 0.95
