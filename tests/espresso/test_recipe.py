"""A pull against its recipe: signs, tolerances, words, and what may be judged."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.espresso.recipe import HouseRecipe, Pull, describe, deviation, judgeable

HOUSE = HouseRecipe(
    name="house",
    dose_g=16,
    dose_tol_g=0.3,
    beverage_g=32,
    beverage_tol_g=1.5,
    time_s=28,
    time_tol_s=2,
    water_c=92.5,
    water_tol_c=1,
)


def test_slightly_long_and_slow_is_a_mild_deviation_that_is_judged():
    """Common practice, no source: 16 g, 35 g out in 32 s is slightly past a 1:2 recipe of 28 s in both."""
    pull = Pull(name="p", dose_g=16, beverage_g=35, time_s=32, water_c=92.5, pressure_bar=7)
    found = deviation(pull, HOUSE)
    assert found["dose"] == 0
    assert found["beverage"] == pytest.approx(2.0)
    assert found["time"] == pytest.approx(2.0)
    assert found["water"] == 0
    assert found["pressure"] is None
    assert judgeable(found)
    assert describe(pull, HOUSE) == "ran long by 3.0 g (2.0 tolerances) and slow by 4.0 s (2.0 tolerances)"


def test_on_recipe_says_nothing():
    assert describe(Pull(name="p", dose_g=16.2, beverage_g=33, time_s=27), HOUSE) == ""


def test_far_off_is_not_judged():
    pull = Pull(name="p", dose_g=16, beverage_g=32, time_s=40)
    assert not judgeable(deviation(pull, HOUSE))
    assert "slow by 12.0 s (6.0 tolerances)" in describe(pull, HOUSE)


def test_exactly_at_the_limit_is_judged():
    assert judgeable(deviation(Pull(name="p", dose_g=16, beverage_g=32, time_s=36), HOUSE))


@given(st.floats(0.1, 60), st.floats(0.1, 60))
def test_deviation_is_linear_and_signed(one, other):
    def of(time_s):
        return deviation(Pull(name="p", dose_g=16, beverage_g=32, time_s=time_s), HOUSE)["time"]

    assert of(one) - of(other) == pytest.approx((one - other) / 2)


def test_a_recipe_without_width_is_refused():
    with pytest.raises(QuantityError, match="time"):
        HouseRecipe(name="h", dose_g=16, dose_tol_g=0.3, beverage_g=32, beverage_tol_g=1, time_s=28, time_tol_s=0)


def test_every_word_but_the_units_can_be_told_in_another_language(untold):
    off = itertools.product((15, 16, 17), (28, 32, 36), (20, 28, 36), (90, 92.5, 95))
    for dose_g, beverage_g, time_s, water_c in off:
        said = describe(Pull(name="p", dose_g=dose_g, beverage_g=beverage_g, time_s=time_s, water_c=water_c), HOUSE)
        assert not said or untold(said) <= {"g", "s", "C"}, said


def test_a_refusal_can_be_told_in_another_language(untold):
    with pytest.raises(QuantityError) as refused:
        HouseRecipe(**{name: getattr(HOUSE, name) for name in HouseRecipe.__slots__} | {"water_c": -1.0})
    assert untold(refused.value.args[0]) <= {"house"}
