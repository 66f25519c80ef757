"""The talk with the roaster: loss by dry mass, fellows, associations, and words that claim no more than they may."""

import ast
import inspect
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.errors import DesignError, QuantityError
from evenhand.season import _roaster_words
from evenhand.season.roaster import (
    FaultChance,
    OffTarget,
    associate,
    colour_measure,
    dry_loss_measure,
    dry_loss_pct,
    roast_time_measure,
    set_against_fellows,
    tell_roaster,
)
from evenhand.words import walk_patterns


class TestDryLoss:
    @pytest.mark.parametrize(("green_moisture", "loss"), [(12.5, 4.8), (9.0, 8.5)])
    def test_one_total_loss_is_many_dry_losses(self, green_moisture, loss):
        """By hand: 15 % total, 2 % left: 1 - 0.85 x 0.98 / 0.875 = 4.80 %, 1 - 0.85 x 0.98 / 0.91 = 8.46 %."""
        assert dry_loss_pct(12.0, 10.2, green_moisture, 2.0).value == pytest.approx(loss, abs=0.05)

    def test_uncertainty_is_that_of_draws(self):
        rng = np.random.default_rng(1)
        n = 400_000
        kg_in, kg_out = 12 + 0.01 * rng.normal(size=n), 10.2 + 0.01 * rng.normal(size=n)
        green, roasted = 0.11 + 0.003 * rng.normal(size=n), 0.02 + 0.002 * rng.normal(size=n)
        draws = 100 * (1 - kg_out * (1 - roasted) / (kg_in * (1 - green)))
        got = dry_loss_pct(12.0, 10.2, 11.0, 2.0, roasted_moisture_sd_pct=0.2)
        assert got.value == pytest.approx(draws.mean(), abs=0.005)
        assert got.sd == pytest.approx(draws.std(), rel=0.01)

    def test_dry_green_and_dry_roast_lose_what_the_scale_says(self):
        assert dry_loss_pct(10.0, 8.5, 0.0, 0.0).value == pytest.approx(15.0)

    def test_moisture_that_nobody_measured_is_uncertainty(self):
        known = dry_loss_pct(12.0, 10.2, 10.25, 2.0)
        unknown = dry_loss_pct(12.0, 10.2, None, 2.0)
        assert unknown.value == pytest.approx(known.value)
        assert unknown.sd > 3 * known.sd
        assert dry_loss_pct(12.0, 10.2, 10.25, None).sd > known.sd

    @given(st.floats(8, 12.5), st.floats(0, 4), st.floats(0.78, 0.95))
    def test_water_added_to_the_green_and_driven_off_again_is_no_loss(self, moisture, roasted, share):
        dry_kg = 12.0 * (1 - moisture / 100)
        wetter_kg = dry_kg / (1 - (moisture + 2) / 100)
        one = dry_loss_pct(12.0, 12.0 * share, moisture, roasted)
        other = dry_loss_pct(wetter_kg, 12.0 * share, moisture + 2, roasted)
        assert other.value == pytest.approx(one.value)

    @pytest.mark.parametrize(
        ("row", "message"),
        [
            ((0.0, 10.0, 10.0, 2.0), "more than 0 kg"),
            ((10.0, -1.0, 10.0, 2.0), "more than 0 kg"),
            ((10.0, 12.0, 10.0, 2.0), "exchanged"),
            ((12.0, 10.0, 100.0, 2.0), "Green moisture"),
            ((12.0, 10.0, 10.0, -1.0), "Roasted moisture"),
        ],
    )
    def test_refuses_what_cannot_be(self, row, message):
        with pytest.raises(QuantityError, match=message):
            dry_loss_pct(*row)


def season(n=24, seed=1, link=0.0, extra=0.9):
    """An invented season of three coffees; every sixth batch is ashy, and lost more."""
    rng = np.random.default_rng(seed)
    ashy = np.arange(n) % 6 == 2
    loss = 6 + rng.normal(0, 0.25, n) + extra * ashy
    off = link * (loss - 6) + rng.normal(0, 0.3, n)
    return [f"B{i:02d}" for i in range(n)], ["A", "B", "C"] * (n // 3), ashy.astype(float), loss, off


class TestFellows:
    def test_difference_and_its_chance(self):
        x = np.array([1.0, 1.2, 0.8, 1.1, 0.9, 1.0, 4.0])
        got = set_against_fellows(dry_loss_measure(x, 0.1), ["A"] * 7)
        last = got[-1]
        assert last.batch == 6
        assert last.fellows == 6
        assert last.difference.value == pytest.approx(3.0, abs=0.05)
        assert last.p < 0.01 < min(one.p for one in got[:-1])

    def test_coffees_are_no_fellows(self):
        x = np.array([1.0, 1.1, 0.9, 1.0, 1.05, 8.0, 8.1, 7.9, 8.0, 8.05])
        got = set_against_fellows(dry_loss_measure(x, 0.1), ["A"] * 5 + ["B"] * 5)
        assert len(got) == 10
        assert all(abs(one.difference.value) < 0.3 for one in got)

    def test_few_fellows_or_still_ones_say_nothing(self):
        assert set_against_fellows(dry_loss_measure([1.0, 2.0, 3.0, 9.0], 0.1), ["A"] * 4) == ()
        assert set_against_fellows(roast_time_measure([600.0] * 6, 0.0), ["A"] * 6) == ()

    def test_sound_batches_seldom_stand_out(self):
        rng = np.random.default_rng(3)
        p = [
            one.p
            for _ in range(120)
            for one in set_against_fellows(dry_loss_measure(rng.normal(size=12), 0.2), ["A"] * 12)
        ]
        assert 0.01 < np.mean(np.array(p) < 0.05) < 0.06


class TestAssociate:
    def test_plain_case_is_least_squares(self):
        """Equal and exact scores: the slope and its uncertainty are those of scipy's regression."""
        from scipy.stats import linregress

        rng = np.random.default_rng(4)
        x = rng.normal(6, 0.5, 20)
        y = 0.8 * x + rng.normal(0, 0.4, 20)
        (got,) = associate(
            [dry_loss_measure(x, 0.0)], [OffTarget(name="body", off=y, sd=0.0, tolerance=1.0)], ["A"] * 20
        )
        line = linregress(x, y)
        assert got.effect.value == pytest.approx(line.slope * x.std(ddof=1))
        assert got.effect.sd == pytest.approx(line.stderr * x.std(ddof=1), rel=1e-6)
        assert got.p == pytest.approx(line.pvalue, rel=1e-5)
        assert got.reliability == 1.0

    def test_a_fault_is_a_comparison_of_two_groups(self):
        from scipy.stats import ttest_ind

        _, _, ashy, loss, _ = season()
        (got,) = associate([dry_loss_measure(loss, 0.0)], [FaultChance(name="ashy", probability=ashy)], ["A"] * 24)
        test = ttest_ind(loss[ashy == 1], loss[ashy == 0])
        assert got.kind == "fault"
        assert got.effect.value == pytest.approx(loss[ashy == 1].mean() - loss[ashy == 0].mean())
        assert got.p == pytest.approx(test.pvalue, rel=1e-5)

    def test_differences_between_coffees_do_not_count(self):
        rng = np.random.default_rng(5)
        coffee = ["A"] * 10 + ["B"] * 10
        level = np.repeat([0.0, 10.0], 10)
        x, y = level + rng.normal(size=20), level + rng.normal(size=20)
        (got,) = associate([dry_loss_measure(x, 0.0)], [OffTarget(name="a", off=y, sd=0.1, tolerance=1)], coffee)
        assert np.corrcoef(x, y)[0, 1] > 0.9
        assert got.p > 0.05

    def test_intervals_hold_and_chance_is_told_right(self):
        rng = np.random.default_rng(6)
        held, p = [], []
        for _ in range(500):
            sd = rng.choice([0.2, 0.9], 24)
            x = rng.normal(0, 0.5, 24)
            noise = rng.normal(0, 0.4, 24) + sd * rng.normal(size=24)
            outcomes = [
                OffTarget(name=name, off=slope * x + noise, sd=sd, tolerance=1.0)
                for name, slope in (("linked", 0.8), ("free", 0.0))
            ]
            found = {one.outcome: one for one in associate([dry_loss_measure(x, 0.0)], outcomes, ["A", "B", "C"] * 8)}
            held.append(found["linked"].lower90 <= 0.8 * found["linked"].step <= found["linked"].upper90)
            p.append(found["free"].p)
        assert 0.85 < np.mean(held) < 0.94
        assert 0.02 < np.mean(np.array(p) < 0.05) < 0.09

    def test_family_is_holm(self):
        rng = np.random.default_rng(7)
        x = rng.normal(size=(3, 20))
        outcomes = [OffTarget(name="a", off=x[0] + rng.normal(size=20), sd=0.1, tolerance=1.0)]
        measures = [replace(dry_loss_measure(row, 0.0), name=str(i)) for i, row in enumerate(x)]
        found = associate(measures, outcomes, ["A"] * 20)
        p = [one.p for one in found]
        assert p == sorted(p)
        holm = np.minimum(1, np.maximum.accumulate([3 * p[0], 2 * p[1], p[2]]))
        assert [one.p_family for one in found] == pytest.approx(list(holm))

    def test_a_fault_that_is_never_there_goes_with_nothing(self):
        _, coffee, _, loss, _ = season()
        assert (
            associate([dry_loss_measure(loss, 0.1)], [FaultChance(name="ashy", probability=[0.03] * 24)], coffee) == ()
        )

    def test_noisy_measures_are_known_to_be(self):
        rng = np.random.default_rng(8)
        x = rng.normal(size=400) + rng.normal(size=400)
        (got,) = associate([dry_loss_measure(x, 1.0)], [OffTarget(name="a", off=x, sd=0.5, tolerance=1.0)], ["A"] * 400)
        assert got.reliability == pytest.approx(0.5, abs=0.1)


class TestWords:
    def test_the_batch_that_lost_more_and_tastes_ashy(self):
        batches, coffee, ashy, loss, off = season(24, extra=0.0)
        coffee = ["A"] * 24
        ashy[:] = 0.02
        ashy[5], loss[5] = 0.92, np.median(loss) + 0.9
        got = tell_roaster(
            [dry_loss_measure(loss, 0.1), roast_time_measure(640 + 10 * off)],
            [FaultChance(name="ashy", probability=ashy)],
            coffee,
            batches,
        )
        assert got.batch_sentences == (
            (
                5,
                "Batch B05 lost 0.9 points more of the dry mass (± 0.1) than its fellows and tastes ashy "
                "(probability 0.92).",
            ),
        )
        assert "need not be cause and effect" in got.sentences[-1]

    def test_an_association_is_told_as_one(self):
        batches, coffee, ashy, loss, off = season(48, link=-0.9)
        got = tell_roaster(
            [dry_loss_measure(loss, 0.1), colour_measure(90 - 4 * loss, 0.2, "house meter")],
            [
                OffTarget(name="acidity, black", off=off, sd=0.2, tolerance=1.0),
                FaultChance(name="ashy", probability=ashy),
            ],
            coffee,
            batches,
        )
        told = " ".join(got.sentences)
        assert re.search(
            r"Batches that taste ashy lost (0\.[89]\d?|1\.0) points more of the dry mass "
            r"than the others of their coffee \(90 % interval 0\.\d+ to 1\.\d+, 48 batches\)\.",
            told,
        )
        assert "acidity, black lies 0." in told
        assert "points lower" in told
        assert "move together here (correlation -1.00)" in told
        assert "need not be cause and effect" in told

    def test_nothing_seen_is_said_without_a_claim(self):
        batches, coffee, _, loss, off = season(24, extra=0.0)
        got = tell_roaster(
            [dry_loss_measure(loss, 0.1)], [OffTarget(name="body", off=off, sd=0.3, tolerance=2.0)], coffee, batches
        )
        assert got.batch_sentences == ()
        assert got.associations[0].p > 0.05
        assert got.sentences[0] == "No roast measure is seen to go with taste (1 pair, up to 24 batches)."

    def test_few_batches_only_ever_mean_perhaps(self):
        x = np.arange(6.0)
        got = tell_roaster(
            [dry_loss_measure(x, 0.0)],
            [OffTarget(name="body", off=x + np.array([0.1, -0.1, 0, 0.1, 0, -0.1]), sd=0.05, tolerance=9.0)],
            ["A"] * 6,
            list("abcdef"),
        )
        assert got.associations[0].p < 0.001
        assert got.sentences[0].startswith("Perhaps where dry mass loss is")

    def test_a_batch_without_fellows_says_so(self):
        got = tell_roaster(
            [dry_loss_measure([6.0, 6.1], 0.1)],
            [FaultChance(name="baked", probability=[0.9, 0.1])],
            ["A", "B"],
            ["x", "y"],
        )
        assert got.batch_sentences == (
            (0, "Batch x tastes baked (probability 0.90); it has too few measured fellows to set its roast beside."),
        )
        assert got.sentences == (
            "There are too few batches with both roast measures and tastes to set them side by side.",
        )

    def test_refuses_what_does_not_fit(self):
        loss = dry_loss_measure([6.0, 6.1], 0.1)
        with pytest.raises(DesignError, match="labels"):
            tell_roaster([loss], [], ["A", "A"], ["x"])
        with pytest.raises(DesignError, match="3 batches"):
            associate([loss], [], ["A"] * 3)
        with pytest.raises(DesignError, match="between 0 and 1"):
            associate([loss], [FaultChance(name="baked", probability=[0.1, 1.2])], ["A", "A"])

    def test_every_sentence_can_be_told_in_another_language_with_all_that_is_in_it(self, untold):
        names = {f"B{i:02d}" for i in range(48)} | {"s", "pulp", "ashy", "scale"}
        told = []
        for seed, link in enumerate([0.9, -0.9, 0.0, 2.0, -2.0, 0.5, -0.5]):
            for n in (3, 6, 48):
                batches, coffee, ashy, loss, off = season(n, seed, link=link, extra=(-1) ** seed * 0.9)
                measures = [
                    dry_loss_measure(loss, 0.25),
                    colour_measure(90 - 4 * loss, 0.2, "scale" if seed % 2 else ""),
                    roast_time_measure(600 + 20 * (-1) ** seed * off),
                ]
                outcomes = [
                    OffTarget(name="pulp", off=off, sd=0.2, tolerance=0.4),
                    FaultChance(name="ashy", probability=0.95 * ashy),
                ]
                got = tell_roaster(measures, outcomes, ["A"] * n if n == 6 else coffee, batches)
                told += [*got.sentences, *(sentence for _, sentence in got.batch_sentences)]
        assert set().union(*map(untold, told)) <= names
        calls = [node for node in ast.walk(ast.parse(inspect.getsource(_roaster_words))) if isinstance(node, ast.Call)]
        written = {node.args[0].value for node in calls if getattr(node.func, "id", "") in ("say", "say_many")}
        assert len(written) > 15
        assert written - {pattern for sentence in told for pattern in walk_patterns(sentence)} == set()

    def test_a_loss_that_cannot_be_is_said_so_that_it_can_be_told(self, untold):
        for row in ((0.0, 10.0, 10.0, 2.0), (10.0, 12.5, 10.0, 2.0), (12.0, 10.0, 100.0, 2.0)):
            with pytest.raises(QuantityError) as caught:
                dry_loss_pct(*row)
            assert untold(caught.value.args[0]) == set()
