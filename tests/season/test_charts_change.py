"""Change points: how sure, where, and beside what."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from evenhand.errors import DesignError
from evenhand.season._charts_change import chance_of_largest
from evenhand.season.charts import find_change, stated_baseline, what_else_changed

BASE = stated_baseline(0.0, 1.0)


def step(n=30, at=15, size=2.0, seed=1):
    x = np.random.default_rng(seed).normal(size=n)
    x[at:] += size
    return x


class TestChance:
    @pytest.mark.parametrize("share", [0.02, 0.3, 0.5])
    def test_of_one_place_is_that_of_one_test(self, share):
        assert chance_of_largest(1.7, np.array([share])) == pytest.approx(2 * norm.sf(1.7), abs=1e-9)

    @pytest.mark.parametrize(("first", "second"), [(0.2, 0.5), (0.4, 0.45), (0.05, 0.95)])
    def test_of_two_places_is_that_of_two_normal_tests(self, first, second):
        r = np.sqrt(first * (1 - second) / (second * (1 - first)))
        joint = multivariate_normal(cov=[[1, r], [r, 1]])
        inside = joint.cdf([2, 2], lower_limit=[-2, -2])
        assert chance_of_largest(2.0, np.array([first, second])) == pytest.approx(1 - inside, abs=1e-5)

    @pytest.mark.parametrize("n", [10, 60, 300])
    def test_of_many_places_is_that_seen(self, n):
        x = np.random.default_rng(2).normal(size=(4000, n))
        k = np.arange(1, n)
        gathered = np.cumsum(x, axis=1)
        z = (gathered[:, :-1] - k / n * gathered[:, -1:]) / np.sqrt(k * (n - k) / n)
        for limit in (2.0, 2.8):
            seen = np.mean(np.abs(z).max(axis=1) > limit)
            assert chance_of_largest(limit, k / n) == pytest.approx(seen, abs=4 * np.sqrt(seen / 4000))


class TestFindChange:
    def test_z_is_that_of_two_means(self):
        x = step(at=12)
        got = find_change(x, BASE)
        before, after = x[: got.first], x[got.first :]
        assert got.shift == pytest.approx(after.mean() - before.mean())
        assert got.shift_sd == pytest.approx(np.sqrt(1 / before.size + 1 / after.size))

    def test_finds_steps_and_says_where_as_well_as_it_promises(self):
        covered, near = [], []
        for seed in range(200):
            got = find_change(step(seed=seed), BASE)
            covered.append(got.earliest <= 15 <= got.latest)
            near.append(abs(got.first - 15) <= 2)
        assert np.mean(covered) >= 0.88
        assert np.mean(near) > 0.8

    def test_is_seldom_wrong_about_steady_batches(self):
        p = np.array([find_change(step(size=0.0, seed=seed), BASE).p for seed in range(600)])
        assert np.mean(p < 0.05) == pytest.approx(0.05, abs=0.03)
        assert np.mean(p < 0.5) == pytest.approx(0.5, abs=0.08)

    def test_a_learned_spread_makes_it_less_sure(self):
        from dataclasses import replace

        x = step(size=1.5)
        assert find_change(x, replace(BASE, freedom=8.0)).p > 1.5 * find_change(x, BASE).p

    def test_poorly_known_batches_do_not_make_a_step(self):
        x, sd = step(size=0.0), np.zeros(30)
        x[20:] += 2.0
        sure = find_change(x, BASE, sd).p
        sd[20:] = 6.0
        assert sure < 0.01
        assert find_change(x, BASE, sd).p > 0.2

    @given(st.lists(st.integers(-300, 300), min_size=4, max_size=25), st.integers(1, 5))
    def test_places_are_a_probability_and_turn_with_time(self, numbers, scale):
        x = np.array(numbers) / 100.0
        one, other = find_change(x, BASE), find_change(x[::-1] * -1, BASE)
        assert one.place.sum() == pytest.approx(1.0)
        assert one.place[0] == 0.0
        assert other.place[1:] == pytest.approx(one.place[1:][::-1], abs=1e-9)
        assert other.p == pytest.approx(one.p, abs=1e-6)
        moved = find_change(7 + scale * x, stated_baseline(0.0, float(scale)))
        assert moved.p == pytest.approx(one.p, abs=1e-9)

    def test_needs_four_batches(self):
        with pytest.raises(DesignError, match="at least 4"):
            find_change([1.0, 2.0, np.nan, 3.0], BASE)


def test_a_step_may_lie_at_a_batch_that_was_not_measured():
    x = step(size=4.0)
    x[13:16] = np.nan
    got = find_change(x, BASE)
    assert (got.earliest, got.first, got.latest) == (13, 16, 16)
    assert got.place[13:17] == pytest.approx(got.place[13], abs=1e-12)
    assert got.place.sum() == pytest.approx(1.0)
    (found,) = what_else_changed(got, {"lot": ["a"] * 14 + ["b"] * 16})
    assert found.batch == 14


class TestCoincidence:
    def test_what_changed_near_is_named_and_what_changed_far_is_not(self):
        change = find_change(step(size=3.0), BASE)
        found = what_else_changed(
            change,
            {"lot": ["a"] * 15 + ["b"] * 15, "meter": ["x"] * 3 + ["y"] * 27, "roaster": ["p", "q"] * 15},
        )
        assert [(one.what, one.before, one.after, one.batch) for one in found] == [("lot", "a", "b", 15)]
        assert found[0].probability == pytest.approx(change.place[15])
        assert found[0].by_chance == pytest.approx(1 / 29)

    def test_an_unknown_state_spreads_the_blame(self):
        change = find_change(step(size=3.0), BASE)
        lot = ["a"] * 14 + [None] * 3 + ["b"] * 13
        (found,) = what_else_changed(change, {"lot": lot})
        assert found.probability == pytest.approx(change.place[14:18].sum())

    def test_each_batch_needs_a_label(self):
        with pytest.raises(DesignError, match="one a batch"):
            what_else_changed(find_change(step(), BASE), {"lot": ["a"]})
