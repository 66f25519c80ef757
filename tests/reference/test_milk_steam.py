"""Steam, water and condensate against an independent implementation of the IAPWS formulation, and by hand."""

import pytest
from CoolProp.CoolProp import PropsSI

from evenhand.espresso._milk_steam import saturation_c, steam_j_per_g, water_j_per_g
from evenhand.espresso.milk import Steam, Steaming, Vessel, condensate_g, heat_capacity_from_label
from evenhand.units import Measured

# CoolProp (MIT) carries the IAPWS formulation of 1995: W. Wagner and A. Pruß, J. Phys. Chem. Ref. Data 31 (2002) 387.


@pytest.mark.parametrize("bar", [0.75, 1.2, 1.63, 2.21325, 2.5, 3.3, 4.7])
@pytest.mark.parametrize("quality", [0.9, 1.0])
def test_steam_table_between_its_rows(bar, quality):
    pascal = bar * 1e5
    assert saturation_c(bar) == pytest.approx(PropsSI("T", "P", pascal, "Q", 1, "Water") - 273.15, abs=0.01)
    truth = PropsSI("H", "P", pascal, "Q", quality, "Water") / 1000
    assert steam_j_per_g(bar, quality) == pytest.approx(truth, abs=0.1)


@pytest.mark.parametrize("water_c", [4.0, 37.0, 60.0, 65.0, 88.0])
def test_liquid_water(water_c):
    truth = PropsSI("H", "T", water_c + 273.15, "Q", 0, "Water") / 1000
    assert water_j_per_g(water_c) == pytest.approx(truth, abs=0.1)


def test_the_worked_example_of_120_g_of_milk():
    """120 g, 5 to 60 °C, dry saturated steam at 1.2 bar gauge: 10.55 g, which is 8.8 % of the milk.

    The heat capacity of 3.93 J/(g K) is an assumption (from memory of dairy handbooks); the steam's side is CoolProp's.
    """
    gives = PropsSI("H", "P", 2.21325e5, "Q", 1, "Water") - PropsSI("H", "T", 333.15, "Q", 0, "Water")
    by_hand = 120 * 3.93 * 55 / (gives / 1000)
    assert by_hand == pytest.approx(10.55, abs=0.006)
    exact = Steaming(start_c=Measured(5.0), end_c=Measured(60.0), steam=Steam(), jug=None)
    found = condensate_g(Measured(120.0), exact)
    assert found.value == pytest.approx(by_hand, abs=0.002)
    assert found.value / 120 == pytest.approx(0.088, abs=5e-4)


def test_wet_steam_and_jug_by_hand():
    """A jug of 200 g of steel from 20 °C takes 200 x 0.5 x 40 = 4000 J; steam of quality 0.9 gives 219 J/g less."""
    truth = PropsSI("H", "P", 2.21325e5, "Q", 0.9, "Water") - PropsSI("H", "T", 333.15, "Q", 0, "Water")
    jug = Vessel(mass_g=Measured(200.0), heat_j_per_g_k=0.5, start_c=Measured(20.0))
    wet = Steam(quality=Measured(0.9))
    steaming = Steaming(start_c=Measured(5.0), end_c=Measured(60.0), steam=wet, jug=jug)
    by_hand = (120 * 3.93 * 55 + 4000) / (truth / 1000)
    assert condensate_g(Measured(120.0), steaming).value == pytest.approx(by_hand, abs=0.003)


def test_the_heat_capacity_formula_gives_that_of_water():
    for at_c in (5.0, 32.5, 60.0):
        truth = PropsSI("C", "T", at_c + 273.15, "P", 101325, "Water") / 1000
        # The formula is a fit over 0 to 150 °C, good to about half a percent.
        assert heat_capacity_from_label(0, 0, 0, 0, at_c=at_c) == pytest.approx(truth, rel=0.007)


@pytest.mark.parametrize(("gauge", "ambient"), [(1.2, 0.85), (0.9, 1.01325)])
def test_a_gauge_counts_from_the_air_outside(gauge, ambient):
    """At altitude the same reading means cooler steam."""
    exact = {"start_c": Measured(5.0), "end_c": Measured(60.0), "jug": None}
    steam = Steam(gauge_bar=Measured(gauge), ambient_bar=ambient)
    gives = PropsSI("H", "P", (gauge + ambient) * 1e5, "Q", 1, "Water") / 1000 - 251.18
    found = condensate_g(Measured(200.0), Steaming(steam=steam, **exact)).value
    assert found == pytest.approx(200 * 3.93 * 55 / gives, rel=1e-4)
