"""What is said of a pull while it is typed, against values worked by hand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.bench.pull.reading import read
from evenhand.bench.pull.words import row_of, say_aim
from evenhand.espresso.recipe import QUANTITIES, HouseRecipe, Pull, deviation, judgeable

RECIPE = HouseRecipe(
    name="house",
    dose_g=18,
    dose_tol_g=0.3,
    beverage_g=36,
    beverage_tol_g=1.5,
    time_s=29,
    time_tol_s=2,
    water_c=93,
    water_tol_c=1,
)
COLUMNS = {"dose": "dose_g", "beverage": "beverage_g", "time": "time_s", "water": "water_c"}


def said(reading) -> dict[str, str]:
    return {row.quantity: row.said for row in reading.rows}


def test_nothing_typed_is_nothing_measured():
    reading = read({}, RECIPE)
    assert reading.state == "waiting"
    assert set(said(reading).values()) == {"not measured"}
    assert reading.worst is None
    assert reading.extraction is None
    assert "pressure" not in said(reading)  # the recipe asks for none


def test_a_whole_pull():
    reading = read({"dose_g": 18.3, "beverage_g": 38.1, "time_s": 25.0, "water_c": 94.5, "tds_pct": 9.0}, RECIPE)
    assert said(reading) == {
        "dose": "on recipe, 1.0 tolerances heavy",
        "beverage": "1.4 tolerances long",
        "time": "2.0 tolerances fast",
        "water": "1.5 tolerances hot",
    }
    assert reading.state == "judge"
    assert reading.worst.quantity == "time"
    # 38.1 g of 9 % are 3.429 g out of 18.3 g: 18.74 %.
    assert reading.extraction.extraction_pct.value == pytest.approx(100 * 0.09 * 38.1 / 18.3)
    assert reading.extraction.ratio.value == pytest.approx(38.1 / 18.3)
    assert reading.off.startswith("ran long by 2.1 g (1.4 tolerances)")


def test_one_thing_too_far_off_is_enough_even_before_the_rest_is_known():
    assert read({"time_s": 37.0}, RECIPE).state == "waiting"  # 4.0 tolerances may be judged
    reading = read({"time_s": 37.1}, RECIPE)
    assert reading.state == "again"
    assert reading.worst.state == "far"


def test_dry_basis_where_the_roasts_moisture_is_known():
    typed = {"dose_g": 18.0, "beverage_g": 36.0, "time_s": 29.0, "tds_pct": 9.5}
    assert read(typed, RECIPE).extraction.extraction_dry_pct is None
    dry = read(typed, RECIPE, moisture_pct=2.0).extraction.extraction_dry_pct
    assert dry.value == pytest.approx(19.0 / 0.98)


def test_the_hands_uncertainty_is_that_of_the_time():
    typed = {"dose_g": 18.0, "beverage_g": 36.0, "time_s": 30.0}
    slow_hand = read(typed | {"time_sd_s": 1.5}, RECIPE).extraction.flow_g_per_s
    # GUM 5.1.2 for a quotient: (1.2 g/s) × √((0.1/36)² + (1.5/30)²).
    assert slow_hand.sd == pytest.approx(1.2 * math.hypot(0.1 / 36, 1.5 / 30))


def test_half_typed_numbers_are_no_error():
    assert read({"dose_g": 0.0, "beverage_g": 36.0, "time_s": 29.0}, RECIPE).extraction is None


@pytest.mark.parametrize(
    ("off", "state", "x", "words"),
    [
        (None, "none", None, "not measured"),
        (0.04, "near", 120.8, "on recipe"),
        (-1.0, "near", 100.0, "on recipe, 1.0 tolerances fast"),
        (1.01, "off", 140.2, "1.0 tolerances slow"),
        (-4.0, "off", 40.0, "4.0 tolerances fast"),
        (4.01, "far", 200.2, "4.0 tolerances slow"),
        (9.0, "far", 220.0, "9.0 tolerances slow"),
    ],
)
def test_word_shape_and_place_of_a_deviation(off, state, x, words):
    row = row_of("time", off, RECIPE, "metric")
    assert (row.state, row.said) == (state, words)
    assert row.x == (None if x is None else pytest.approx(x))
    assert row.is_past_end == (off == 9.0)


def test_the_aim_in_the_units_of_whoever_reads():
    assert say_aim("dose", RECIPE, "us") == "18 ± 0.3\xa0g"
    assert say_aim("water", RECIPE, "metric") == "93.0 ± 1.0\xa0°C"
    assert say_aim("water", RECIPE, "us") == "199.4 ± 1.8\xa0°F"  # 93 × 1.8 + 32; a span takes no 32
    assert say_aim("pressure", RECIPE, "us") == ""


@given(
    st.fixed_dictionaries(
        {}, optional={column: st.floats(0.01, 500, allow_nan=False) for column in (*COLUMNS.values(), "pressure_bar")}
    )
)
def test_what_is_not_typed_never_counts_and_what_is_typed_always_does(typed):
    """However a pull is typed, its rows are the engine's own deviations of what is known, and of nothing else."""
    reading = read(typed, RECIPE)
    filled = {"dose_g": 18.0, "beverage_g": 36.0, "time_s": 29.0} | typed
    engine = deviation(Pull(name="", **filled), RECIPE)
    for row in reading.rows:
        assert row.off == (engine[row.quantity] if COLUMNS[row.quantity] in typed else None)
    assert (reading.state == "again") == (not judgeable(engine))
    complete = {"dose_g", "beverage_g", "time_s"} <= set(typed)
    assert (reading.extraction is not None) == complete
    assert [row.quantity for row in reading.rows] == [q for q in QUANTITIES if q != "pressure"]
