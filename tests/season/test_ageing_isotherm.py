"""Moisture with its method, and isotherms fitted to a shop's own pairs."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.season.ageing import GREEN_ISOTHERM, Isotherm, Moisture, MoistureMethod, fit_isotherm
from evenhand.units import Measured

OLD, NEW, METER = (
    MoistureMethod("ISO 6673", 2003),
    MoistureMethod("ISO 6673", 2025),
    MoistureMethod("meter by the door"),
)


def test_dry_basis_by_hand():
    """11 % wet is 11 g of water on 89 g of dry matter: 12.36 %; 0.1 points of it are 0.1 / 0.89^2 = 0.126."""
    dry = Moisture(Measured(11.0, 0.1), OLD).dry_pct
    assert dry.value == pytest.approx(12.3596, abs=1e-4)
    assert dry.sd == pytest.approx(0.12625, abs=1e-4)


def test_two_editions_are_two_methods():
    before, after = Moisture(Measured(11.2, 0.1), OLD), Moisture(Measured(10.9, 0.1), NEW)
    with pytest.raises(DesignError, match=r"ISO 6673:2025 cannot be set against one by ISO 6673:2003"):
        after.compared(before)
    change = after.compared(before, Measured(-0.2, 0.1))
    assert change.value == pytest.approx(-0.1)
    assert change.sd == pytest.approx(np.sqrt(0.03))
    assert after.compared(Moisture(Measured(11.0), NEW)).value == pytest.approx(-0.1)
    with pytest.raises(DesignError, match="need no offset"):
        after.compared(after, Measured(0.1))


def test_an_isotherm_keeps_to_its_method():
    own = Isotherm(7.0, 15.0, 0.8, 0.01, NEW, "invented")
    assert own.water_activity(Moisture(Measured(11.0), NEW)).value > 0.5
    with pytest.raises(DesignError, match="meter by the door"):
        own.water_activity(Moisture(Measured(11.0), METER))


@given(st.floats(0.02, 0.95), st.floats(3, 12), st.floats(0.5, 60), st.floats(0.6, 1.0))
def test_there_and_back(activity, monolayer, c, k):
    line = Isotherm(monolayer, c, k, 0.0, OLD, "invented")
    dry = float(line.moisture_dry_pct(activity))
    wet = Moisture(Measured(100 * dry / (100 + dry)), OLD)
    assert line.water_activity(wet).value == pytest.approx(activity, rel=1e-9)


@given(st.floats(0.5, 60), st.floats(0.6, 1.0))
def test_more_activity_is_more_water(c, k):
    curve = Isotherm(7.0, c, k, 0.0, None, "invented").moisture_dry_pct(np.linspace(0, 0.99, 50))
    assert np.all(np.diff(curve) > 0)
    assert curve[0] == 0


def test_uncertainty_is_carried_through():
    """Oracle: draws of the moisture by numpy, each turned back."""
    line = Isotherm(7.2, 15.0, 0.8, 0.0, OLD, "invented")
    wet = np.random.default_rng(1).normal(11.0, 0.2, 4000)
    found = line.water_activity(Moisture(Measured(11.0, 0.2), OLD))
    drawn = [line.water_activity(Moisture(Measured(float(one)), OLD)).value for one in wet]
    assert found.sd == pytest.approx(np.std(drawn), rel=0.05)
    assert GREEN_ISOTHERM.water_activity(Moisture(Measured(11.0), METER)).sd == pytest.approx(0.05)


def test_scatter_about_the_line_is_found():
    """200 pairs scattered by 0.02 in water activity about a known line."""
    rng = np.random.default_rng(2)
    truth = Isotherm(6.5, 12.0, 0.82, 0.0, NEW, "invented")
    activity = rng.uniform(0.3, 0.75, 200)
    dry = truth.moisture_dry_pct(np.clip(activity + rng.normal(0, 0.02, 200), 0.01, 0.95))
    found = fit_isotherm(activity, 100 * dry / (100 + dry), NEW, source="invented")
    assert found.activity_sd == pytest.approx(0.02, rel=0.15)
    assert found.method == NEW
    assert found.moisture_dry_pct(0.55) == pytest.approx(float(truth.moisture_dry_pct(0.55)), rel=0.01)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: Moisture(Measured(0.0), OLD), QuantityError, "between 0 and 100"),
        (lambda: Isotherm(7, 15, 1.2, 0, None, ""), QuantityError, "k at most 1"),
        (lambda: GREEN_ISOTHERM.moisture_dry_pct(55.0), QuantityError, "is 0.55"),
        (lambda: GREEN_ISOTHERM.water_activity(Moisture(Measured(40.0), OLD)), QuantityError, "beyond this isotherm"),
        (lambda: fit_isotherm([0.5, 0.6], [11.0], OLD, source=""), DesignError, "same length"),
        (lambda: fit_isotherm([0.5, 0.6, 0.6], [11, 12, 12], OLD, source=""), DesignError, "four water"),
        (lambda: fit_isotherm([0.4, 0.5, 0.6, 0.7], [9, 11, 12, 0], OLD, source=""), QuantityError, "Every moisture"),
    ],
)
def test_what_cannot_be_is_refused(call, error, words):
    with pytest.raises(error, match=words):
        call()
