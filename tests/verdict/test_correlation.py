"""Correlations between attributes: recovered from simulated panels, sane where there is little data."""

import numpy as np
import pytest

from evenhand.verdict.correlation import Correlations, estimate, of_errors


def simulate(rng, batches, tasters, signal, noise, noise_sd=0.5):
    d = len(signal)
    root_s, root_n = np.linalg.cholesky(signal), np.linalg.cholesky(noise)
    level = rng.standard_normal((batches, d)) @ root_s.T
    batch = np.repeat(np.arange(batches), tasters)
    adjusted = level[batch] + noise_sd * rng.standard_normal((len(batch), d)) @ root_n.T
    return adjusted, batch


def test_both_parts_are_recovered():
    rng = np.random.default_rng(2)
    signal = np.array([[1.0, 0.6, 0.0], [0.6, 1.0, -0.5], [0.0, -0.5, 1.0]])
    noise = np.array([[1.0, -0.4, 0.3], [-0.4, 1.0, 0.0], [0.3, 0.0, 1.0]])
    adjusted, batch = simulate(rng, 3000, 4, signal, noise)
    found = estimate(adjusted, batch, np.arange(3000) % 20)
    assert found.noise == pytest.approx(noise, abs=0.04)
    assert found.signal == pytest.approx(signal, abs=0.07)


@pytest.mark.parametrize("batches", [1, 2, 5])
def test_little_data_gives_positive_definite_matrices_near_none(batches):
    rng = np.random.default_rng(0)
    adjusted, batch = simulate(rng, batches, 2, np.eye(6), np.eye(6))
    adjusted[rng.random(adjusted.shape) < 0.3] = np.nan
    found = estimate(adjusted, batch, np.zeros(batches, dtype=int))
    for matrix in (found.signal, found.noise):
        assert np.linalg.eigvalsh(matrix).min() > 0
        assert np.diag(matrix) == pytest.approx(np.ones(6))
        assert np.abs(matrix - np.eye(6)).max() < 0.8


def test_no_scores_at_all_is_no_correlation():
    found = estimate(np.full((4, 3), np.nan), np.array([0, 0, 1, 1]), np.zeros(2, dtype=int))
    assert found.signal == pytest.approx(np.eye(3))
    assert found.noise == pytest.approx(np.eye(3))


def test_errors_take_the_correlation_of_their_larger_part():
    tied = np.array([[1.0, 0.9], [0.9, 1.0]])
    parts = Correlations(signal=tied, noise=np.array([[1.0, -0.9], [-0.9, 1.0]]))
    one, none = np.ones((1, 2)), np.zeros((1, 2))
    assert of_errors(parts, one, none, none)[0] == pytest.approx(tied)
    assert of_errors(parts, none, one, none)[0, 0, 1] == pytest.approx(-0.9)
    assert of_errors(parts, one, one, none)[0, 0, 1] == pytest.approx(0.0)
