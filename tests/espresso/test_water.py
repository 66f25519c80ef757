"""Viscosity and density between the rows of the table, and outside it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.espresso.water import COLDEST_C, HOTTEST_C, density_kg_m3, viscosity_mpa_s

TEMPERATURES = st.floats(COLDEST_C, HOTTEST_C - 1)


@given(TEMPERATURES)
def test_hotter_water_is_thinner(water_c):
    assert viscosity_mpa_s(water_c + 1).value < viscosity_mpa_s(water_c).value


@given(st.floats(5.0, HOTTEST_C - 1))
def test_hotter_water_is_lighter(water_c):
    assert density_kg_m3(water_c + 1).value < density_kg_m3(water_c).value


@given(st.integers(1, 12))
def test_no_step_at_a_row_of_the_table(row):
    below, above = viscosity_mpa_s(10.0 * row - 1e-6).value, viscosity_mpa_s(10.0 * row + 1e-6).value
    assert below == pytest.approx(above, rel=1e-6)


def test_every_value_carries_an_uncertainty():
    assert 0 < viscosity_mpa_s(92.5).sd < 0.01 * viscosity_mpa_s(92.5).value
    assert 0 < density_kg_m3(92.5).sd < 1


@pytest.mark.parametrize("water_c", [-0.1, 130.1, 200.0, float("nan")])
@pytest.mark.parametrize("quantity", [viscosity_mpa_s, density_kg_m3])
def test_outside_the_table_is_refused(quantity, water_c):
    with pytest.raises(QuantityError, match="between 0 and 130"):
        quantity(water_c)
