"""Pull arithmetic: properties, uncertainty against simulation, and refusals."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import QuantityError
from evenhand.espresso.extraction import extraction_pct, flow_g_per_s, measure, ratio, solids_g
from evenhand.units import Measured
from evenhand.words import Words

dose = st.floats(5, 30)
beverage = st.floats(10, 120)
seconds = st.floats(5, 120)
tds = st.floats(0.5, 25)


@given(dose, beverage, seconds, tds)
def test_extraction_is_ratio_times_strength(dose_g, beverage_g, time_s, tds_pct):
    pull = measure(dose_g, beverage_g, time_s, tds_pct)
    assert pull.extraction_pct is not None
    assert pull.extraction_pct.value == pytest.approx(pull.ratio.value * tds_pct)
    assert pull.extraction_dry_pct is None


@given(dose, beverage, seconds, tds, st.floats(1.1, 3))
def test_scaling_a_pull_keeps_ratio_and_extraction(dose_g, beverage_g, time_s, tds_pct, factor):
    one = measure(dose_g, beverage_g, time_s, tds_pct)
    other = measure(dose_g * factor, beverage_g * factor, time_s * factor, tds_pct)
    assert other.ratio.value == pytest.approx(one.ratio.value)
    assert other.flow_g_per_s.value == pytest.approx(one.flow_g_per_s.value)
    assert one.extraction_pct is not None
    assert other.extraction_pct is not None
    assert other.extraction_pct.value == pytest.approx(one.extraction_pct.value)
    assert other.extraction_pct.sd < one.extraction_pct.sd


def test_uncertainty_agrees_with_simulation():
    rng = np.random.default_rng(11)
    n = 400_000
    simulated = (
        (35 + 0.1 * rng.standard_normal(n)) * (10 + 0.1 * rng.standard_normal(n)) / (16 + 0.1 * rng.standard_normal(n))
    )
    stated = extraction_pct(Measured(16, 0.1), Measured(35, 0.1), Measured(10, 0.1))
    assert stated.sd == pytest.approx(float(simulated.std()), rel=0.01)


def test_nothing_measured_is_nothing_said():
    pull = measure(16, 32, 28)
    assert pull.solids_g is None
    assert pull.extraction_pct is None


@pytest.mark.parametrize(
    ("call", "word"),
    [
        (lambda: ratio(Measured(0.0), Measured(32.0)), "dose"),
        (lambda: ratio(Measured(16.0), Measured(-1.0)), "beverage"),
        (lambda: flow_g_per_s(Measured(32.0), Measured(0.0)), "time"),
        (lambda: solids_g(Measured(32.0), Measured(101.0)), "between 0 and 100"),
        (lambda: measure(16, 32, 28, 10, 100), "moisture"),
        (lambda: measure(float("nan"), 32, 28), "finite"),
        (lambda: Measured(1.0, -0.1), "uncertainty"),
        (lambda: Measured(1.0) / Measured(0.0), "divided"),
    ],
)
def test_impossible_numbers_are_refused_in_words(call, word):
    with pytest.raises(QuantityError, match=word):
        call()


@pytest.mark.parametrize("pull", [(0, 36, 28), (18, 0, 28), (18, 36, 0), (18, 36, 28, 101), (18, 36, 28, 9, 100)])
def test_a_refusal_can_be_told_in_another_language(pull):
    with pytest.raises(QuantityError) as refused:
        measure(*pull)
    assert isinstance(refused.value.args[0], Words)
