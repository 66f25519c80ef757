"""The exact plug-flow solution against published forms of it and against other roads to the same number.

Anzelius (1926, Z. angew. Math. Mech. 6, 291) and Schumann (1929, J. Franklin Inst. 208, 405) gave the outlet of a bed
that exchanges with a passing fluid; Goldstein (1953, Proc. R. Soc. A 219, 151) its J function and J(x, x) =
(1 + exp(-2x) I0(2x)) / 2. J is one minus a noncentral chi-square distribution (scipy.stats.ncx2). Two pools are checked
by inverting the Laplace transform with the fixed Talbot method (Abate and Valko 2004, Int. J. Numer. Meth. Engng 60,
979, here in double precision) and by simulating the random delay.
"""

import numpy as np
import pytest
from scipy.special import ive
from scipy.stats import ncx2

from evenhand.espresso import _kinetics_plug_flow as plug
from evenhand.espresso._kinetics_priors import GAS_CONSTANT_J_PER_MOL_K, PRIORS


@pytest.mark.parametrize("x", [0.1, 1.0, 5.0, 30.0])
def test_goldstein_on_the_diagonal(x):
    """The outlet is 1 - J(capacity x rate, rate x time)."""
    goldstein = (1 + ive(0, 2 * x)) / 2
    assert plug.one_pool_outlet(x, 1.0, x) == pytest.approx(1 - goldstein, abs=1e-10)


@pytest.mark.parametrize(("capacity", "time"), [(2.0, 0.5), (2.0, 3.0), (8.0, 5.0), (0.3, 4.0)])
def test_outlet_is_a_noncentral_chi_square(capacity, time):
    assert plug.one_pool_outlet(capacity, 1.0, time) == pytest.approx(ncx2.cdf(2 * capacity, 2, 2 * time), abs=1e-10)


@pytest.mark.parametrize("capacity", [0.4, 2.0, 9.0])
def test_outlet_at_first_is_what_the_front_carries(capacity):
    """Schumann's front: at time 0 the outlet is 1 - exp(-capacity x rate)."""
    assert plug.one_pool_outlet(capacity, 1.0, 0.0) == pytest.approx(1 - np.exp(-capacity), abs=1e-12)


def talbot(transform, time, points=28):
    """The inverse of a Laplace transform at one time (fixed Talbot)."""
    r = 2 * points / (5 * time)
    angle = np.arange(1, points) * np.pi / points
    s = r * angle * (1 / np.tan(angle) + 1j)
    sigma = angle + (angle / np.tan(angle) - 1) / np.tan(angle)
    inner = np.sum(np.real(np.exp(time * s) * transform(s) * (1 + 1j * sigma)))
    return r / points * (0.5 * np.real(np.exp(r * time) * transform(complex(r))) + inner)


CASES = [(2.0, 18.0, 0.55, 0.4, 0.022, 1.4), (1.2, 12.0, 0.3, 1.0, 0.05, 2.0), (3.5, 40.0, 0.7, 0.2, 0.01, 1.0)]


@pytest.mark.parametrize(("ratio", "contact", "share", "fast", "slow", "capacity"), CASES)
def test_two_pools_against_the_laplace_transform(ratio, contact, share, fast, slow, capacity):
    hold = capacity / ratio * contact

    def outlet(s):
        delay = share * hold * fast / (s + fast) + (1 - share) * hold * slow / (s + slow)
        return (1 - np.exp(-s * delay)) / s

    last = talbot(outlet, contact)
    cup = talbot(lambda s: outlet(s) / s, contact) / hold
    assert plug.outlet_share(ratio, contact, share, fast, slow, capacity) == pytest.approx(last, abs=1e-6)
    assert plug.extracted_share(ratio, contact, share, fast, slow, capacity) == pytest.approx(cup, abs=1e-6)


def test_two_pools_against_simulated_delays():
    ratio, contact, share, fast, slow, capacity = CASES[0]
    rng = np.random.default_rng(3)
    delay = np.zeros(200_000)
    for part, rate in ((share, fast), (1 - share, slow)):
        hold = part * capacity / ratio * contact
        count = rng.poisson(hold * rate, delay.size)
        delay += np.where(count > 0, rng.gamma(np.maximum(count, 1), 1 / rate), 0.0)
    washed = np.minimum(delay, contact) / (capacity / ratio * contact)
    five_errors = 5 * washed.std() / np.sqrt(delay.size)
    got = float(plug.extracted_share(ratio, contact, share, fast, slow, capacity))
    assert got == pytest.approx(washed.mean(), abs=five_errors)


@pytest.mark.parametrize("fast", [0.05, 0.5, 2.0, 10.0])
def test_the_rule_s_nodes_suffice(fast, monkeypatch):
    args = (2.0, 18.0, 0.55, fast, 0.02, 1.4)
    coarse = plug.extracted_share(*args)
    nodes, weights = np.polynomial.legendre.leggauss(400)
    monkeypatch.setattr(plug, "_rule", lambda: ((nodes + 1) / 2, weights / 2))
    assert coarse == pytest.approx(float(plug.extracted_share(*args)), abs=1e-11)


def test_activation_energy_of_diffusion_in_water():
    """Stokes-Einstein: D ~ T / viscosity. Viscosity of water from memory of handbook tables: 0.3544 and 0.2816 mPa s.

    The tables are those at 80 and 100 °C (CRC Handbook of Chemistry and Physics, after IAPWS 2008).
    """
    low, high = 353.15, 373.15
    log_gain = np.log((high / 0.2816) / (low / 0.3544))
    activation = GAS_CONSTANT_J_PER_MOL_K * log_gain / (1 / low - 1 / high) / 1000
    prior = next(prior for prior in PRIORS if prior.name == "activation_kj_per_mol")
    assert prior.value == pytest.approx(activation, abs=0.5)
