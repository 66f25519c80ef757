"""The classes of a pattern, and the two ways through the blocks against each other and against dense matrices."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.panel._blocks import Blocks
from evenhand.panel._blocks_pattern import classes_of, sharing
from evenhand.panel._mixed_design import Group, arrange, code

PAIRS = list(itertools.combinations_with_replacement(range(4), 2))


def crossing(tasters, pulls):
    place = np.repeat(np.arange(tasters), pulls)[None]
    pull = np.tile(np.arange(pulls), tasters)[None]
    return sharing(place, pull)[0]


def test_full_crossing_has_the_four_classes_of_a_two_way_table():
    """Same row; same taster, other pull; other taster, same pull; both other (common practice, no source)."""
    classes = classes_of(crossing(4, 2))
    assert classes.max() + 1 == 4
    assert [int((classes == classes[0, b]).sum()) for b in (0, 1, 2, 3)] == [8, 8, 24, 24]


def test_one_taster_a_pull_has_three_classes():
    place = np.array([[0, 0, 1, 1, 2, 2]])
    classes = classes_of(sharing(place, np.full((1, 6), -1))[0])
    assert classes.max() + 1 == 3


def test_too_many_classes_are_given_up():
    place, pull = np.array([[0, 0, 0, 1, 1, 2]]), np.array([[0, 1, 2, 0, 1, 0]])
    assert classes_of(sharing(place, pull)[0]) is not None
    assert classes_of(sharing(place, pull)[0], most=5) is None


@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 2)), min_size=1, max_size=9), st.integers(0, 1000))
def test_every_matrix_of_the_algebra_is_constant_on_the_classes(rows, seed):
    place, pull = np.array(rows).T[:, None, :]
    share = sharing(place, pull)[0]
    classes = classes_of(share)
    assert classes is not None
    rng = np.random.default_rng(seed)
    n = len(rows)
    parts = [np.ones((n, n)), share[0], share[1], np.eye(n)]
    inverse = np.linalg.inv(sum(s * a for s, a in zip(rng.uniform(0.1, 2, 4), parts, strict=True)))
    for j, k in PAIRS:
        matrix = inverse @ parts[j] @ inverse @ parts[k] @ inverse
        matrix = matrix + matrix.T
        for c in range(classes.max() + 1):
            assert np.ptp(matrix[classes == c]) < 1e-8 * max(1.0, np.abs(matrix).max())


def design(seed, missing):
    rng = np.random.default_rng(seed)
    rows = [
        (b, t, p, b % 3)
        for b in range(40)
        for t in rng.choice(5, 3, replace=False)
        for p in range(2)
        if rng.random() >= missing
    ]
    labels = np.array(rows)
    n = len(rows)
    covariates = rng.normal(size=(n, 2))
    coded = code(n, *labels.T)
    return arrange(coded, np.arange(n), covariates, np.arange(2), ("a", "b")), rng.normal(size=n)


@pytest.mark.parametrize("missing", [0.0, 0.05, 0.3])
def test_patterns_and_loose_batches_give_the_same_sums(missing):
    made, score = design(1, missing)
    blocks = Blocks(made)
    assert blocks.stacks
    apart = Blocks(made)
    # the same rows with every batch taken as loose
    apart.loose = tuple(Group(g.start, g.batches, g.rows, 3, False) if not missing else g for g in made.groups)
    apart.stacks, apart.classes = (), 0
    variances = np.array([0.5, 0.2, 0.1, 0.4])
    one = blocks.contract(variances, blocks.moments(score[:, None]).augmented(0), score, slopes=True)
    two = apart.contract(variances, apart.moments(score[:, None]).augmented(0), score, slopes=True)
    assert one.log_det == pytest.approx(two.log_det)
    for name in ("gram", "trace", "trace2", "first", "second"):
        np.testing.assert_allclose(getattr(one, name), getattr(two, name), rtol=1e-9, atol=1e-8)
    columns = np.column_stack([score, np.ones(made.n)])
    np.testing.assert_allclose(blocks.solve(variances, columns), apart.solve(variances, columns), atol=1e-10)


@pytest.mark.parametrize("missing", [0.0, 0.3])
def test_sums_match_dense_matrices(missing):
    made, score = design(2, missing)
    blocks = Blocks(made)
    variances = np.array([0.5, 0.2, 0.1, 0.4])
    sums = blocks.contract(variances, blocks.moments(score[:, None]).augmented(0), score, slopes=True)

    def same(codes):
        return (codes[:, None] == codes).astype(float)

    parts = [same(made.batch), same(made.cell), same(made.pull), np.eye(made.n)]
    v = sum(s * a for s, a in zip(variances, parts, strict=True))
    w = np.column_stack([made.border(slice(0, made.n)), score])
    inverse = np.linalg.inv(v)
    assert sums.log_det == pytest.approx(np.linalg.slogdet(v)[1])
    np.testing.assert_allclose(sums.gram, w.T @ inverse @ w, atol=1e-8)
    for j in range(4):
        assert sums.trace[j] == pytest.approx(np.trace(inverse @ parts[j]))
        np.testing.assert_allclose(sums.first[j], w.T @ inverse @ parts[j] @ inverse @ w, atol=1e-7)
    for j, k in PAIRS:
        whole = w.T @ inverse @ parts[j] @ inverse @ parts[k] @ inverse @ w
        np.testing.assert_allclose(sums.second[j, k], 0.5 * (whole + whole.T), atol=1e-6)
        assert sums.trace2[j, k] == pytest.approx(np.trace(inverse @ parts[j] @ inverse @ parts[k]))


def test_rows_are_sorted_so_that_a_group_is_a_slice():
    made, _ = design(3, 0.2)
    assert sorted(made.order.tolist()) == list(range(made.n))
    for group in made.groups:
        batches = made.batch[group.start : group.stop].reshape(group.batches, group.rows)
        assert (batches == batches[:, :1]).all()
        if group.patterned:
            place = made.place[group.start : group.stop].reshape(batches.shape)
            assert (place == place[0]).all()
    assert made.groups[-1].stop == made.n
