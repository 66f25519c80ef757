"""Factors of Shewhart's charts, computed from the normal law instead of copied from a table.

References
----------
ISO 7870-2:2013. Control charts. Part 2: Shewhart control charts (table of factors for limits).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import gammaln, ndtr

from evenhand.errors import QuantityError
from evenhand.words import say

_WIDEST = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class ShewhartFactors:
    """Factors for groups of `size` values from a normal law with standard deviation 1.

    Attributes
    ----------
    d2, d3
        Mean and standard deviation of the group's range.
    c4
        Mean of the group's standard deviation.
    D3, D4
        Lower and upper three-sigma limit of a range, as multiples of the mean range.
    E2
        Half-width of the three-sigma limits of single values, as a multiple of the mean range.
    """

    size: int
    d2: float
    d3: float
    c4: float
    D3: float
    D4: float
    E2: float


@lru_cache(maxsize=_WIDEST)
def shewhart_factors(size: int) -> ShewhartFactors:
    """Compute the factors of ISO 7870-2 for ranges over groups of `size` values.

    Parameters
    ----------
    size
        Values in a group, 2 to 100; 2 for the moving range of neighbours.

    Raises
    ------
    QuantityError
        If the size is outside 2 to 100.

    Notes
    -----
    With P(R <= r) = n ∫ φ(x) [Φ(x + r) - Φ(x)]^(n-1) dx, the mean of R is ∫ P(R > r) dr and that of R² is
    2 ∫ r P(R > r) dr; both integrals by Gauss and Legendre's rule.
    """
    if not 2 <= size <= _WIDEST:
        raise QuantityError(say("A group has 2 to {widest} values, not {size}.", widest=_WIDEST, size=size))
    nodes, weights = np.polynomial.legendre.leggauss(240)
    x, x_weight = 9.0 * nodes, 9.0 * weights
    r, r_weight = 7.5 * (nodes + 1.0), 7.5 * weights
    density = np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi)
    inside = ndtr(x[None, :] + r[:, None]) - ndtr(x)[None, :]
    above = 1.0 - size * (inside ** (size - 1)) @ (density * x_weight)
    d2 = float(r_weight @ above)
    d3 = float(np.sqrt(2.0 * r_weight @ (r * above) - d2**2))
    c4 = float(np.sqrt(2.0 / (size - 1)) * np.exp(gammaln(size / 2.0) - gammaln((size - 1) / 2.0)))
    reach = 3.0 * d3 / d2
    return ShewhartFactors(size=size, d2=d2, d3=d3, c4=c4, D3=max(0.0, 1.0 - reach), D4=1.0 + reach, E2=3.0 / d2)
