"""Charts with weights: the textbook's where all is known equally well, and fair where it is not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.season.charts import Baseline, cusum, ewma, individuals, moving_range, stated_baseline

values = st.lists(st.integers(-500, 500), min_size=2, max_size=25).map(lambda xs: np.array(xs) / 100.0)
BASE = stated_baseline(0.0, 1.0)


@given(values)
def test_equal_uncertainty_is_a_wider_spread(x):
    """Batches that scatter by 0.6 and are measured with 0.8 are charted as batches that scatter by 1."""
    base = Baseline(centre=0.0, batch_sd=0.6, typical_sd=1.0)
    for chart in (individuals, ewma):
        assert chart(x, base, 0.8).upper == pytest.approx(chart(x, BASE).upper)
        assert chart(x, base, 0.8).value == pytest.approx(chart(x, BASE).value)
    assert cusum(x, base, 0.8).high == pytest.approx(cusum(x, BASE).high)
    assert moving_range(x, base, 0.8).upper[1:] == pytest.approx(moving_range(x, BASE).upper[1:])


@given(values)
def test_rises_are_falls_turned_over(x):
    assert cusum(-x, BASE).low == pytest.approx(cusum(x, BASE).high)
    assert cusum(-x, BASE).signals == cusum(x, BASE).signals
    assert ewma(-x, BASE).value == pytest.approx(-ewma(x, BASE).value)


@given(values)
def test_a_batch_that_is_hardly_known_changes_hardly_anything(x):
    sd = np.zeros(x.size)
    sd[-1] = 1e4
    assert ewma(x, BASE, sd).value[-1] == pytest.approx(ewma(x[:-1], BASE).value[-1], abs=1e-4)
    assert cusum(x, BASE, sd).high[-1] == pytest.approx(cusum(x[:-1], BASE).high[-1], abs=1e-4)
    assert x.size - 1 not in individuals(x, BASE, sd).signals


def test_ewma_limits_are_the_standard_deviation_of_the_average():
    """The average is linear in the batches, so single batches of 1 give its coefficients."""
    sd = np.array([0.2, 1.5, 0.2, 3.0, 0.5, 0.2, 1.0, 0.2])
    base = Baseline(centre=0.0, batch_sd=1.0, typical_sd=1.2)
    coefficients = np.column_stack([ewma(one, base, sd).value for one in np.eye(sd.size)])
    exact = np.sqrt(coefficients**2 @ (1.0 + sd**2))
    assert ewma(np.zeros(sd.size), base, sd, width=1.0).upper == pytest.approx(exact)


def test_two_halves_move_the_average_as_one_whole():
    """Two batches alike of half the information each are worth one of all."""
    sd = np.array([1.0, 1.0])  # with batches that scatter by 1 the variance is 2, so the weight one half
    assert ewma([3.0, 3.0], BASE, sd).value[-1] == pytest.approx(ewma([3.0], BASE).value[-1])


def test_early_limits_tend_to_the_steady_ones():
    x = np.zeros(60)
    exact, steady = ewma(x, BASE).upper, ewma(x, BASE, steady_limits=True).upper
    assert exact[0] == pytest.approx(0.2 * 2.859)
    assert np.all(np.diff(exact) > 0)
    assert exact[-1] == pytest.approx(steady[-1], rel=1e-6)


@pytest.mark.parametrize("pattern", [[0.0], [0.3, 0.3, 0.3, 2.0], [0.0, 1.0, 2.0, 0.5]])
def test_false_alarms_do_not_depend_on_the_mix_of_uncertainties(pattern):
    """The claim that information plays the part of time: about 465 batches to a false alarm, whatever the mix.

    465 is the published length for equal batches (Lucas and Crosier, 1982; from memory).
    """
    rng = np.random.default_rng(2)
    sd = np.resize(pattern, 40_000)
    total = np.hypot(1.0, sd)
    base = Baseline(centre=0.0, batch_sd=1.0, typical_sd=float(np.mean(total**-2.0) ** -0.5))
    alarms = batches = 0
    for _ in range(4):
        x = rng.normal(size=sd.size) * total
        start = 0
        while start < x.size - 4000:
            found = cusum(x[start : start + 4000], base, sd[start : start + 4000]).signals
            step = found[0] + 1 if found else 4000
            alarms += bool(found)
            batches += step
            start += step
    assert batches / alarms == pytest.approx(465, rel=0.2)


def test_a_range_is_passed_on_over_a_gap():
    chart = moving_range([1.0, np.nan, 5.0], BASE)
    assert chart.value[2] == pytest.approx(4.0)
    assert np.isnan(chart.value[1])
    assert chart.signals == (2,)


def test_the_onset_is_where_the_sum_last_stood_at_nothing():
    chart = cusum([0.0, 2.0, -3.0, 1.0, 3.0, 3.0], BASE, decision=4.0)
    assert chart.high == pytest.approx([0.0, 1.5, 0.0, 0.5, 3.0, 5.5])
    assert chart.signals == (5,)
    assert chart.onset == (3,)


def test_an_exact_value_among_batches_that_do_not_scatter_is_refused():
    base = Baseline(centre=0.0, batch_sd=0.0, typical_sd=1.0)
    assert individuals([0.5, np.nan], base, [1.0, np.inf]).signals == ()
    with pytest.raises(DesignError, match="known exactly"):
        individuals([0.5, 0.2], base, [1.0, 0.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda: individuals([1.0], BASE, width=0.0),
        lambda: ewma([1.0], BASE, smoothing=0.0),
        lambda: ewma([1.0], BASE, smoothing=1.1),
        lambda: ewma([1.0], BASE, width=-1.0),
        lambda: cusum([1.0], BASE, allowance=-0.1),
        lambda: cusum([1.0], BASE, decision=0.0),
    ],
)
def test_impossible_settings_are_refused(call):
    with pytest.raises(QuantityError):
        call()
