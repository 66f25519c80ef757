"""Rest after roasting: the gas still in the beans, what it does to a shop's own pulls, and when a batch is ready.

The literature gives the shape of the loss of gas; the shop's pulls, repeated over the days after roasting, give the
size of its effect. The unknown shape is integrated over a grid, so that a short series gives a wide answer.
"""

from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.units import Measured

Array = NDArray[np.float64]

# Priors of the Weibull curve for whole beans at room temperature. Shape below 1, as measured curves are fast at first
# and slow later (X. Wang and L.-T. Lim (2014), Food Research International 61, 144-151, fit Weibull curves; values
# from memory and wide). The time constant's median of a week is common practice, no source.
_TAU_D: Final = np.exp(np.linspace(np.log(1.5), np.log(35.0), 21))
_TAU_PRIOR: Final = (np.log(7.0), 0.6)
_SHAPE: Final = np.linspace(0.35, 1.15, 9)
_SHAPE_PRIOR: Final = (0.6, 0.15)
# The scatter of single pulls: anything from a fiftieth of what was seen to all of it, even in the logarithm.
_SCATTER_STEPS: Final = np.linspace(np.log(0.02), np.log(2.0), 41)
# Ages at which readiness is looked for, days.
_AGES_D: Final = np.arange(0.0, 60.25, 0.25)


def gas_left_weibull(age_d: ArrayLike, tau_d: float = 7.0, shape: float = 0.6) -> Array:
    """Share of the gas after roasting that is still in the beans, by a Weibull curve.

    Parameters
    ----------
    age_d
        Days since roasting, any shape.
    tau_d
        Days until 1/e (37 %) is left.
    shape
        Below 1 the loss is fast at first and slow later.

    Returns
    -------
    ndarray
        exp(-(age / tau)^shape), of the shape of `age_d`.

    Raises
    ------
    QuantityError
        If an age is negative, or a parameter not positive.
    """
    if not (tau_d > 0 and shape > 0):
        raise QuantityError("The time constant and the shape of the loss of gas must be more than 0.")
    return np.asarray(np.exp(-((_ages(age_d) / tau_d) ** shape)))


def gas_left_double(age_d: ArrayLike, fast_share: float, fast_tau_d: float, slow_tau_d: float) -> Array:
    """Share of the gas after roasting that is still in the beans, as the sum of a fast and a slow exponential.

    Parameters
    ----------
    age_d
        Days since roasting, any shape.
    fast_share
        Share of the gas in the fast pool, 0 to 1.
    fast_tau_d, slow_tau_d
        Days until 1/e of each pool is left.

    Raises
    ------
    QuantityError
        If an age is negative, the share not between 0 and 1, or the fast pool slower than the slow one.
    """
    if not 0 <= fast_share <= 1:
        raise QuantityError(f"The share of the fast pool lies between 0 and 1, not {fast_share:g}.")
    if not 0 < fast_tau_d <= slow_tau_d:
        raise QuantityError("Time constants must be more than 0, and the fast one not above the slow one.")
    ages = _ages(age_d)
    return np.asarray(fast_share * np.exp(-ages / fast_tau_d) + (1.0 - fast_share) * np.exp(-ages / slow_tau_d))


def _ages(age_d: ArrayLike) -> Array:
    ages = np.asarray(age_d, dtype=float)
    if not np.all(np.isfinite(ages) & (ages >= 0)):
        raise QuantityError("The age of a roast must be 0 days or more; check the dates of roasting and of the pulls.")
    return ages


@dataclass(frozen=True, slots=True, eq=False)
class RestEffect:
    """What the gas does to one response (ln of the pull's time, or crema in mL), learned from the shop's pulls.

    Attributes
    ----------
    full_gas
        Response with all gas of a fresh roast, less that with none; in the response's unit.
    scatter
        Standard deviation of single pulls about the curve.
    tau_d
        Time constant of the loss of gas, days.
    pulls
        How many pulls speak: those of batches that were pulled at two or more ages.
    shows
        Whether zero lies outside the 90 % interval of the effect.
    """

    full_gas: Measured
    scatter: Measured
    tau_d: Measured
    pulls: int
    shows: bool
    # The grid of curves: weight, time constant, shape, and the effect's normal distribution in each cell.
    _weight: Array
    _tau_d: Array
    _shape: Array
    _mean: Array
    _sd: Array

    def change(self, from_d: float, to_d: float) -> Measured:
        """How much the response changes between two ages, because of the gas.

        Raises
        ------
        QuantityError
            If an age is negative.
        """
        step = self._steps(np.array([from_d]), to_d - from_d)[:, 0]
        mean = float(self._weight @ (step * self._mean))
        square = float(self._weight @ (step**2 * (self._mean**2 + self._sd**2)))
        return Measured(mean, float(np.sqrt(max(square - mean**2, 0.0))))

    def probability_within(self, age_d: ArrayLike, window_d: float, tolerance: float) -> Array:
        """Probability that the response changes by no more than a tolerance in the days after each age.

        Parameters
        ----------
        age_d
            Days since roasting, shape (n,).
        window_d
            Days for which the change must stay small.
        tolerance
            Change that is allowed either way, in the response's unit.

        Returns
        -------
        ndarray
            Shape (n,).

        Raises
        ------
        QuantityError
            If an age, the window or the tolerance is negative.
        """
        from scipy.special import ndtr

        if not (window_d >= 0 and tolerance >= 0):
            raise QuantityError("The window and the tolerance must be 0 or more.")
        step = self._steps(np.atleast_1d(np.asarray(age_d, dtype=float)), window_d)
        mean, sd = step * self._mean[:, None], np.maximum(np.abs(step) * self._sd[:, None], 1e-12)
        inside = ndtr((tolerance - mean) / sd) - ndtr((-tolerance - mean) / sd)
        return np.asarray(self._weight @ inside)

    def _steps(self, ages_d: Array, window_d: float) -> Array:
        """Share of gas lost in the window, with the sign of the response's change; shape (cells, ages)."""
        early, late = _ages(ages_d), _ages(ages_d + window_d)
        tau, shape = self._tau_d[:, None], self._shape[:, None]
        return np.asarray(np.exp(-((late / tau) ** shape)) - np.exp(-((early / tau) ** shape)))


def learn_rest_effect(
    age_d: ArrayLike,
    response: ArrayLike,
    batch: Sequence[Hashable],
    covariates: ArrayLike | None = None,
    *,
    prior_sd: float = 0.5,
) -> RestEffect:
    """Learn how much the gas in the beans moves a response, from pulls of the same batches at several ages.

    Parameters
    ----------
    age_d
        Days since roasting of each pull, shape (n,).
    response
        The natural logarithm of the pull's time, crema in mL, or another measured thing, shape (n,).
    batch
        The batch of each pull. Each batch has a level of its own, so only change within a batch speaks of gas.
    covariates
        What else moves the response (ln dose, grind setting, pressure), shape (n, k), without a constant.
    prior_sd
        How large the effect of all gas against none may be, as one standard deviation about zero, in the response's
        unit. The default suits the logarithm of a time; common practice, no source.

    Returns
    -------
    RestEffect
        The effect with its uncertainty, that of the curve's shape included.

    Raises
    ------
    DesignError
        If the arrays do not fit together, or fewer than two pulls are left once batches and covariates are allowed for.

    Notes
    -----
    response = level of the batch + covariates + effect x gas left + scatter, with gas left a Weibull curve. Levels and
    covariates have flat priors and are swept out; the effect is normal given curve and scatter; both of these are
    summed over a grid.
    """
    ages, values, table = _arrays(age_d, response, batch, covariates)
    if not prior_sd > 0:
        raise DesignError("The prior standard deviation of the effect must be more than 0.")
    names, member = np.unique([str(name) for name in batch], return_inverse=True)
    if not any(np.unique(ages[member == one]).size > 1 for one in range(names.size)):
        raise DesignError("No batch was pulled at two ages; pull one batch on several days to see what rest does.")
    levels = (member[:, None] == np.arange(names.size)).astype(float)
    sweep, free = _sweep(np.hstack([levels, table]))
    swept = sweep(values)
    total = float(swept @ swept)
    if free < 2 or total <= 1e-20 * float(values @ values):
        raise DesignError(
            f"Only {max(free, 0)} differences between pulls are left once each batch and each covariate has its own "
            "level, or they show no scatter at all; add pulls at other ages."
        )
    tau, shape = (grid.ravel() for grid in np.meshgrid(_TAU_D, _SHAPE, indexing="ij"))
    gas = sweep(np.exp(-((ages[:, None] / tau) ** shape)))
    gas_gas, gas_value = np.einsum("nc,nc->c", gas, gas), gas.T @ swept
    ln_scatter = _SCATTER_STEPS + 0.5 * np.log(total / free)
    variance = np.exp(2.0 * ln_scatter)[None, :]  # cells by scatter

    precision = gas_gas[:, None] / variance + 1.0 / prior_sd**2
    mean = gas_value[:, None] / variance / precision
    ln_weight = -free * ln_scatter[None, :] - 0.5 * total / variance
    ln_weight = ln_weight + 0.5 * mean**2 * precision - 0.5 * np.log(precision)
    ln_weight = ln_weight - 0.5 * ((np.log(tau) - _TAU_PRIOR[0]) / _TAU_PRIOR[1])[:, None] ** 2
    ln_weight = ln_weight - 0.5 * ((shape - _SHAPE_PRIOR[0]) / _SHAPE_PRIOR[1])[:, None] ** 2
    weight = np.exp(ln_weight - ln_weight.max())
    weight /= weight.sum()

    sd = 1.0 / np.sqrt(precision)
    flat, means, sds = weight.ravel(), mean.ravel(), sd.ravel()
    effect = _mixture(flat, means, sds)
    scatter = np.broadcast_to(np.exp(ln_scatter), weight.shape)
    speaking = [np.unique(ages[member == one]).size > 1 for one in member]
    return RestEffect(
        full_gas=effect,
        scatter=_mixture(flat, scatter.ravel(), np.zeros(flat.size)),
        tau_d=_mixture(weight.sum(axis=1), tau, np.zeros(tau.size)),
        pulls=int(np.sum(speaking)),
        shows=_clear_of_zero(flat, means, sds),
        _weight=flat,
        _tau_d=np.repeat(tau, ln_scatter.size),
        _shape=np.repeat(shape, ln_scatter.size),
        _mean=means,
        _sd=sds,
    )


def _arrays(
    age_d: ArrayLike, response: ArrayLike, batch: Sequence[Hashable], covariates: ArrayLike | None
) -> tuple[Array, Array, Array]:
    ages, values = _ages(age_d), np.asarray(response, dtype=float)
    table = np.zeros((ages.size, 0)) if covariates is None else np.asarray(covariates, dtype=float)
    if ages.ndim != 1 or values.shape != ages.shape or len(batch) != ages.size:
        raise DesignError("Ages, responses and batches must be lists of the same length, one entry a pull.")
    if table.ndim != 2 or table.shape[0] != ages.size:
        raise DesignError("Covariates must be a table with one row a pull.")
    if not (np.all(np.isfinite(values)) and np.all(np.isfinite(table))):
        raise DesignError("Responses and covariates must be finite numbers; leave out pulls with anything missing.")
    return ages, values, table


def _sweep(design: Array) -> tuple[Callable[[Array], Array], int]:
    """Make the function that takes out what a design explains, and count the differences it leaves."""
    left, singular, _ = np.linalg.svd(design / np.maximum(np.abs(design).max(axis=0), 1e-300), full_matrices=False)
    basis = left[:, singular > 1e-10 * singular[0]]
    return lambda columns: columns - basis @ (basis.T @ columns), design.shape[0] - basis.shape[1]


def _mixture(weight: Array, mean: Array, sd: Array) -> Measured:
    centre = float(weight @ mean)
    return Measured(centre, float(np.sqrt(weight @ (sd**2 + (mean - centre) ** 2))))


def _clear_of_zero(weight: Array, mean: Array, sd: Array) -> bool:
    from scipy.special import ndtr

    above = float(weight @ ndtr(mean / sd))
    return not 0.05 <= above <= 0.95


@dataclass(frozen=True, slots=True)
class Ready:
    """From which age on a batch is ready.

    Attributes
    ----------
    age_d
        Days since roasting from which on the change stays within tolerance with the probability asked; None if that
        age lies beyond 60 days.
    likely_d
        The same for a probability of one half: the best guess.
    probability
        The probability asked.
    says
        The same in a sentence, with what to do.
    """

    age_d: float | None
    likely_d: float | None
    probability: float
    says: str


def ready_to_judge(effect: RestEffect, tolerance: float, *, window_d: float = 1.0, probability: float = 0.9) -> Ready:
    """Find from which age on pulls of a batch on one day and the next can be compared.

    Parameters
    ----------
    effect
        From `learn_rest_effect`.
    tolerance
        Change that is allowed in the window, in the response's unit; for the logarithm of the time half the recipe's
        tolerance over its target is a good start (common practice, no source).
    window_d
        Days over which a table and its repeats spread.
    probability
        How sure to be.

    Raises
    ------
    QuantityError
        If the tolerance or window is negative or the probability not between 0 and 1.
    """
    return _ready(effect, tolerance, window_d, probability, "ready to judge")


def ready_to_sell(effect: RestEffect, tolerance: float, *, window_d: float = 14.0, probability: float = 0.9) -> Ready:
    """Find from which age on a customer can keep one recipe until the bag is empty.

    Parameters and errors are those of `ready_to_judge`, but the window is the time in which a bag is used up: two weeks
    unless stated (common practice, no source), and the tolerance that of the recipe on the customer's card.
    """
    return _ready(effect, tolerance, window_d, probability, "ready to sell")


def _ready(effect: RestEffect, tolerance: float, window_d: float, probability: float, what: str) -> Ready:
    if not 0 < probability < 1:
        raise QuantityError(f"A probability lies between 0 and 1, not {probability:g}.")
    inside = effect.probability_within(_AGES_D, window_d, tolerance)
    age_d, likely_d = _first_settled(inside >= probability), _first_settled(inside >= 0.5)
    within = f"the change is then at most {tolerance:.2g} in {_days(window_d)}"
    if age_d is None:
        said = f"No age up to {_AGES_D[-1]:.0f} days is {what} with {probability:.0%} probability"
        said += f"; the best guess is {_days(likely_d)}." if likely_d is not None else "."
        said += " Pull one batch on more days, or allow a wider tolerance."
    elif age_d == 0:
        said = f"Batches are {what} from the first day ({within}, with {probability:.0%} probability)."
    else:
        said = f"Batches are {what} {_days(age_d)} after roasting ({within}, with {probability:.0%} probability)."
    if not effect.shows:
        said += f" These {effect.pulls} pulls do not show an effect of rest, so this leans on how large it could be."
    return Ready(age_d, likely_d, probability, said)


def _days(number: float) -> str:
    return f"{number:g} {'day' if number == 1 else 'days'}"


def _first_settled(inside: NDArray[np.bool_]) -> float | None:
    """Return the first age from which on all ages pass, so that a lull between two changes does not count."""
    if not inside[-1]:
        return None
    failing = np.flatnonzero(~inside)
    return float(_AGES_D[failing[-1] + 1]) if failing.size else 0.0
