"""A straight line within coffees, weighted by uncertainty: the arithmetic behind an association."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.season._charts_baseline import read_series
from evenhand.season._roaster_records import FaultChance, OffTarget, RoastMeasure
from evenhand.words import Words, say

Floats = NDArray[np.float64]


def measure_columns(measure: RoastMeasure, coffee: Sequence[str]) -> tuple[Floats, Floats, NDArray[np.intp]]:
    x, u = read_series(measure.value, measure.sd)
    if x.size != len(coffee):
        raise DesignError(_say_sizes(measure.name, x.size, len(coffee)))
    return x, u, np.unique(np.asarray(coffee, dtype=str), return_inverse=True)[1]


def outcome_columns(outcome: OffTarget | FaultChance, n: int) -> tuple[Floats, Floats]:
    if isinstance(outcome, OffTarget):
        y, v = read_series(outcome.off, outcome.sd)
    else:
        y, v = read_series(outcome.probability, 0.0)
        if np.any((y < 0) | (y > 1)):
            raise DesignError(
                say("The probability of {fault} must lie between 0 and 1 in every batch.", fault=outcome.name)
            )
    if y.size != n:
        raise DesignError(_say_sizes(outcome.name, y.size, n))
    return y, v


def _say_sizes(name: str, values: int, batches: int) -> Words:
    return say(
        "{name} has {values} values for {batches} batches; give one for each.",
        name=name,
        values=values,
        batches=batches,
    )


def within(x: Floats, group: NDArray[np.intp]) -> Floats:
    sums = np.bincount(group, x)
    return np.asarray(x - (sums / np.maximum(np.bincount(group), 1))[group])


def within_line(y: Floats, sd: Floats, x: Floats, group: NDArray[np.intp]) -> tuple[float, float, float] | None:
    """Return slope, its standard uncertainty and degrees of freedom, or None where there is too little to go by."""
    used = np.unique(group)
    freedom = y.size - used.size - 1
    inner = within(x, group)
    if freedom < 2 or inner @ inner <= 1e-12 * max(1.0, float(x @ x)):
        return None
    design = np.column_stack([(group[:, None] == used).astype(float), x])

    def fit(extra: float) -> tuple[float, Floats, Floats]:
        root = 1.0 / np.sqrt(sd**2 + extra)
        q, r = np.linalg.qr(design * root[:, None])
        coefficients = np.linalg.solve(r, q.T @ (y * root))
        residual = (y - design @ coefficients) * root
        return float(residual @ residual), coefficients, r

    low, high = 0.0, float(np.var(y)) + float(np.max(sd)) ** 2
    if high == 0.0 or np.ptp(within(y, group)) <= 1e-12 * float(np.max(np.abs(y))):
        return None
    exact = not np.all(sd > 0)
    floor = 1e-12 * high if exact else 0.0
    if fit(floor)[0] <= freedom:
        extra = floor
    else:
        while fit(high)[0] > freedom:
            high *= 2.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if fit(max(middle, floor))[0] > freedom else (low, middle)
        extra = max(0.5 * (low + high), floor)
    _, coefficients, r = fit(extra)
    weight = 1.0 / (sd**2 + extra)
    # Poorly known batches bring little to the scatter that is found: count batches as their weights do (Kish, 1965).
    equal = float(weight.sum() ** 2 / (weight @ weight))
    # The slope is the last column, so its variance is the last diagonal entry of the inverse, 1 / r².
    return float(coefficients[-1]), float(1.0 / abs(r[-1, -1])), max(1.0, equal - used.size - 1)
