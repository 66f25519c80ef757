"""Ageing: lines that borrow, storage in reference months, and the month of leaving tolerance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.panel.mixed import fit
from evenhand.season._ageing_cells import lines_of, ln_evidence_of
from evenhand.season._ageing_leaving import find_leaving
from evenhand.season._ageing_storage import effect_grid, reference_months
from evenhand.season.ageing import Spell, learn_ageing, tasted_levels


def shop(rng, lots=6, change=-0.12, change_spread=0.03, level_sd=0.25, scatter=0.15, ages=(3, 5, 7, 9, 11)):
    """An invented shop: lots tasted every second month."""
    y, lot, months = [], [], []
    for j in range(lots):
        level, slope = 7 + rng.normal(0, 0.5), change + rng.normal(0, change_spread)
        for age in ages:
            y.append(level + slope * age + rng.normal(0, np.hypot(scatter, level_sd)))
            lot.append(f"lot {j}")
            months.append(float(age))
    return np.array(y), np.full(len(y), level_sd), lot, np.array(months)


@pytest.fixture(scope="module")
def learned():
    return learn_ageing(*shop(np.random.default_rng(4)))


class TestModel:
    @pytest.mark.parametrize("seed", [1, 2, 3])
    def test_evidence_and_lines_agree_with_one_dense_normal(self, seed):
        """Oracle: all tastings as one multivariate normal, by plain numpy; sizes and errors all different."""
        rng = np.random.default_rng(seed)
        member = np.array([0, 0, 0, 1, 1, 2, 2, 2, 2])
        x, sd = rng.uniform(1, 14, 9), rng.uniform(0.1, 0.5, 9)
        y = rng.normal(0, 1, 9)
        spread, scatter, prior_sd = rng.uniform(0.05, 0.8, 2), 0.3, 0.2
        w = 1 / (sd**2 + scatter**2)
        is_of = (member[:, None] == np.arange(3)).astype(float)
        sums = [(v @ is_of)[None, None] for v in (w, w * x, w * x**2, w * y, w * y * x)]
        ours = ln_evidence_of(sums, np.array([[(w * y**2 - np.log(w)).sum()]]), spread, prior_sd)[0, 0]

        z = np.hstack([is_of, is_of * x[:, None]])
        lots_cov = z @ np.diag(np.repeat(spread**2, 3)) @ z.T + np.diag(1 / w)
        v = lots_cov + prior_sd**2 * np.outer(x, x)
        one = np.ones(9)
        inverse = np.linalg.inv(v)
        level = one @ inverse @ y / (one @ inverse @ one)
        rest = y - level
        dense = -0.5 * (
            np.linalg.slogdet(v)[1] + np.log(one @ inverse @ one) + rest @ inverse @ rest - 2 * np.log(prior_sd)
        )
        assert ours == pytest.approx(dense, abs=1e-8)

        # The dense posterior of (common level, common change, the lots' own parts), the level's prior flat.
        full = np.hstack([one[:, None], x[:, None], z])
        precision = np.diag([0, prior_sd**-2, *np.repeat(spread**-2.0, 3)]) + full.T @ (w[:, None] * full)
        cov = np.linalg.inv(precision)
        best = cov @ full.T @ (w * y)
        mean, line_cov, common_variance = lines_of([part[0] for part in sums], spread[None], prior_sd)
        for j in range(3):
            pick = np.zeros((2, 8))
            pick[0, [0, 2 + j]] = pick[1, [1, 5 + j]] = 1
            assert mean[0, j] == pytest.approx(pick @ best, abs=1e-8)
            assert line_cov[0, j] == pytest.approx(pick @ cov @ pick.T, abs=1e-8)
        assert mean[0, 3] == pytest.approx(best[:2], abs=1e-8)
        assert line_cov[0, 3] == pytest.approx(cov[:2, :2] + np.diag(spread**2), abs=1e-8)
        assert common_variance[0] == pytest.approx(cov[1, 1], abs=1e-8)

    def test_a_new_lot_borrows_and_is_less_sure(self, learned):
        old, new = learned.level([9.0], "lot 2")[0], learned.level([9.0])[0]
        assert new.sd > 2 * old.sd
        mean = np.mean([learned.level([9.0], name)[0].value for name in learned.lots])
        assert new.value == pytest.approx(mean, abs=0.05)
        assert learned.shows

    def test_a_lot_tasted_once_takes_its_change_from_the_others(self):
        y, sd, lot, months = shop(np.random.default_rng(5))
        with_new = learn_ageing([*y, 8.5], [*sd, 0.2], [*lot, "new"], [*months, 3.0])
        now, later = with_new.level([3.0, 11.0], "new")
        assert now.value > 7.2  # its own tasting is above the others' level
        assert (later.value - now.value) / 8 == pytest.approx(with_new.change.value, abs=0.02)
        assert later.sd > now.sd

    def test_intervals_hold_the_truth(self):
        """100 invented shops: the common change lies within 1.645 sd in about 90; 81 would be 3 sd low."""
        held = 0
        for seed in range(100):
            found = learn_ageing(*shop(np.random.default_rng(1000 + seed), lots=5)).change
            held += abs(found.value + 0.12) < 1.645 * found.sd
        assert 81 <= held <= 99

    def test_tastings_that_say_nothing_leave_the_priors(self):
        """Oracle: the priors' own means; that of a half-normal is its scale x sqrt(2 / pi)."""
        found = learn_ageing([6.0, 6.1], [500.0, 500.0], ["a", "a"], [1, 2])
        assert found.change.value == pytest.approx(0.0, abs=1e-3)
        assert found.change.sd == pytest.approx(0.15, rel=0.02)
        assert found.change_spread.value == pytest.approx(0.075 * np.sqrt(2 / np.pi), rel=0.05)
        assert found.change_spread.sd == pytest.approx(0.075 * np.sqrt(1 - 2 / np.pi), rel=0.06)
        cells, weight = effect_grid()
        for factor, expected in zip(found.storage_factors, weight @ np.exp(cells), strict=True):
            assert factor.value == pytest.approx(expected, rel=0.01)

    def test_cells_that_are_carried_on_stand_for_all(self, monkeypatch):
        """Against the same sums with every cell of any weight carried on."""
        data = shop(np.random.default_rng(8), lots=8, scatter=0.4, level_sd=0.1)
        few = learn_ageing(*data)
        monkeypatch.setattr("evenhand.season._ageing_cells._PARTS", 400_000)
        all_of_them = learn_ageing(*data)
        for one, other in ((few.change, all_of_them.change), (few.level([9.0])[0], all_of_them.level([9.0])[0])):
            assert one.value == pytest.approx(other.value, abs=0.01 * other.sd)
            assert one.sd == pytest.approx(other.sd, rel=0.01)
        assert few.scatter.value == pytest.approx(0.4, rel=0.2)  # the truth, known to about 0.05

    def test_without_a_change_it_says_so(self):
        found = learn_ageing(*shop(np.random.default_rng(6), change=0.0))
        assert not found.shows
        assert "do not show a change" in found.leaving(5, 9, 6, "lot 1").says

    def test_shops_own_lots_teach_what_warmth_does(self):
        """Two stores, 16 and 32 degrees; in the warm one the cup fades three times as fast."""
        rng = np.random.default_rng(7)
        y, sd, lot, months = shop(rng, lots=10, change=0.0, change_spread=0.005, level_sd=0.1, scatter=0.05)
        warm = np.array([int(name[4:]) % 2 for name in lot])
        y = y - np.where(warm, 0.24, 0.08) * months
        stores = {f"lot {j}": [Spell(temperature_c=32.0 if j % 2 else 16.0, water_activity=0.55)] for j in range(10)}
        found = learn_ageing(y, sd, lot, months, stores)
        # 3 = q^1.6, so q is 1.99 for 10 degrees; without the stores the prior alone would speak, and wider.
        assert found.storage_factors[0].value == pytest.approx(1.99, abs=0.35)
        assert found.storage_factors[0].sd < 0.4 < learn_ageing(y, sd, lot, months).storage_factors[0].sd

    @pytest.mark.parametrize(
        ("call", "error", "words"),
        [
            (lambda: learn_ageing([6, 7], [0.2, 0.2], ["a"], [1, 2]), DesignError, "same length"),
            (lambda: learn_ageing([6, 7], [0.2, 0.2], ["a", "b"], [1, 2]), DesignError, "two ages"),
            (lambda: learn_ageing([6, 7], [0.2, 0.0], ["a", "a"], [1, 2]), QuantityError, "above 0"),
            (lambda: learn_ageing([6, 7], [0.2, 0.2], ["a", "a"], [-1, 2]), QuantityError, "0 or more"),
            (lambda: learn_ageing([6, 7], [0.2, 0.2], ["a", "a"], [1, 2], change_prior_sd=0), QuantityError, "prior"),
            (lambda: Spell(temperature_c=200.0), QuantityError, "degrees"),
            (lambda: Spell(water_activity=55.0), QuantityError, "between 0 and 1"),
            (lambda: Spell(0.0), QuantityError, "more than 0 months"),
        ],
    )
    def test_what_cannot_be_is_refused(self, call, error, words):
        with pytest.raises(error, match=words):
            call()

    def test_an_unknown_lot_is_refused(self, learned):
        with pytest.raises(DesignError, match="None for a new one"):
            learned.level([3.0], "lot 77")


class TestTastedLevels:
    def test_balanced_tables_give_plain_means(self):
        """By hand: where every taster met every batch the same number of times, a batch's mean is its level."""
        rng = np.random.default_rng(3)
        batch, taster, pull = np.repeat(np.arange(8), 6), np.tile(np.arange(3), 16), np.tile([0, 0, 0, 1, 1, 1], 8)
        score = 6 + rng.normal(0, 0.3, 8)[batch] + np.array([-0.5, 0, 0.5])[taster] + rng.normal(0, 0.4, 48)
        fitted = fit(score, batch, taster, pull)
        batches, level, sd = tasted_levels(fitted)
        assert batches == tuple(range(8))
        assert level == pytest.approx(score.reshape(8, 6).mean(axis=1), abs=1e-5)
        assert np.all(sd > fitted.posterior().level_sd)  # nothing was borrowed from the other batches
        drawn = np.abs(fitted.posterior().level - score.mean())
        assert np.all(np.abs(level - score.mean()) > drawn)


class TestStorage:
    def test_by_hand(self):
        """At a factor of 2 for 10 degrees, 3 months at 30 degrees are 6 at 20, and the next 2 at 20 are 2."""
        effects = np.array([[np.log(2.0), 0.3, np.log(0.5)]])
        history = [Spell(3, 30.0, 0.55), Spell(temperature_c=20.0, water_activity=0.55)]
        assert reference_months(history, np.array([1.0, 3.0, 5.0]), effects)[0] == pytest.approx([2, 6, 8])
        damp = [Spell(temperature_c=20.0, water_activity=0.65, airtight=True)]
        assert reference_months(damp, np.array([4.0]), effects)[0, 0] == pytest.approx(4 * np.exp(0.3) * 0.5)

    def test_nothing_known_counts_plain_months(self):
        cells, weight = effect_grid()
        assert reference_months([], np.array([7.0]), cells) == pytest.approx(np.full((len(cells), 1), 7.0))
        assert weight.sum() == pytest.approx(1.0)
        assert np.exp(weight @ cells)[0] == pytest.approx(2.0)  # the middle of the prior: twice as fast in 10 degrees

    @given(
        st.lists(st.tuples(st.floats(0.1, 6), st.floats(5, 35), st.floats(0.3, 0.7)), min_size=1, max_size=4),
        st.lists(st.floats(0, 30), min_size=2, max_size=6),
    )
    def test_months_only_add_up(self, spells, months):
        cells, _ = effect_grid()
        history = [Spell(*one) for one in spells]
        counted = reference_months(history, np.sort(months), cells)
        assert np.all(np.diff(counted, axis=1) >= 0)
        # A spell told as two halves is the same spell.
        first = spells[0]
        halves = [Spell(first[0] / 2, *first[1:]), Spell(first[0] / 2, *first[1:]), *history[1:]]
        assert reference_months(halves, np.sort(months), cells) == pytest.approx(counted)

    def test_an_endless_spell_comes_last(self):
        with pytest.raises(DesignError, match="only be the last"):
            reference_months([Spell(), Spell(3)], np.array([1.0]), effect_grid()[0])


class TestLeaving:
    def one_cell(self, mean, cov, low, high, now=0.0, horizon=30.0):
        months = now + np.arange(0, horizon + 0.125, 0.25)
        args = (np.array([1.0]), np.array([mean]), np.array([cov]), months, months[None])
        return find_leaving(*args, low, high, "Acidity", leans=False, storage_known=True)

    def test_a_sure_line_leaves_where_it_crosses(self):
        """By hand: from 7, falling 0.1 a month, a lower limit of 6 is crossed in month 10."""
        found = self.one_cell([7.0, -0.1], [[1e-8, 0], [0, 1e-10]], 6.0, 8.0, now=2.0)
        assert found.likely_months == pytest.approx(10.0, abs=0.25)
        assert found.toward == "below"
        assert found.p_left_now == pytest.approx(0.0, abs=1e-9)
        assert "month 10" in found.says
        assert "not an expiry" in found.says

    def test_a_rising_fault_leaves_above(self):
        found = self.one_cell([1.0, 0.2], [[0.01, 0], [0, 0.001]], 0.0, 3.0)
        assert found.toward == "above"
        assert "above its tolerance" in found.says

    @pytest.mark.parametrize("sign", [1, -1])
    def test_chance_agrees_with_draws(self, sign):
        """Oracle: lines drawn by numpy and walked month by month; 200 000 draws are good to 0.002.

        Some start outside and walk in, falling (sign 1) or rising (sign -1): they count as having left.
        """
        mean, cov = sign * np.array([7.2, -0.08]), np.array([[0.16, -0.012], [-0.012, 0.0025]])
        low, high = sorted((sign * 5.8, sign * 7.2))
        found = self.one_cell(mean, cov, low, high, now=4.0)
        lines = np.random.default_rng(1).multivariate_normal(mean, cov, 200_000)
        out = np.zeros(len(lines), dtype=bool)
        for month in np.arange(4.0, 20.25, 0.25):
            level = lines[:, 0] + lines[:, 1] * month
            out |= (level < low) | (level > high)
            if month in (4.0, 8.0, 12.0, 20.0):
                assert found.chance_by(month) == pytest.approx(out.mean(), abs=0.005)

    @settings(max_examples=40, deadline=None)
    @given(st.floats(5, 7), st.floats(-0.3, 0.3), st.floats(0.05, 0.6), st.floats(0.005, 0.1), st.floats(-0.9, 0.9))
    def test_the_chance_never_falls_and_months_are_in_order(self, level, change, level_sd, change_sd, tie):
        covariance = tie * level_sd * change_sd
        found = self.one_cell([level, change], [[level_sd**2, covariance], [covariance, change_sd**2]], 5.5, 6.5)
        assert np.all(np.diff(found.p_left) >= 0)
        assert 0 <= found.p_left[0] <= found.p_left[-1] <= 1
        known = [m for m in (found.early_months, found.likely_months, found.late_months) if m is not None]
        assert known == sorted(known)

    def test_a_lot_with_a_wide_tolerance_stays(self, learned):
        found = learned.leaving(0.0, 20.0, 6.0, "lot 1", attribute="Body")
        assert found.likely_months is None
        assert found.says.startswith("Body is likely to stay within tolerance up to month 30")

    def test_a_lot_that_is_out_is_to_be_tasted_now(self, learned):
        found = learned.leaving(8.5, 9.5, 9.0, "lot 1", attribute="Acidity")
        assert found.says.startswith("Acidity is likely below its tolerance already")
        assert "Taste it now" in found.says

    def test_better_storage_keeps_longer(self, learned):
        warm = learned.leaving(5.0, 8.0, 3.0, None, [Spell(temperature_c=30.0, water_activity=0.6)])
        cool = learned.leaving(5.0, 8.0, 3.0, None, [Spell(temperature_c=12.0, water_activity=0.5, airtight=True)])
        assert cool.chance_by(15) < warm.chance_by(15)
        assert "not recorded" not in warm.says
        assert "not recorded" in learned.leaving(5.0, 8.0, 3.0).says

    @pytest.mark.parametrize(
        ("arguments", "error"),
        [
            ({"low": 8, "high": 5}, DesignError),
            ({"low": 5, "high": 8, "horizon_months": 0}, QuantityError),
            ({"low": 5, "high": 8, "now_months": -1}, QuantityError),
        ],
    )
    def test_what_cannot_be_is_refused(self, learned, arguments, error):
        with pytest.raises(error):
            learned.leaving(**{"now_months": 3.0, **arguments})

    @pytest.mark.parametrize("mean", [[7.0, -0.1], [7.0, 0.1], [7.0, 0.0], [5.0, 0.0], [9.0, 0.0], [6.1, -0.05]])
    @pytest.mark.parametrize("known", [True, False])
    def test_every_sentence_can_be_told_in_another_language(self, untold, mean, known):
        months = np.arange(0, 30.25, 0.25)
        args = (np.array([1.0]), np.array([mean]), np.array([[[0.01, 0], [0, 1e-3]]]), months, months[None])
        found = find_leaving(*args, 6.0, 8.0, "ZZ", leans=not known, storage_known=known)
        assert untold(found.says) == {"ZZ"}

    def test_a_refusal_can_be_told_in_another_language(self, untold, learned):
        with pytest.raises(DesignError) as refused:
            learned.leaving(5.0, 8.0, 3.0, "QQ")
        assert untold(refused.value.args[0]) == {"QQ"}
