"""Carrying a recipe over: what is held is held, what cannot be is told, and the grind obeys the bed."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.espresso.bed import Change, predict_time
from evenhand.espresso.kinetics import Brew, Shot, extraction_pct, fit_kinetics, strength_pct
from evenhand.espresso.recipe import HouseRecipe
from evenhand.espresso.transfer import transfer_recipe
from evenhand.units import Measured

RECIPE = HouseRecipe(
    name="house", dose_g=18.0, dose_tol_g=0.3, beverage_g=36.0, beverage_tol_g=1.5, time_s=28.0, time_tol_s=2.0,
    water_c=93.0, water_tol_c=1.0, pressure_bar=9.0, pressure_tol_bar=0.5,
)  # fmt: skip
HOUSE = Brew.of_recipe(RECIPE)
FIT = fit_kinetics(HOUSE, [Shot(brew=HOUSE, tds_pct=9.6)] * 3)


def check(done):
    """Extraction of the transferred pull by the model itself, at the size and time that were told."""
    brew = Brew(
        dose_g=done.dose_g, beverage_g=done.beverage_g, time_s=done.time_s.value, water_c=done.water_c,
        size_ratio=1 + done.size_change_pct.value / 100,
    )  # fmt: skip
    return extraction_pct(FIT.kinetics, brew)


def test_no_change_changes_nothing():
    done = transfer_recipe(FIT, RECIPE)
    assert (done.dose_g, done.beverage_g, done.time_s.value) == (18.0, 36.0, pytest.approx(28.0))
    assert done.time_s.sd == 0
    assert done.size_change_pct.value == pytest.approx(0, abs=1e-6)
    assert done.extraction_change_points.sd == pytest.approx(0, abs=1e-6)
    assert done.lost == ()


@given(dose=st.floats(15, 22), pressure=st.floats(6, 10))
@settings(max_examples=12, deadline=None)
def test_at_the_same_ratio_both_are_held(dose, pressure):
    done = transfer_recipe(FIT, RECIPE, dose_g=dose, pressure_bar=pressure)
    assert done.held == ("extraction", "strength")
    assert done.ratio == pytest.approx(2.0)
    assert check(done) == pytest.approx(extraction_pct(FIT.kinetics, HOUSE), abs=1e-6)
    assert done.extraction_change_points.value == pytest.approx(0, abs=1e-6)
    assert done.extraction_change_points.sd > 0.3
    assert done.time_s.sd > 0.5


@pytest.mark.parametrize(
    "change",
    [{"dose_g": 20.0}, {"beverage_g": 40.0}, {"pressure_bar": 6.0}, {"bed_mm": (58.0, 54.0)}],
)
def test_the_grind_brings_the_time_by_the_bed_s_law(change):
    """Predicting the new pull's time from the house's, with the size told here, must give the time told here."""
    done = transfer_recipe(FIT, RECIPE, **change)
    old, new = change.get("bed_mm", (1.0, 1.0))
    seen = predict_time(
        Measured(28.0),
        Change(
            size=1 + done.size_change_pct.value / 100,
            dose=done.dose_g / 18,
            beverage=done.beverage_g / 36,
            pressure=change.get("pressure_bar", 9.0) / 9,
            basket_diameter=new / old,
        ),
    )
    assert seen.time_s.value == pytest.approx(done.time_s.value, rel=1e-6)


def test_a_deeper_bed_wants_a_coarser_grind_and_a_lower_pressure_too():
    assert transfer_recipe(FIT, RECIPE, dose_g=20.0).size_change_pct.value > 2
    lower = transfer_recipe(FIT, RECIPE, pressure_bar=6.0)
    assert lower.size_change_pct.value > 2
    assert lower.pressure_bar == 6.0
    assert transfer_recipe(FIT, RECIPE, bed_mm=(58.0, 62.0)).size_change_pct.value < -2


def test_at_another_ratio_one_of_the_two_is_lost():
    longer = transfer_recipe(FIT, RECIPE, ratio=2.4)
    assert (longer.held, longer.lost) == (("extraction",), ("strength",))
    assert check(longer) == pytest.approx(extraction_pct(FIT.kinetics, HOUSE), abs=1e-6)
    # Hand arithmetic: the same extraction at ratio 2.4 in place of 2.0 is 2.0 / 2.4 of the strength.
    assert longer.strength_pct.value == pytest.approx(longer.extraction_pct.value / 2.4)
    assert any("cannot both be held" in sentence for sentence in longer.sentences)

    strong = transfer_recipe(FIT, RECIPE, ratio=2.2, hold="strength")
    assert (strong.held, strong.lost) == (("strength",), ("extraction",))
    assert check(strong) == pytest.approx(1.1 * extraction_pct(FIT.kinetics, HOUSE), abs=1e-6)
    assert strong.time_s.value > 28
    assert strong.strength_change_points.value == pytest.approx(0, abs=1e-6)


def test_what_no_time_can_hold_is_told():
    done = transfer_recipe(FIT, RECIPE, ratio=4.0, hold="strength")
    assert done.held == ()
    assert done.lost == ("extraction", "strength")
    assert done.time_s == Measured(56.0)
    assert done.strength_change_points.value < -1
    assert "No time" in done.sentences[0]
    short = transfer_recipe(FIT, RECIPE, ratio=0.9, hold="strength")
    assert short.time_s == Measured(14.0)
    assert "shortest" in short.sentences[0]


def test_caffeine_is_told_where_it_passes_the_single_dose():
    # 12 mg/g x 0.8 (evenhand.espresso.caffeine): 22 g offer 211 mg, 18 g 173 mg.
    assert any("211 mg" in sentence for sentence in transfer_recipe(FIT, RECIPE, dose_g=22.0).sentences)
    assert not any("caffeine" in sentence for sentence in transfer_recipe(FIT, RECIPE).sentences)


def test_a_far_finer_grind_is_flagged():
    done = transfer_recipe(FIT, RECIPE, ratio=1.5)
    assert done.size_change_pct.value < -10
    assert any("unevenly" in sentence for sentence in done.sentences)


def test_more_shots_narrow_what_the_shots_can_narrow():
    one = fit_kinetics(HOUSE, [Shot(brew=HOUSE, tds_pct=9.6)])
    brews = [
        replace(HOUSE, beverage_g=beverage, time_s=time) for beverage in (18.0, 36.0, 60.0) for time in (18.0, 45.0)
    ]
    many = fit_kinetics(HOUSE, [Shot(brew=brew, tds_pct=strength_pct(one.kinetics, brew)) for brew in 3 * brews])
    wide, narrow = (transfer_recipe(fit, RECIPE, ratio=2.5).extraction_change_points.sd for fit in (one, many))
    assert narrow < 0.97 * wide


@pytest.mark.parametrize(
    "wrong",
    [
        {"beverage_g": 40.0, "ratio": 2.2},
        {"dose_g": 0.0},
        {"ratio": -1.0},
        {"pressure_bar": float("nan")},
        {"bed_mm": (58.0, 0.0)},
        {"hold": "caffeine"},
    ],
)
def test_impossible_wishes_are_refused(wrong):
    with pytest.raises(QuantityError):
        transfer_recipe(FIT, RECIPE, **wrong)


def test_a_pressure_needs_one_to_compare_with():
    silent = replace(RECIPE, pressure_bar=None, pressure_tol_bar=None)
    with pytest.raises(QuantityError, match="states no pressure"):
        transfer_recipe(FIT, silent, pressure_bar=6.0)
    assert transfer_recipe(FIT, silent, dose_g=19.0).pressure_bar is None
