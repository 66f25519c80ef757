"""Likeness by profile: distance in tolerances, not fooled by noise, with an interval that holds."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.mixed import fit_many
from evenhand.season.likeness import lot_difference, profile_distance
from evenhand.words import say


def rng():
    return np.random.default_rng(11)


def names(k):
    return [f"attribute {i}" for i in range(k)]


def test_without_error_it_is_the_plain_distance():
    """By hand: differences of 3 and 4 halves of a tolerance of 0.5 give sqrt((9 + 16) / 2) = 3.536 tolerances."""
    found = profile_distance(["a", "b"], [1.5, 2.0], [0.0, 0.0], [0.5, 0.5], rng())
    assert found.distance == pytest.approx(3.5355, abs=1e-3)
    assert found.upper - found.lower < 1e-3
    assert found.p_all_within == 0.0
    assert found.attributes[0].attribute == "b"
    assert "differ by more than 1 tolerance" in found.says


def test_one_attribute_agrees_with_a_grid():
    """Oracle: posterior of one difference by brute force over its value and the common, half-normal scale."""
    tasted, sd, tol = 0.8, 0.5, 0.7
    found = profile_distance(["a"], [tasted], [sd], [tol], rng())
    scale = np.linspace(0.02, 4, 1500)[:, None]  # the scales that the model's own grid spans
    true = np.linspace(-6, 6, 4801)[None, :]
    density = np.exp(-0.5 * ((tasted / tol - true) / (sd / tol)) ** 2 - 0.5 * (true / scale) ** 2 - 0.5 * scale**2)
    weight = (density / scale).sum(axis=0)
    weight /= weight.sum()
    one = found.attributes[0]
    mean = float(weight @ true[0])
    assert one.believed.value == pytest.approx(mean * tol, abs=0.01)
    assert one.believed.sd == pytest.approx(float(np.sqrt(weight @ (true[0] - mean) ** 2)) * tol, abs=0.01)
    assert one.p_within == pytest.approx(float(weight[np.abs(true[0]) <= 1].sum()), abs=0.01)
    assert found.p_all_within == pytest.approx(one.p_within, abs=0.02)


def test_noise_is_not_taken_for_distance():
    """The same coffee, twelve attributes with an error of one tolerance each: the plain distance would be near 1."""
    noise = np.random.default_rng(5)
    plain, ours = [], []
    for _ in range(40):
        tasted = noise.normal(0, 1, 12)
        plain.append(np.sqrt(np.mean(tasted**2)))
        ours.append(profile_distance(names(12), tasted, np.ones(12), np.ones(12), noise, draws=500).distance)
    assert np.mean(plain) > 0.9
    assert np.mean(ours) < 0.5


def test_intervals_hold_the_truth():
    """200 pairs of lots drawn from the model: the 90 % interval holds the distance in about 180; 167 is 3 sd low."""
    noise = np.random.default_rng(6)
    held = alike = 0
    for _ in range(200):
        scale = abs(noise.normal(0, 1))
        true = noise.normal(0, scale, 6)
        sd = noise.uniform(0.1, 0.8, 6)
        found = profile_distance(names(6), true + noise.normal(0, sd), sd, np.ones(6), noise, draws=1000)
        held += found.lower <= np.sqrt(np.mean(true**2)) <= found.upper
        alike += found.p_all_within - bool(np.all(np.abs(true) <= 1))
    assert 167 <= held <= 193
    assert abs(alike) < 3 * 0.35 * np.sqrt(200)  # the chances given add up to what came true


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(-3, 3), st.floats(0.05, 1), st.floats(0.3, 2)), min_size=1, max_size=6))
def test_units_and_sign_do_not_matter(rows):
    d, sd, tol = (np.array(x) for x in zip(*rows, strict=True))
    plain = profile_distance(names(d.size), d, sd, tol, rng(), draws=400)
    scaled = profile_distance(names(d.size), 10 * d, 10 * sd, 10 * tol, rng(), draws=400)
    assert scaled.distance == pytest.approx(plain.distance, rel=1e-6)
    assert scaled.p_all_within == plain.p_all_within
    flipped = profile_distance(names(d.size), -d, sd, tol, rng(), draws=20_000)
    assert flipped.distance == pytest.approx(
        profile_distance(names(d.size), d, sd, tol, rng(), draws=20_000).distance, abs=0.03
    )
    assert 0 <= plain.lower <= plain.distance <= plain.upper


def test_errors_that_go_together():
    """Oracle: the same model with full matrices, scale by scale on a fine grid, for errors that are tied."""
    d, tol = np.array([0.8, -0.3, 0.4]), np.array([0.7, 1.0, 0.5])
    sd = np.array([0.4, 0.3, 0.5])
    cov = np.outer(sd, sd) * (0.6 + 0.4 * np.eye(3))
    found = {one.attribute: one for one in profile_distance(["a", "b", "c"], d, cov, tol, rng()).attributes}
    error, y = cov / np.outer(tol, tol), d / tol
    weight, means, variances = [], [], []
    for scale in np.linspace(0.02, 4, 800):
        total = error + scale**2 * np.eye(3)
        solved = np.linalg.solve(total, y)
        weight.append(np.exp(-0.5 * (y @ solved + np.linalg.slogdet(total)[1] + scale**2)))
        means.append(scale**2 * solved)
        variances.append(np.diag(scale**2 * np.eye(3) - scale**4 * np.linalg.inv(total)))
    share = np.array(weight) / np.sum(weight)
    mean = share @ np.array(means)
    spread = np.sqrt(share @ (np.array(variances) + (np.array(means) - mean) ** 2))
    for i, name in enumerate("abc"):
        assert found[name].believed.value == pytest.approx(mean[i] * tol[i], abs=0.01)
        assert found[name].believed.sd == pytest.approx(spread[i] * tol[i], abs=0.01)
    untied = profile_distance(["a", "b", "c"], d, sd, tol, rng()).attributes
    assert {one.attribute: one for one in untied}["b"].believed.value != pytest.approx(mean[1], abs=0.05)


def test_what_is_open_is_said():
    found = profile_distance(["a", "b"], [0.9, 0.1], [0.5, 0.5], [0.7, 0.7], rng(), names=("Lot 26", "lot 25"))
    assert found.says.startswith("Lot 26 lies")
    assert "neither that they are alike within 1 tolerance nor that they are farther apart" in found.says
    close = profile_distance(["a", "b"], [0.05, 0.1], [0.1, 0.1], [0.7, 0.7], rng())
    assert "alike within 1 tolerance" in close.says
    assert "in the attributes that were scored" in close.says
    assert close.p_below_limit > 0.95


def test_lots_out_of_a_mixed_model():
    """By hand: on balanced tables the lots differ by the difference of their mean scores."""
    noise = np.random.default_rng(3)
    batch = np.repeat(np.arange(10), 6)
    lot = np.where(batch < 5, "2025", "2026")
    taster = np.tile(np.arange(3), 20)
    pull = np.tile([0, 0, 0, 1, 1, 1], 10)
    base = 6 + noise.normal(0, 0.3, 10)[batch] + np.array([-0.5, 0, 0.5])[taster]
    scores = np.column_stack([base + noise.normal(0, 0.4, 60), base + (lot == "2026") + noise.normal(0, 0.4, 60)])
    fits = fit_many(scores, batch, taster, pull, coffee=lot)
    difference, sd = lot_difference(fits, "2026", "2025")
    plain = scores[lot == "2026"].mean(axis=0) - scores[lot == "2025"].mean(axis=0)
    assert difference == pytest.approx(plain, abs=1e-6)
    assert lot_difference(fits, "2025", "2026")[0] == pytest.approx(-plain, abs=1e-6)
    # Welch's standard error of ten batch means, from numpy alone, is near: the panel's errors cancel.
    means = scores.reshape(10, 6, 2).mean(axis=1)
    welch = np.sqrt(means[:5].var(axis=0, ddof=1) / 5 + means[5:].var(axis=0, ddof=1) / 5)
    assert sd == pytest.approx(welch, rel=0.05)
    with pytest.raises(DesignError, match="2024"):
        lot_difference(fits, "2026", "2024")


@pytest.mark.parametrize(
    ("arguments", "error", "words"),
    [
        ((["a"], [1.0, 2.0], [1.0, 1.0], [1.0, 1.0]), DesignError, "one length"),
        ((["a", "b"], [1.0, 2.0], [1.0], [1.0, 1.0]), DesignError, "covariance"),
        ((["a"], [1.0], [-1.0], [1.0]), QuantityError, "0 or more"),
        ((["a"], [1.0], [1.0], [0.0]), QuantityError, "above 0"),
        ((["a", "b"], [1.0, 2.0], [[1.0, 2.0], [2.0, 1.0]], [1.0, 1.0]), QuantityError, "negative variance"),
    ],
)
def test_what_cannot_be_is_refused(arguments, error, words):
    with pytest.raises(error, match=words):
        profile_distance(*arguments, rng())


@pytest.mark.parametrize("away", [0.0, 0.9, 4.0])
@pytest.mark.parametrize("limit", [1.0, 2.5])
def test_every_sentence_can_be_told_in_another_language(untold, away, limit):
    attributes = [say("{attribute}, milk", attribute="ZZ")]
    found = profile_distance(attributes, [away], [0.1], [1.0], rng(), limit=limit)
    assert found.attributes[0].attribute == "ZZ, milk"
    assert untold(found.says) == {"ZZ"}
