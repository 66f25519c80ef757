"""Probabilities inside tolerance: mixtures, and the joint probability against an independent integrator."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import multivariate_normal, norm

from evenhand.errors import DesignError
from evenhand.verdict.tolerance import Levels, joint_within


def random_correlation(rng, d):
    root = rng.standard_normal((d, d + 2))
    covariance = root @ root.T
    scale = np.sqrt(np.diag(covariance))
    return covariance / np.outer(scale, scale)


@pytest.mark.parametrize("d", [1, 2, 5, 9, 16])
def test_joint_probability_agrees_with_scipy(d):
    """Reference: scipy.stats.multivariate_normal.cdf with lower limits (Genz's Fortran routine), 1e-4."""
    rng = np.random.default_rng(d)
    for _ in range(4):
        matrix = random_correlation(rng, d)
        low, high = rng.uniform(-3, -0.5, d), rng.uniform(0.3, 3, d)
        expected = multivariate_normal.cdf(
            high, cov=matrix, lower_limit=low, maxpts=400_000, abseps=1e-5, rng=np.random.default_rng(0)
        )
        got = joint_within(ndtr(low)[None], ndtr(high)[None], matrix[None])[0]
        assert got == pytest.approx(expected, abs=3e-3)


def test_independent_attributes_multiply():
    rng = np.random.default_rng(3)
    low, high = rng.uniform(0, 0.2, (7, 6)), rng.uniform(0.7, 1.0, (7, 6))
    got = joint_within(low, high, np.broadcast_to(np.eye(6), (7, 6, 6)))
    assert got == pytest.approx(np.prod(high - low, axis=1), abs=1e-9)


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_joint_is_within_frechet_bounds_and_does_not_mind_order(seed):
    rng = np.random.default_rng(seed)
    d = int(rng.integers(2, 7))
    matrix = random_correlation(rng, d)
    low, high = rng.uniform(0, 0.3, d), rng.uniform(0.5, 1.0, d)
    each = high - low
    got = joint_within(low[None], high[None], matrix[None])[0]
    assert max(0.0, each.sum() - d + 1) - 1e-6 <= got <= each.min() + 1e-6
    order = rng.permutation(d)
    other = joint_within(low[order][None], high[order][None], matrix[np.ix_(order, order)][None])[0]
    assert other == pytest.approx(got, abs=2e-3)


def test_perfectly_tied_attributes_count_once():
    ones = np.full((1, 3, 3), 1 - 1e-9)
    ones[0][np.diag_indices(3)] = 1
    got = joint_within(np.full((1, 3), 0.1), np.full((1, 3), 0.8), ones)
    assert got[0] == pytest.approx(0.7, abs=3e-3)


def test_no_attribute_is_always_within():
    assert joint_within(np.zeros((2, 0)), np.zeros((2, 0)), np.zeros((2, 0, 0))).tolist() == [1.0, 1.0]


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(DesignError, match="shape"):
        joint_within(np.zeros((2, 3)), np.zeros((2, 3)), np.eye(3))
    with pytest.raises(DesignError, match="weights"):
        Levels(np.ones(2) / 2, np.zeros((3, 1)), np.ones((3, 1)))


def test_a_single_normal_has_the_textbook_quantiles():
    levels = Levels(np.ones(1), np.array([[2.0]]), np.array([[0.5]]))
    assert levels.quantile(0.95)[0] == pytest.approx(norm.ppf(0.95, 2, 0.5), abs=1e-8)
    assert levels.centre[0] == 2.0
    assert levels.spread[0] == 0.5


def test_a_mixture_agrees_with_simulation():
    rng = np.random.default_rng(7)
    weight = np.array([0.2, 0.5, 0.3])
    mean, sd = np.array([[0.0], [1.0], [1.5]]), np.array([[0.5], [0.2], [1.0]])
    levels = Levels(weight, mean, sd)
    pick = rng.choice(3, 400_000, p=weight)
    drawn = mean[pick, 0] + sd[pick, 0] * rng.standard_normal(400_000)
    assert levels.centre[0] == pytest.approx(drawn.mean(), abs=0.005)
    assert levels.spread[0] == pytest.approx(drawn.std(), abs=0.005)
    assert levels.quantile(0.05)[0] == pytest.approx(np.quantile(drawn, 0.05), abs=0.01)
    assert levels.below(1.2)[0] == pytest.approx((drawn < 1.2).mean(), abs=0.003)
