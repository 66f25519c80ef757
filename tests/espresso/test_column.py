"""The column model: against the exact plug-flow solution, a plain ODE solver, and its own balance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.espresso.column import estimate_cell_error_points, run_column
from evenhand.espresso.kinetics import Brew, Kinetics, believe_kinetics, extraction_pct, filling_s, stream_pct

HOUSE = Brew(dose_g=18.0, beverage_g=36.0, time_s=28.0)
USUAL = believe_kinetics(HOUSE).kinetics


@st.composite
def kinetics(draw):
    return Kinetics(
        soluble_pct=draw(st.floats(22, 36)),
        fast_share=draw(st.floats(0.2, 0.8)),
        fast_per_s=draw(st.floats(0.1, 1.0)),
        slow_per_s=draw(st.floats(0.005, 0.06)),
        capacity_ratio=draw(st.floats(0.9, 2.2)),
        held_g_per_g=draw(st.floats(0.7, 1.6)),
        activation_kj_per_mol=draw(st.floats(0, 30)),
        size_exponent=1.5,
    )


@given(kinetics(), st.floats(0.8, 4), st.floats(15, 60), st.floats(88, 96))
@settings(max_examples=40, deadline=None)
def test_column_agrees_with_exact_plug_flow_to_a_hundredth_of_a_point(shape, ratio, time, water):
    brew = Brew(dose_g=18.0, beverage_g=18.0 * ratio, time_s=time, water_c=water)
    run = run_column(shape, brew)
    assert run.extraction_pct == pytest.approx(extraction_pct(shape, brew), abs=0.01)
    assert run.lost_g == pytest.approx(0.0, abs=1e-10)


def test_error_falls_with_the_square_of_the_cells():
    brew = Brew(dose_g=18.0, beverage_g=39.6, time_s=28.0)
    exact = extraction_pct(USUAL, brew)
    coarse, fine = (abs(run_column(USUAL, brew, cells=cells).extraction_pct - exact) for cells in (50, 200))
    assert coarse / fine == pytest.approx(16, rel=0.3)
    # Richardson's estimate is a third of a difference that is three quarters of the error with half the cells.
    assert estimate_cell_error_points(USUAL, brew) == pytest.approx(fine, rel=0.3)


def test_stream_agrees_with_exact_plug_flow():
    run = run_column(USUAL, HOUSE)
    at = np.array([3.0, 9.0, 18.0, 27.0])
    np.testing.assert_allclose(np.interp(at, run.cup_g, run.stream_pct), stream_pct(USUAL, HOUSE, at), atol=0.01)
    assert run.time_s[0] == pytest.approx(filling_s(USUAL, HOUSE))
    assert run.time_s[-1] == pytest.approx(28.0)
    assert run.cup_g[-1] == pytest.approx(36.0)


def solve_by_cells(shape, brew, wetting_s, cells):
    """The same column with scipy's solver: first-order upwind cells, filled one after another while wetting."""
    from scipy.integrate import solve_ivp

    cell_g = shape.held_g_per_g * brew.dose_g / cells
    solubles = shape.soluble_pct / 100 * brew.dose_g / cells
    full = np.array([[shape.fast_share], [1 - shape.fast_share]]) * solubles
    back = full / (shape.saturated_pct / 100)
    rate = np.array([[shape.fast_per_s], [shape.slow_per_s]])
    pour = brew.beverage_g / (brew.time_s - wetting_s)
    fill = shape.held_g_per_g * brew.dose_g / wetting_s

    def change(time, y):
        pools, held = y[: 2 * cells].reshape(2, cells), y[2 * cells : 3 * cells]
        wet = np.clip(fill * time / cell_g - np.arange(cells), 0, 1)
        strength = np.divide(held, cell_g * wet, out=np.zeros(cells), where=wet > 1e-12)
        given = rate * (pools * wet - back * held / cell_g)
        out = (fill if time < wetting_s else pour) * strength * (wet >= 1)
        return np.concatenate([-given.ravel(), given.sum(0) + np.append(0, out[:-1]) - out, [out[-1]]])

    start = np.concatenate([np.repeat(full.ravel(), cells), np.zeros(cells + 1)])
    filled = solve_ivp(change, (0, wetting_s), start, max_step=wetting_s / cells, rtol=1e-6, atol=1e-9).y[:, -1]
    filled[-1] = 0.0
    end = solve_ivp(change, (wetting_s, brew.time_s), filled, rtol=1e-7, atol=1e-10).y[:, -1]
    return 100 * end[-1] / brew.dose_g


def test_fast_wetting_agrees_with_a_plain_solver():
    """No exact form is known here; the upwind cells smear, so they are carried to no smearing from two sizes."""
    few, many = (solve_by_cells(USUAL, HOUSE, 5.0, cells) for cells in (30, 60))
    assert run_column(USUAL, HOUSE, wetting_s=5.0).extraction_pct == pytest.approx(2 * many - few, abs=0.02)


def test_extraction_hardly_cares_when_the_first_drip_comes():
    even = run_column(USUAL, HOUSE).extraction_pct
    for wetting in (5.0, 7.0, 10.0):
        assert run_column(USUAL, HOUSE, wetting_s=wetting).extraction_pct == pytest.approx(even, abs=0.15)


def test_what_is_not_in_the_cup_is_in_the_bed():
    run = run_column(USUAL, HOUSE)
    total = USUAL.soluble_pct / 100 * 18
    assert run.cup_solids_g[-1] + run.held_solids_g + np.mean(run.left_share) * total == pytest.approx(total)
    # The top is washed by plain water, the bottom by liquor.
    assert np.all(np.diff(run.left_share) > 0)
    assert run.strength_pct == pytest.approx(run.extraction_pct / 2)


def test_a_beverage_of_less_than_a_cell_is_saturated_liquor():
    drop = Brew(dose_g=18.0, beverage_g=0.05, time_s=10.0)
    run = run_column(USUAL, drop, wetting_s=9.9)
    assert len(run.cup_g) == 2
    assert run.strength_pct == pytest.approx(USUAL.saturated_pct, rel=0.1)


@pytest.mark.parametrize("wrong", [{"cells": 1}, {"wetting_s": 0.0}, {"wetting_s": 28.0}, {"wetting_s": float("nan")}])
def test_impossible_settings_are_refused(wrong):
    with pytest.raises(QuantityError):
        run_column(USUAL, HOUSE, **wrong)
