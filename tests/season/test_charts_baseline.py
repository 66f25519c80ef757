"""Baselines: robust, fair to poorly known batches, and right in the plain case."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ndtr

from evenhand.errors import DesignError
from evenhand.panel import mixed
from evenhand.season.charts import estimate_baseline, own_evidence, stated_baseline

series = st.lists(st.integers(-400, 400), min_size=6, max_size=30).map(lambda xs: np.array(xs) / 100.0)


def test_plain_case_is_mean_and_mean_range():
    x = np.random.default_rng(1).normal(5, 2, 30)
    base = estimate_baseline(x, robust=False)
    assert base.centre == pytest.approx(x.mean())
    assert base.batch_sd == pytest.approx(np.mean(np.abs(np.diff(x))) / 1.1283791671)
    assert base.typical_sd == pytest.approx(base.batch_sd)


def test_robust_spread_is_right_for_sound_batches():
    x = np.random.default_rng(2).normal(0, 3, 20_000)
    base = estimate_baseline(x)
    assert base.batch_sd == pytest.approx(3.0, rel=0.03)
    assert base.centre == pytest.approx(0.0, abs=0.1)


def test_odd_batches_widen_robust_limits_far_less():
    rng = np.random.default_rng(3)
    ratio = []
    for _ in range(60):
        x = rng.normal(size=25)
        clean = estimate_baseline(x).batch_sd
        x[[5, 15]] += 20
        ratio.append([estimate_baseline(x).batch_sd / clean, estimate_baseline(x, robust=False).batch_sd / clean])
    robust, plain = np.mean(ratio, axis=0)
    assert robust < 1.6
    assert plain > 3.5


def test_a_step_does_not_widen_the_limits():
    x = np.random.default_rng(4).normal(size=200)
    x[100:] += 6
    assert estimate_baseline(x).batch_sd == pytest.approx(1.0, abs=0.2)
    assert np.std(x) > 3


def test_spread_between_batches_is_told_from_measurement():
    """Batches scatter by 1; three in four are measured with 1.5, one with 0.3."""
    rng = np.random.default_rng(5)
    sd = np.where(rng.random(20_000) < 0.75, 1.5, 0.3)
    x = rng.normal(size=sd.size) + sd * rng.normal(size=sd.size)
    base = estimate_baseline(x, sd)
    assert base.batch_sd == pytest.approx(1.0, rel=0.05)
    assert base.typical_sd == pytest.approx(np.mean(1 / (1 + sd**2)) ** -0.5, rel=0.05)


def test_freedom_is_that_of_the_scatter_of_the_estimate():
    """A chi estimate with f degrees of freedom has a relative variance of about 1 / (2 f)."""
    rng = np.random.default_rng(6)
    for robust in (True, False):
        found = [estimate_baseline(rng.normal(size=30), robust=robust).batch_sd for _ in range(500)]
        seen = np.mean(found) ** 2 / (2 * np.var(found))
        assert seen == pytest.approx(estimate_baseline(rng.normal(size=30), robust=robust).freedom, rel=0.2)


def test_false_alarms_are_about_as_many_as_said():
    rng = np.random.default_rng(7)
    seen, said = [], []
    for _ in range(400):
        base = estimate_baseline(rng.normal(size=20))
        low, high = base.centre - 3 * base.batch_sd, base.centre + 3 * base.batch_sd
        seen.append(ndtr(low) + ndtr(-high))
        said.append(base.false_alarm(3.0))
    assert np.mean(seen) == pytest.approx(np.mean(said), rel=0.3)
    assert np.mean(seen) > 3 * stated_baseline(0, 1).false_alarm(3.0)


@given(series, st.floats(-50, 50), st.floats(0.1, 20))
def test_moves_and_scales_with_the_unit(x, shift, scale):
    sd = 0.1 + 0.05 * np.arange(x.size)
    one, other = estimate_baseline(x, sd), estimate_baseline(shift + scale * x, scale * sd)
    assert other.centre == pytest.approx(shift + scale * one.centre, abs=1e-6 * scale + 1e-6 * abs(shift))
    assert other.batch_sd == pytest.approx(scale * one.batch_sd, rel=1e-6, abs=1e-6 * scale)


@given(series)
def test_time_may_run_backwards(x):
    sd = np.linspace(0.2, 0.6, x.size)
    one, other = estimate_baseline(x, sd), estimate_baseline(x[::-1], sd[::-1])
    assert one.centre == pytest.approx(other.centre, abs=1e-8)
    assert one.batch_sd == pytest.approx(other.batch_sd, abs=1e-8)


class TestOwnEvidence:
    @given(st.floats(-5, 5), st.floats(0.05, 2.0), st.floats(-5, 5), st.floats(0.3, 3.0))
    def test_undoes_bayes_rule(self, own, own_sd, usual, usual_sd):
        precision = own_sd**-2 + usual_sd**-2
        level = (own / own_sd**2 + usual / usual_sd**2) / precision
        got, got_sd = own_evidence(level, precision**-0.5, usual, usual_sd)
        assert got == pytest.approx(own, abs=1e-6)
        assert got_sd == pytest.approx(own_sd, rel=1e-6)

    def test_an_untasted_batch_has_none(self):
        got, sd = own_evidence([5.0], [0.7], [5.0], [0.7])
        assert np.isnan(got[0])
        assert np.isinf(sd[0])

    def test_gives_back_the_raw_mean_from_the_mixed_model(self):
        """With one taster and a coffee mean that is known, a batch's own cups say their mean, ± residual / sqrt(n)."""
        rng = np.random.default_rng(8)
        counts = [1, 2, 3, 4] * 5
        batch = np.repeat(np.arange(20), counts)
        score = 5 + rng.normal(0, 1, 20)[batch] + rng.normal(0, 0.5, batch.size)
        fit = mixed.fit(score, list(batch), ["t"] * batch.size, coffee_prior=(5.0, 1e-6), terms=["batch"])
        posterior = fit.posterior()
        levels = list(posterior.design.batches)
        usual, usual_sd = posterior.new_batch(posterior.design.coffees[0])
        own, own_sd = own_evidence(posterior.level, posterior.level_sd, usual, usual_sd)
        for i, b in enumerate(levels):
            rows = batch == b
            assert own[i] == pytest.approx(score[rows].mean(), abs=1e-3)
            assert own_sd[i] == pytest.approx(np.sqrt(fit.variances["residual"] / rows.sum()), rel=1e-3)

    def test_refuses_a_spread_of_nothing(self):
        with pytest.raises(DesignError, match="positive"):
            own_evidence(5.0, 0.0, 5.0, 1.0)


def test_refuses_a_stated_baseline_without_spread():
    with pytest.raises(DesignError, match="spread above 0"):
        stated_baseline(5.0, 0.0)
