"""Control charts against published data and figures.

Data and printed results of the handbook (NIST/SEMATECH e-Handbook of Statistical Methods) are given from memory; the
printed results are recomputed from the data, so a wrong digit would show.
"""

import numpy as np
import pytest

from evenhand.season.charts import (
    WESTERN_ELECTRIC,
    JointBaseline,
    cusum,
    estimate_baseline,
    estimate_joint_baseline,
    ewma,
    individuals,
    moving_range,
    run_length_of_cusum,
    run_length_of_ewma,
    run_length_of_individuals,
    run_length_of_rules,
    shewhart_factors,
    stated_baseline,
    t_squared,
)

# e-Handbook 6.3.2.2: viscosity of ten batches; printed mean 50.81, limits 55.8041 and 45.8159.
VISCOSITY = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]

# e-Handbook 6.3.2.3: means of twenty groups; target 325, k 0.3175 and h 4.1959 in the data's unit; the first signal is
# at group 14. The standard deviation of a mean is 0.635.
GROUP_MEANS = [
    *[324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600],
    *[324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350],
]
# The printed sums of rises and falls, to two decimals.
RISES = [0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
FALLS = [0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0]

# e-Handbook 6.3.2.4: twenty values; lambda 0.3, centre 50, s 2.0539; printed averages (after the start, 50.00) and
# limits 52.5884 and 47.4115.
VALUES = [
    *[52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5],
    *[49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1],
]
AVERAGES = [
    *[50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33],
    *[50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99],
]


def test_individuals():
    base = estimate_baseline(VISCOSITY, robust=False)
    chart = individuals(VISCOSITY, base)
    assert base.centre == pytest.approx(50.81, abs=0.005)
    # The handbook rounds d2 to 1.128, which moves the limits by 0.0017.
    exact, rounded = shewhart_factors(2).d2, 1.128
    half = (chart.upper[0] - base.centre) * exact / rounded
    assert base.centre + half == pytest.approx(55.8041, abs=5e-5)
    assert base.centre - half == pytest.approx(45.8159, abs=5e-5)
    assert chart.signals == ()
    ranges = moving_range(VISCOSITY, base)
    assert np.isnan(ranges.value[0])
    assert np.mean(ranges.value[1:]) == pytest.approx(1.8778, abs=5e-5)
    assert ranges.upper[1] == pytest.approx(3.267 * 1.8778, abs=2e-3)


def test_cusum():
    sigma = 0.635
    chart = cusum(GROUP_MEANS, stated_baseline(325.0, sigma), allowance=0.3175 / sigma, decision=4.1959 / sigma)
    np.testing.assert_allclose(chart.high * sigma, RISES, rtol=0, atol=0.0055)
    np.testing.assert_allclose(chart.low * sigma, FALLS, rtol=0, atol=0.0055)
    assert chart.signals[0] + 1 == 14
    assert chart.signals == tuple(range(13, 20))
    assert chart.onset[0] + 1 == 13


def test_ewma():
    chart = ewma(VALUES, stated_baseline(50.0, 2.0539), smoothing=0.3, width=3.0, steady_limits=True)
    np.testing.assert_allclose(chart.value, AVERAGES, rtol=0, atol=0.0055)
    assert chart.value[-1] == pytest.approx(51.99, abs=0.005)
    # The handbook rounds the factor sqrt(0.3 / 1.7) to 0.4201.
    assert chart.upper[-1] == pytest.approx(52.5884, abs=1.5e-4)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=1.5e-4)
    assert chart.signals == ()


@pytest.mark.parametrize(
    ("size", "d2", "d3", "c4", "d4"),
    [
        (2, 1.128, 0.853, 0.7979, 3.267),
        (3, 1.693, 0.888, 0.8862, 2.575),
        (4, 2.059, 0.880, 0.9213, 2.282),
        (5, 2.326, 0.864, 0.9400, 2.114),
        (10, 3.078, 0.797, 0.9727, 1.777),
        (25, 3.931, 0.708, 0.9896, 1.541),
    ],
)
def test_factors(size, d2, d3, c4, d4):
    """ISO 7870-2:2013, table of factors (from memory)."""
    got = shewhart_factors(size)
    assert got.d2 == pytest.approx(d2, abs=6e-4)
    assert got.d3 == pytest.approx(d3, abs=6e-4)
    assert got.c4 == pytest.approx(c4, abs=6e-5)
    assert abs(got.D4 - d4) < 6e-4


def test_factors_of_single_values():
    """ISO 7870-2:2013, charts of individuals: 2.66 mean ranges; D3 is 0 up to groups of six and 0.223 for ten."""
    assert abs(shewhart_factors(2).E2 - 2.660) < 2e-3
    assert abs(shewhart_factors(6).D3) < 1e-12
    assert abs(shewhart_factors(10).D3 - 0.223) < 6e-4


@pytest.mark.parametrize(("shift", "length"), [(0.0, 370.0), (0.5, 36.2), (1.0, 9.8)])
def test_run_length_of_ewma(shift, length):
    """0.2 and 2.859, as published tables of the EWMA give it (after Lucas and Saccucci, 1990; from memory)."""
    assert run_length_of_ewma(0.2, 2.859, shift) == pytest.approx(length, abs=0.06)


@pytest.mark.parametrize(
    ("shift", "length", "digit"),
    [
        (0.0, 465, 1),
        (0.25, 139, 1),
        (0.5, 38.0, 0.1),
        (0.75, 17.0, 0.1),
        (1.0, 10.4, 0.1),
        (1.5, 5.75, 0.01),
        (2.0, 4.01, 0.01),
    ],
)
def test_run_length_of_cusum(shift, length, digit):
    """0.5 and 5: Lucas and Crosier (1982), from memory."""
    assert run_length_of_cusum(0.5, 5.0, shift) == pytest.approx(length, abs=0.55 * digit)


@pytest.mark.parametrize(
    ("rules", "length"),
    [
        ((1,), 370.40),
        ((1, 2), 225.44),
        ((1, 3), 166.05),
        ((1, 4), 152.73),
        ((1, 2, 3), 132.89),
        ((1, 2, 4), 122.05),
        ((1, 3, 4), 105.78),
        ((1, 2, 3, 4), 91.75),
    ],
)
def test_run_length_of_rules(rules, length):
    """Champ and Woodall (1987), table 1, no shift (from memory)."""
    assert run_length_of_rules([WESTERN_ELECTRIC[i - 1] for i in rules]) == pytest.approx(length, abs=0.0051)


def test_run_length_of_individuals():
    """Any textbook: 370.4 without and 43.9 with a shift of one standard deviation."""
    assert run_length_of_individuals(3.0) == pytest.approx(370.4, abs=0.05)
    assert run_length_of_individuals(3.0, 1.0) == pytest.approx(43.9, abs=0.05)


def test_t_squared_of_a_worked_example():
    """Johnson and Wichern, Applied Multivariate Statistical Analysis, sweat data: T² = 9.74 (from memory).

    Twenty women; the mean of their sweat rate, sodium and potassium against (4, 50, 10). A chart's T² of one batch is
    T² of a mean of twenty divided by twenty.
    """
    mean = [4.640, 45.400, 9.965]
    covariance = np.array([[2.879, 10.010, -1.810], [10.010, 199.788, -5.640], [-1.810, -5.640, 3.628]])
    base = JointBaseline(centre=np.array([4.0, 50.0, 10.0]), batch_cov=covariance, batches=20, freedom=19.0)
    assert 20 * t_squared([mean], base).t_squared[0] == pytest.approx(9.74, abs=0.01)


def test_joint_limits_are_the_textbook_ones():
    """Tracy, Young and Mason (1992): Beta and F limits, here by an independent library."""
    from scipy.stats import beta, f

    m, p, alpha = 25, 3, 0.0027
    table = np.random.default_rng(8).normal(size=(m, p))
    base = estimate_joint_baseline(table, method="sample")
    assert base.batch_cov == pytest.approx(np.cov(table, rowvar=False))
    old = t_squared(table, base, in_baseline=True)
    new = t_squared(table, base)
    assert old.limit[0] == pytest.approx((m - 1) ** 2 / m * beta.ppf(1 - alpha, p / 2, (m - p - 1) / 2))
    assert new.limit[0] == pytest.approx(p * (m + 1) * (m - 1) / (m * (m - p)) * f.ppf(1 - alpha, p, m - p))
