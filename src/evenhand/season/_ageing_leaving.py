"""The month in which an attribute is likely to leave its tolerance, and with which chance it has left by each month."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.words import Words, join, say

Array = NDArray[np.float64]

_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
_NODE_WEIGHTS: Final = _WEIGHTS / _WEIGHTS.sum()
_EARLY, _LATE = 0.1, 0.9
_GONE = 0.5
_SOON = 0.5  # months


@dataclass(frozen=True, slots=True, eq=False)
class Leaving:
    """When one attribute of one lot is likely to leave its tolerance; all months count from harvest.

    Attributes
    ----------
    attribute
        Its name.
    now_months
        Today.
    likely_months
        The month by which it has left with a chance of one half; None beyond the horizon.
    early_months, late_months
        The same for 10 % and 90 %: the interval; None beyond the horizon.
    toward
        Whether it is then more likely "below" or "above" its tolerance.
    months, p_left
        Chance of having left by each month of the horizon, shape (n,): never falling.
    says
        The same in sentences, with what to do. It asks for a tasting; it names no expiry.
    """

    attribute: str
    now_months: float
    likely_months: float | None
    early_months: float | None
    late_months: float | None
    toward: str
    months: Array
    p_left: Array
    says: str

    @property
    def p_left_now(self) -> float:
        """Chance that it lies outside its tolerance today."""
        return float(self.p_left[0])

    def chance_by(self, months: float) -> float:
        """Chance of having left by a month since harvest; beyond the horizon that of its end, a lower bound."""
        return float(np.interp(months, self.months, self.p_left))


def find_leaving(
    weight: Array,
    mean: Array,
    cov: Array,
    months: Array,
    age: Array,
    low: float,
    high: float,
    attribute: str,
    *,
    leans: bool,
    storage_known: bool,
) -> Leaving:
    """Sum the chance of having left over the grid of an ageing model.

    Parameters
    ----------
    weight, mean, cov
        Of the cells: (cells,), (cells, 2), (cells, 2, 2), the line's level at harvest and change a reference month.
    months, age
        Months since harvest from today on, (n,), and as reference months in each cell, (cells, n).
    low, high
        Limits of tolerance.
    attribute
        Its name.
    leans
        Whether the data do not show a change, so that the prior speaks.
    storage_known
        Whether every spell of storage has its conditions.

    Notes
    -----
    A straight line is inside an interval for one stretch of time. So it has not left by a month if it is inside today
    and in that month. Given the change, the level is normal, and both hold on one interval of it: exact. The change is
    summed over 15 Gauss-Hermite nodes.
    """
    from scipy.special import ndtr

    if not low < high:
        raise DesignError(say("The lower limit of tolerance must lie below the upper one."))
    if months.size < 2:
        raise QuantityError(say("The horizon must be more than 0 months."))
    change_sd = np.sqrt(cov[:, 1, 1])
    slope = mean[:, 1:] + change_sd[:, None] * _NODES  # (cells, nodes)
    level = mean[:, :1] + (cov[:, 0, 1] / change_sd)[:, None] * _NODES
    level_sd = np.sqrt(np.maximum(cov[:, 0, 0] - cov[:, 0, 1] ** 2 / cov[:, 1, 1], 1e-18))[:, None]
    share = weight[:, None] * _NODE_WEIGHTS
    inside = np.empty(months.size)
    below = np.empty(months.size)
    start = slope * age[:, :1]
    for i in range(months.size):
        here = slope * age[:, i : i + 1]
        top = np.minimum(high - start, high - here)
        bottom = np.maximum(low - start, low - here)
        both = ndtr((top - level) / level_sd) - ndtr((bottom - level) / level_sd)
        inside[i] = float(np.sum(share * np.maximum(both, 0.0)))
        below[i] = float(np.sum(share * ndtr((low - here - level) / level_sd)))
    p_left = np.maximum.accumulate(np.clip(1.0 - inside, 0.0, 1.0))
    early, likely, late = (_first(months, p_left, p) for p in (_EARLY, _GONE, _LATE))
    # The side is that of the likely month, or of the horizon's end where there is none.
    at = int(np.searchsorted(months, likely)) if likely is not None else months.size - 1
    at = min(at, months.size - 1)
    toward = "below" if below[at] >= 0.5 * p_left[at] else "above"
    return Leaving(
        attribute=attribute,
        now_months=float(months[0]),
        likely_months=likely,
        early_months=early,
        late_months=late,
        toward=toward,
        months=months,
        p_left=p_left,
        says=_sentence(attribute, months, p_left, (early, likely, late), toward, leans, storage_known),
    )


def _first(months: Array, p_left: Array, chance: float) -> float | None:
    """Return the month by which the chance is reached, between the grid's months by a straight line."""
    if p_left[-1] < chance:
        return None
    after = int(np.argmax(p_left >= chance))
    if after == 0:
        return float(months[0])
    step = (chance - p_left[after - 1]) / (p_left[after] - p_left[after - 1])
    return float(months[after - 1] + step * (months[after] - months[after - 1]))


def _sentence(
    attribute: str,
    months: Array,
    p_left: Array,
    interval: tuple[float | None, float | None, float | None],
    toward: str,
    leans: bool,
    storage_known: bool,
) -> Words:
    early, likely, late = interval
    parts = [_outlook(attribute, months[-1], p_left, early, likely, late, toward)]
    if p_left[0] >= _GONE or (early is not None and early - months[0] < _SOON):
        parts.append(say("Taste it now."))
    elif early is not None:
        parts.append(say("Taste it by month {month:.0f}.", month=early))
    parts.append(say("This is a prompt to taste, not an expiry."))
    if leans:
        parts.append(say("The tastings so far do not show a change, so this leans on how large one could be."))
    if not storage_known:
        parts.append(
            say("Part of its storage is not recorded and was taken as 20 degrees C and a water activity of 0.55 there.")
        )
    return join(parts, " ")


def _outlook(
    attribute: str,
    end: float,
    p_left: Array,
    early: float | None,
    likely: float | None,
    late: float | None,
    toward: str,
) -> Words:
    """Say from when on the attribute is likely to lie outside."""
    is_below = toward == "below"
    if p_left[0] >= _GONE:
        told = {"attribute": attribute, "chance": 100 * p_left[0]}
        if is_below:
            return say("{attribute} is likely below its tolerance already ({chance:.0f} %).", **told)
        return say("{attribute} is likely above its tolerance already ({chance:.0f} %).", **told)
    if likely is None:
        return say(
            "{attribute} is likely to stay within tolerance up to month {end:.0f} after harvest ({chance:.0f} %).",
            attribute=attribute,
            end=end,
            chance=100 * (1 - p_left[-1]),
        )
    if late is None:
        interval = say("80 % interval: month {early:.0f} to later than month {end:.0f}", early=early, end=end)
    else:
        interval = say("80 % interval: month {early:.0f} to month {late:.0f}", early=early, late=late)
    told = {"attribute": attribute, "month": likely, "span": interval}
    if is_below:
        return say(
            "{attribute} is likely to be below its tolerance from month {month:.0f} after harvest on ({span}).", **told
        )
    return say(
        "{attribute} is likely to be above its tolerance from month {month:.0f} after harvest on ({span}).", **told
    )
