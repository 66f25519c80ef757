"""One attribute of the green coffee over its months: a straight line a lot, the lots' lines alike but not the same.

A tasting of a lot is its level at harvest, plus its own change a reference month, plus the scatter of batches, plus the
known error of the tasting. Levels and changes of lots scatter about common means, so a new lot borrows from old ones.
Three scatters and three storage effects are summed over a grid; everything else is normal and exact in each cell.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.mixed import Fit
from evenhand.season._ageing_cells import Grid, equal_parts, solve
from evenhand.season._ageing_leaving import Leaving, find_leaving
from evenhand.season._ageing_storage import History, effect_grid, reference_months
from evenhand.units import Measured
from evenhand.words import say

Array = NDArray[np.float64]

_SCATTER_STEPS: Final = np.exp(np.linspace(np.log(0.03), np.log(2.0), 9))
_PARTS_OF_LEAVING: Final = 400


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
    _p_rises: float  # chance that the common mean is above 0
    _ln_evidence: float  # of the tastings, up to a constant that no prior changes
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

    def lot_change(self, lot: Hashable) -> tuple[Measured, bool]:
        """Change a reference month of one lot, and whether zero lies outside its 90 % interval.

        Parameters
        ----------
        lot
            One of `lots`.

        Raises
        ------
        DesignError
            If the lot is not among `lots`.
        """
        mean, cov, _ = self._line(lot, ())
        sd = np.sqrt(cov[:, 1, 1])
        return _mixture(self._weight, mean[:, 1], sd), _clear(_chance_above(self._weight, mean[:, 1], sd))

    def leaving(
        self,
        low: float,
        high: float,
        now_months: float,
        lot: Hashable | None = None,
        history: History | None = None,
        *,
        attribute: str = say("The attribute"),
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
        at = now_months + np.arange(0.0, horizon_months + 0.25, 0.5)
        # Equal parts of the weight stand for all cells: the sum over them is what takes the time.
        stand = equal_parts(self._weight, _PARTS_OF_LEAVING)
        age = reference_months(history, at, self._effects[stand])
        unknown = [spell for spell in history if not spell.known]
        return find_leaving(
            np.full(stand.size, 1.0 / stand.size),
            mean[stand],
            cov[stand],
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
            raise DesignError(
                say("No tasting is of the lot {lot}; give one that was learned from, or None for a new one.", lot=lot)
            )
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
        raise DesignError(
            say("Levels, uncertainties, lots and months must be lists of the same length, one entry a batch.")
        )
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(sd) & (sd > 0))):
        raise QuantityError(say("Every level must be a finite number with an uncertainty above 0."))
    if not (change_prior_sd > 0 and level_prior_sd > 0):
        raise QuantityError(say("The prior standard deviations must be more than 0."))
    names: tuple[Hashable, ...] = tuple(sorted(set(lot), key=str))
    member = np.array([names.index(one) for one in lot], dtype=int)
    speaking = sum(np.unique(age[member == j]).size > 1 for j in range(len(names)))
    if speaking == 0:
        raise DesignError(
            say("No lot was tasted at two ages; taste one again some months later to see what ageing does.")
        )
    histories = dict(histories or {})
    effects, effect_weight = effect_grid()
    stored = np.empty((len(effects), y.size))
    for j, name in enumerate(names):
        rows = member == j
        stored[:, rows] = reference_months(histories.get(name, ()), age[rows], effects)
    centre = float(y.mean())
    seen = max(float(y.std()), float(np.sqrt(np.mean(sd**2))))
    grid = Grid(effects, np.log(effect_weight), seen * _SCATTER_STEPS, level_prior_sd, 0.5 * change_prior_sd)
    cells = solve(y - centre, sd, member, len(names), stored, grid, change_prior_sd)
    mean = cells.mean
    mean[:, :, 0] += centre
    weight, new = cells.weight, len(names)
    common_mean, common_sd = mean[:, new, 1], np.sqrt(cells.common_variance)
    factors = [_mixture(weight, np.exp(cells.effects[:, i]), np.zeros(len(weight))) for i in range(3)]
    p_rises = _chance_above(weight, common_mean, common_sd)
    return Ageing(
        change=_mixture(weight, common_mean, common_sd),
        change_spread=_mixture(weight, cells.change_spread, np.zeros(len(weight))),
        shows=_clear(p_rises),
        scatter=_mixture(weight, cells.scatter, np.zeros(len(weight))),
        storage_factors=(factors[0], factors[1], factors[2]),
        lots=names,
        speaking=speaking,
        _p_rises=p_rises,
        _ln_evidence=cells.ln_evidence,
        _weight=weight,
        _effects=cells.effects,
        _mean=mean,
        _cov=cells.cov,
        _histories=histories,
    )


def mix_ageings(parts: Sequence[Ageing], share: ArrayLike) -> Ageing:
    """Weigh answers from one set of tastings under several priors into one.

    Parameters
    ----------
    parts
        From `learn_ageing`, of the same tastings.
    share
        What each counts for, shape (parts,), summing to 1.
    """
    of = np.asarray(share, dtype=float)

    def both(values: Sequence[Measured]) -> Measured:
        return _mixture(of, np.array([one.value for one in values]), np.array([one.sd for one in values]))

    factors = [both([one.storage_factors[i] for one in parts]) for i in range(3)]
    p_rises = float(of @ [one._p_rises for one in parts])
    first = parts[0]
    return Ageing(
        change=both([one.change for one in parts]),
        change_spread=both([one.change_spread for one in parts]),
        shows=_clear(p_rises),
        scatter=both([one.scatter for one in parts]),
        storage_factors=(factors[0], factors[1], factors[2]),
        lots=first.lots,
        speaking=first.speaking,
        _p_rises=p_rises,
        _ln_evidence=float(np.logaddexp.reduce(np.log(np.maximum(of, 1e-300)) + [one._ln_evidence for one in parts])),
        _weight=np.concatenate([weight * one._weight for weight, one in zip(of, parts, strict=True)]),
        _effects=np.concatenate([one._effects for one in parts]),
        _mean=np.concatenate([one._mean for one in parts]),
        _cov=np.concatenate([one._cov for one in parts]),
        _histories=first._histories,
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


def _mixture(weight: Array, mean: Array, sd: Array) -> Measured:
    centre = float(weight @ mean)
    return Measured(centre, float(np.sqrt(weight @ (sd**2 + (mean - centre) ** 2))))


def _chance_above(weight: Array, mean: Array, sd: Array) -> float:
    from scipy.special import ndtr

    return float(weight @ ndtr(mean / sd))


def _clear(p_rises: float) -> bool:
    return not 0.05 <= p_rises <= 0.95
