"""How plug flow washes two pools of solubles out of a bed, exactly: the mathematics under `kinetics`.

Water moves through the bed as a plug. Each pool of the grounds gives solubles to the liquor beside it at a rate in
proportion to how far that liquor is from equilibrium, and takes them back where the liquor is the stronger. Behind the
wetting front, in time since the front passed a place, the equations for the pools q_i and the strength w are

    dq_i/dt = -k_i (q_i - w q_i0 / w_sat),        flow dw/dz = sum of k_i (q_i - w q_i0 / w_sat),

with fresh grounds and plain water at the start. Their Laplace transform at the outlet is

    w/w_sat = (1 - exp(-s sum of a_i k_i / (s + k_i))) / s,

which says that the outlet runs saturated for a random delay X and with plain water after it. X is the sum over the
pools of a compound Poisson time: a Poisson number (mean a_i k_i) of exponential waits (rate k_i). So

    solids in the cup after a contact time t = w_sat x flow x E[min(t, X)].

For one pool both E[min(t, X)] and P(X > t) are noncentral chi-square probabilities (the J function of heat
regenerators); two pools cost one smooth integral, taken by Gauss-Legendre. Here times are counted in contact times, so
that t = 1.

References
----------
A. Anzelius (1926), Z. angew. Math. Mech. 6, 291; T. E. W. Schumann (1929), J. Franklin Inst. 208, 405: one pool.
S. Goldstein (1953), Proc. R. Soc. A 219, 151: the J function.
K. M. Moroney et al. (2015), Chem. Eng. Sci. 137, 216: a fast surface and a slow kernel in coffee.
"""

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chndtr, ive

FloatArray = NDArray[np.float64]

# With these the integral is good to 1e-12 at the rates of coffee; more nodes change nothing (tests/reference).
_NODES = 40
_SPREADS = 9.0
_WAITS = 25.0


@cache
def _rule() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    return (nodes + 1) / 2, weights / 2


def one_pool_outlet(capacity: ArrayLike, rate: ArrayLike, time: ArrayLike) -> FloatArray:
    """Give P(X > time): what leaves a bed of one pool, as a share of saturated liquor.

    Parameters
    ----------
    capacity
        Time for which saturated liquor would have to leave to carry all of the pool away.
    rate
        Rate of the pool, per unit of the same time.
    time
        Contact time.
    """
    capacity, rate, time = (np.asarray(v, dtype=float) for v in (capacity, rate, time))
    return np.asarray(chndtr(2 * capacity * rate, 2, 2 * rate * time), dtype=float)


def one_pool_washed(capacity: ArrayLike, rate: ArrayLike, time: ArrayLike) -> FloatArray:
    """Give E[min(time, X)]: solubles washed from a bed of one pool, as a time at saturated liquor.

    Parameters are those of `one_pool_outlet`.
    """
    capacity, rate, time = (np.asarray(v, dtype=float) for v in (capacity, rate, time))
    below = chndtr(2 * rate * time, 4, 2 * capacity * rate)
    return np.asarray(capacity * below + time * one_pool_outlet(capacity, rate, time), dtype=float)


def _density(capacity: FloatArray, rate: FloatArray, x: FloatArray) -> FloatArray:
    """Density of one pool's delay at x > 0; at 0 sits the rest, exp(-capacity x rate)."""
    gap = np.sqrt(capacity) - np.sqrt(x)
    bessel = ive(1, 2 * rate * np.sqrt(capacity * x))
    return np.asarray(rate * np.exp(-rate * gap**2) * np.sqrt(capacity / x) * bessel, dtype=float)


def _two_pools(
    ratio: ArrayLike,
    contact_s: ArrayLike,
    fast_share: ArrayLike,
    fast_per_s: ArrayLike,
    slow_per_s: ArrayLike,
    capacity_ratio: ArrayLike,
    *,
    washed: bool,
) -> tuple[FloatArray, FloatArray]:
    """Integrate over the fast pool's delay; give the value and the bed's capacity, both in contact times."""
    given = (ratio, contact_s, fast_share, fast_per_s, slow_per_s, capacity_ratio)
    r, t, share, fast, slow, rho = np.broadcast_arrays(*(np.asarray(v, dtype=float) for v in given))
    capacity = rho / r
    a, k = (share * capacity)[..., None], (fast * t)[..., None]
    b, m = ((1 - share) * capacity)[..., None], (slow * t)[..., None]
    spread = _SPREADS * np.sqrt(2 * a / k)
    # The upper tail of a few exponential waits is longer than that of a normal.
    low, high = np.clip(a - spread, 0, 1), np.clip(a + spread + _WAITS / k, 0, 1)
    nodes, weights = _rule()
    x = np.maximum(low + (high - low) * nodes, np.finfo(float).tiny)
    inner = one_pool_washed if washed else one_pool_outlet
    integral = np.sum((high - low) * weights * _density(a, k, x) * inner(b, m, 1 - x), axis=-1)
    first = inner(a, k, 1.0)[..., 0]
    value = first + np.exp(-(a * k)[..., 0]) * inner(b, m, 1.0)[..., 0] + integral
    return np.asarray(value, dtype=float), capacity


def extracted_share(
    ratio: ArrayLike,
    contact_s: ArrayLike,
    fast_share: ArrayLike,
    fast_per_s: ArrayLike,
    slow_per_s: ArrayLike,
    capacity_ratio: ArrayLike,
) -> FloatArray:
    """Give the share of all solubles that is in the cup; arguments broadcast.

    Parameters
    ----------
    ratio
        Grams of beverage per gram of dose.
    contact_s
        Seconds from the first drip to the end of the pull, at a steady flow.
    fast_share
        Share of the solubles in the fast pool, between 0 and 1.
    fast_per_s, slow_per_s
        Rates of the two pools, 1/s.
    capacity_ratio
        Grams of saturated liquor that would carry all solubles of a gram of dose.
    """
    value, capacity = _two_pools(ratio, contact_s, fast_share, fast_per_s, slow_per_s, capacity_ratio, washed=True)
    return np.asarray(value / capacity, dtype=float)


def outlet_share(
    ratio: ArrayLike,
    contact_s: ArrayLike,
    fast_share: ArrayLike,
    fast_per_s: ArrayLike,
    slow_per_s: ArrayLike,
    capacity_ratio: ArrayLike,
) -> FloatArray:
    """Give the strength of the last drop as a share of saturated liquor; arguments as in `extracted_share`."""
    value, _ = _two_pools(ratio, contact_s, fast_share, fast_per_s, slow_per_s, capacity_ratio, washed=False)
    return value
