"""Storage history: how many months of plain storage the months of a lot are worth.

A reference month is a month at 20 degrees C and a water activity of 0.55 in bags that breathe. Warmer, damper storage
makes months count for more, an airtight bag makes them count for less. By how much is not well known, so each of the
three effects has a prior that is carried through as a small grid, and the shop's own tastings weigh its cells.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, isfinite, log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.words import say

Array = NDArray[np.float64]

REFERENCE_TEMPERATURE_C: Final = 20.0
REFERENCE_WATER_ACTIVITY: Final = 0.55

# Mean and standard deviation of the logarithm of the rate's factor: for 10 degrees C more, for 0.1 more of water
# activity, for an airtight bag. The directions are those of the storage studies named in docs/explanation/ageing.md;
# the sizes are ours, wide (common practice, no source).
_PRIORS: Final = ((log(2.0), 0.35), (0.25, 0.20), (-0.40, 0.30))
_NODES: Final = (np.linspace(-1.6, 1.6, 5), np.linspace(-1.6, 1.6, 5), np.array([-1.2, 0.0, 1.2]))


@dataclass(frozen=True, slots=True)
class Spell:
    """A stretch of storage under one set of conditions.

    Attributes
    ----------
    months
        How long; infinity for the spell that goes on.
    temperature_c
        Mean temperature; None where not known (then the reference is taken).
    water_activity
        Of the green coffee; None where not known (then the reference is taken).
    airtight
        Whether the bag is a barrier: a sealed high-barrier liner or a vacuum pack.

    Raises
    ------
    QuantityError
        If a value is impossible.
    """

    months: float = inf
    temperature_c: float | None = None
    water_activity: float | None = None
    airtight: bool = False

    def __post_init__(self) -> None:
        if not self.months > 0:
            raise QuantityError(say("A spell of storage lasts more than 0 months, not {months:g}.", months=self.months))
        if self.temperature_c is not None and not (isfinite(self.temperature_c) and -40 <= self.temperature_c <= 60):
            raise QuantityError(
                say("A store is between -40 and 60 degrees C, not {temperature:g}.", temperature=self.temperature_c)
            )
        if self.water_activity is not None and not 0 < self.water_activity < 1:
            raise QuantityError(
                say("A water activity lies between 0 and 1, not {activity:g}.", activity=self.water_activity)
            )

    @property
    def known(self) -> bool:
        """Whether temperature and water activity were both recorded."""
        return self.temperature_c is not None and self.water_activity is not None

    def stress(self) -> Array:
        """Give what the three effects are multiplied with, shape (3,): zeros for a reference month."""
        warm = REFERENCE_TEMPERATURE_C if self.temperature_c is None else self.temperature_c
        damp = REFERENCE_WATER_ACTIVITY if self.water_activity is None else self.water_activity
        return np.array(
            [(warm - REFERENCE_TEMPERATURE_C) / 10.0, (damp - REFERENCE_WATER_ACTIVITY) / 0.1, float(self.airtight)]
        )


History = Sequence[Spell]


def effect_grid() -> tuple[Array, Array]:
    """Cells of the three effects, shape (cells, 3), and their prior weights, shape (cells,), summing to 1."""
    axes = [mean + sd * nodes for (mean, sd), nodes in zip(_PRIORS, _NODES, strict=True)]
    cells = np.stack([axis.ravel() for axis in np.meshgrid(*axes, indexing="ij")], axis=1)
    squares = np.meshgrid(*[nodes**2 for nodes in _NODES], indexing="ij")
    weight = np.exp(-0.5 * sum(squares)).ravel()
    return cells, weight / weight.sum()


def reference_months(history: History, months: Array, effects: Array) -> Array:
    """Months since harvest turned into reference months.

    Parameters
    ----------
    history
        Spells from harvest on; the last one goes on after its end. Empty: all of it at the reference.
    months
        Months since harvest, shape (n,).
    effects
        Effects on the logarithm of the rate, shape (cells, 3).

    Returns
    -------
    ndarray
        Shape (cells, n).

    Raises
    ------
    DesignError
        If a spell follows one that never ends.
    """
    if not np.all(np.isfinite(months) & (months >= 0)):
        raise QuantityError(
            say("Months since harvest must be 0 or more; check the dates of harvest and of the tastings.")
        )
    total = np.zeros((len(effects), len(months)))
    start = 0.0
    spells = list(history) or [Spell()]
    for number, spell in enumerate(spells):
        last = number == len(spells) - 1
        if not last and spell.months == inf:
            raise DesignError(
                say("A spell of storage without an end can only be the last; give the earlier ones' months.")
            )
        inside = np.maximum(months - start, 0.0)
        if not last:
            inside = np.minimum(inside, spell.months)
        total += np.exp(effects @ spell.stress())[:, None] * inside
        start += spell.months
    return total
