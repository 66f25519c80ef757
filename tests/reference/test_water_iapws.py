"""The table of brew water against the IAPWS formulations, through CoolProp and through published numbers."""

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from evenhand.espresso.water import COLDEST_C, HOTTEST_C, density_kg_m3, viscosity_mpa_s

PRESSURE_PA = 0.8e6


@pytest.mark.parametrize("water_c", np.arange(COLDEST_C, HOTTEST_C + 0.1, 2.5))
def test_table_follows_the_formulations_at_0_8_mpa(water_c):
    """IAPWS R12-08 (viscosity) and R6-95(2018) (density), as CoolProp works them out."""
    state = ("T", water_c + 273.15, "P", PRESSURE_PA, "Water")
    assert viscosity_mpa_s(water_c).value == pytest.approx(1e3 * PropsSI("V", *state), rel=4e-4)
    assert density_kg_m3(water_c).value == pytest.approx(PropsSI("D", *state), abs=0.01)


@pytest.mark.parametrize("water_c", [88.0, 92.5, 96.0])
@pytest.mark.parametrize("pressure_pa", [0.2e6, 0.6e6, 0.9e6, 1.5e6, 2.0e6])
def test_stated_uncertainty_covers_the_pressure_of_machines(water_c, pressure_pa):
    state = ("T", water_c + 273.15, "P", pressure_pa, "Water")
    viscosity, density = viscosity_mpa_s(water_c), density_kg_m3(water_c)
    assert abs(viscosity.value - 1e3 * PropsSI("V", *state)) < 2 * viscosity.sd
    assert abs(density.value - PropsSI("D", *state)) < 2 * density.sd


def test_worked_value_at_92_5_c():
    """0.3056 mPa s and 963.9 kg/m³ at 92.5 °C and 0.8 MPa, from the same two releases."""
    assert viscosity_mpa_s(92.5).value == pytest.approx(0.3056, abs=5e-5)
    assert density_kg_m3(92.5).value == pytest.approx(963.9, abs=0.05)


def test_handbook_values_at_room_temperature():
    """Viscosity of water at 20 °C 1.0016 mPa s (ISO/TR 3666:1998) and at 25 °C 0.890 mPa s, at 1 atm; both from memory.

    The pressure makes 0.05 % at most between 0.1 and 0.8 MPa.
    """
    assert viscosity_mpa_s(20.0).value == pytest.approx(1.0016, rel=7e-4)
    assert viscosity_mpa_s(25.0).value == pytest.approx(0.890, rel=1e-3)
