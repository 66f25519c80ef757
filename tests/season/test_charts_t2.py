"""Joint charts: the laws they promise, and which measure a signal comes from."""

import numpy as np
import pytest
from scipy.stats import chi2

from evenhand.errors import DesignError
from evenhand.season.charts import JointBaseline, estimate_joint_baseline, t_squared

COV = np.array([[1.0, 0.6, 0.0], [0.6, 2.0, -0.3], [0.0, -0.3, 0.5]])
KNOWN = JointBaseline(centre=np.zeros(3), batch_cov=COV, batches=100_000, freedom=99_999.0)


@pytest.mark.parametrize("method", ["sample", "differences", "robust_differences"])
def test_covariance_of_sound_batches(method):
    x = np.random.default_rng(1).multivariate_normal([3, 4, 5], COV, size=20_000)
    base = estimate_joint_baseline(x, method=method)
    assert base.batch_cov == pytest.approx(COV, abs=0.06)
    assert base.centre == pytest.approx([3, 4, 5], abs=0.05)


def test_measurement_is_taken_off():
    rng = np.random.default_rng(2)
    sd = np.array([0.5, 1.5, 0.2])
    x = rng.multivariate_normal([0, 0, 0], COV, size=20_000) + rng.normal(size=(20_000, 3)) * sd
    base = estimate_joint_baseline(x, np.broadcast_to(sd, x.shape))
    assert base.batch_cov == pytest.approx(COV, abs=0.1)


def test_odd_batches_spoil_only_the_sample_covariance():
    x = np.random.default_rng(3).multivariate_normal([0, 0, 0], COV, size=60)
    x[[10, 30, 50]] += [15, -15, 8]
    robust = estimate_joint_baseline(x)
    plain = estimate_joint_baseline(x, method="sample")
    assert set(t_squared(x, robust).signals) == {10, 30, 50}
    assert np.trace(plain.batch_cov) > 4 * np.trace(robust.batch_cov)


def test_with_much_known_it_is_chi_square():
    x = np.random.default_rng(4).multivariate_normal([0, 0, 0], COV, size=4000)
    got = t_squared(x, KNOWN, false_alarm=0.05)
    assert got.limit[0] == pytest.approx(chi2.ppf(0.95, 3), rel=1e-3)
    assert len(got.signals) / 4000 == pytest.approx(0.05, abs=0.014)


@pytest.mark.parametrize(
    ("method", "least"), [("sample", 0.014), ("differences", 0.010), ("robust_differences", 0.010)]
)
def test_new_batches_raise_about_as_many_false_alarms_as_asked(method, least):
    rng = np.random.default_rng(5)
    rates = []
    for _ in range(300):
        base = estimate_joint_baseline(rng.normal(size=(25, 3)), method=method)
        rates.append(len(t_squared(rng.normal(size=(40, 3)), base, false_alarm=0.02).signals) / 40)
    assert least < np.mean(rates) < 0.026


def test_part_is_what_leaving_a_measure_out_takes_off():
    x = np.array([[1.5, -1.0, 0.4]])
    got = t_squared(x, KNOWN)
    for j in range(3):
        gap = x.copy()
        gap[0, j] = np.nan
        assert got.part[0, j] == pytest.approx(got.t_squared[0] - t_squared(gap, KNOWN).t_squared[0])


def test_batches_with_gaps():
    got = t_squared([[np.nan, 9.0, 0.0], [np.nan, np.nan, 9.0], [np.nan] * 3], KNOWN)
    assert got.signals == (0,)
    assert got.limit[0] < t_squared([[0.0, 0.0, 0.0]], KNOWN).limit[0]
    assert np.isnan(got.t_squared[1:]).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: estimate_joint_baseline(np.zeros((20, 2))), "does not vary"),
        (lambda: estimate_joint_baseline(np.zeros(20)), "table"),
        (lambda: estimate_joint_baseline(np.zeros((20, 2)), np.zeros((3, 2))), "alike"),
        (lambda: estimate_joint_baseline(np.eye(20)[:, :2], method="guess"), "must be sample"),
        (lambda: estimate_joint_baseline(np.eye(4)), "too few"),
        (lambda: t_squared(np.zeros((2, 2)), KNOWN), "knows 3 measures"),
        (lambda: t_squared(np.zeros((2, 3)), KNOWN, false_alarm=0.0), "between 0 and 1"),
    ],
)
def test_refusals(call, message):
    with pytest.raises(DesignError, match=message):
        call()
