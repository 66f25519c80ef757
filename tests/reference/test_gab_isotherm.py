"""The GAB isotherm against its published limits, against scipy, and against the windows that the trade keeps to.

No published set of GAB parameters for green coffee is known to us by heart, so none is quoted; the line that Evenhand
brings is our own and is only checked to pass through the windows below.
"""

import numpy as np
import pytest
from scipy.optimize import brentq, curve_fit

from evenhand.season.ageing import GREEN_ISOTHERM, Isotherm, Moisture, MoistureMethod, fit_isotherm
from evenhand.units import Measured

ANY = MoistureMethod("ISO 6673", 2003)


def test_with_k_one_it_is_the_bet_isotherm():
    """Brunauer, Emmett and Teller (1938), J. Am. Chem. Soc. 60, 309-319: v = v_m c x / ((1 - x)(1 + (c - 1) x))."""
    x = np.linspace(0.05, 0.5, 10)
    line = Isotherm(6.0, 11.0, 1.0, 0.0, None, "invented")
    assert line.moisture_dry_pct(x) == pytest.approx(6.0 * 11.0 * x / ((1 - x) * (1 + 10.0 * x)))


@pytest.mark.parametrize(("c", "k"), [(15.0, 0.8), (4.0, 0.95), (60.0, 0.7)])
def test_monolayer_is_full_where_the_theory_says(c, k):
    """Set the equation equal to its monolayer: the root is k x water activity = 1 / (1 + sqrt(c)), as for BET."""
    line = Isotherm(6.0, c, k, 0.0, None, "invented")
    assert float(line.moisture_dry_pct(1 / (k * (1 + np.sqrt(c))))) == pytest.approx(6.0)


def test_inverse_agrees_with_a_root_finder():
    for wet in (8.0, 10.0, 12.5, 14.0):
        dry = 100 * wet / (100 - wet)
        root = brentq(lambda a, dry=dry: float(GREEN_ISOTHERM.moisture_dry_pct(a)) - dry, 0.01, 0.99, xtol=1e-14)
        assert GREEN_ISOTHERM.water_activity(Moisture(Measured(wet), ANY)).value == pytest.approx(root, abs=1e-10)


def test_fit_agrees_with_curve_fit():
    """Invented pairs; scipy's curve_fit on the parameters themselves, from another start."""
    activity = np.array([0.22, 0.33, 0.43, 0.53, 0.58, 0.69, 0.75])
    wet = np.array([6.1, 7.4, 8.8, 10.3, 11.2, 13.4, 15.0])
    ours = fit_isotherm(activity, wet, ANY, source="invented")

    def gab(a, monolayer, c, k):
        return monolayer * c * k * a / ((1 - k * a) * (1 - k * a + c * k * a))

    theirs, _ = curve_fit(gab, activity, 100 * wet / (100 - wet), p0=[5.0, 30.0, 0.9], maxfev=20_000)
    assert (ours.monolayer_pct, ours.c, ours.k) == pytest.approx(tuple(theirs), rel=1e-3)


@pytest.mark.parametrize(
    ("wet_pct", "low", "high"),
    [
        # Common practice, no source: green coffee is bought at 10 to 12 % and a water activity of 0.45 to 0.65.
        (10.0, 0.45, 0.60),
        (11.0, 0.50, 0.65),
        (12.0, 0.55, 0.70),
        # Codex Alimentarius CXC 69-2009, against ochratoxin in coffee: at most 12.5 %, or a water activity below 0.70
        # (from memory).
        (12.5, 0.60, 0.70),
    ],
)
def test_our_line_passes_through_the_windows_of_the_trade(wet_pct, low, high):
    assert low < GREEN_ISOTHERM.water_activity(Moisture(Measured(wet_pct), ANY)).value < high
