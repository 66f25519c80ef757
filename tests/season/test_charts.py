"""Readings of a measure and of several: what a shop is told, and what it is not told."""

import ast
import inspect

import numpy as np
import pytest
from scipy.special import ndtri, stdtrit

from evenhand.errors import DesignError
from evenhand.season import _charts_words
from evenhand.season.charts import NELSON, read_measure, read_profile, stated_baseline
from evenhand.words import say, walk_patterns


def labels(n):
    return [f"B{i:02d}" for i in range(n)], [f"2031-04-{i + 1:02d}" for i in range(n)]


def steady(n, seed=3, spread=0.4):
    """Normal scores in random order: as normal as can be, so that no draw is odd by itself."""
    return 6.0 + spread * np.random.default_rng(seed).permutation(ndtri((np.arange(n) + 0.5) / n))


class TestMeasure:
    def test_a_steady_roast_is_called_steady(self):
        batches, dates = labels(30)
        got = read_measure("Colour", steady(30), batches=batches, dates=dates, base=stated_baseline(6.0, 0.4))
        assert got.alerts == ()
        assert got.sentences == (
            "Colour is set against the stated level 6.00.",
            "Nothing unusual is seen over 30 batches.",
        )

    def test_a_step_is_told_with_its_date_and_what_changed_then(self):
        batches, dates = labels(30)
        value = steady(30)
        value[18:] += 1.5
        states = {
            "green lot": ["Osk 1"] * 18 + ["Osk 2"] * 12,
            "roaster": ["Ada", "Bo"] * 15,
            "meter": ["old"] * 30,
        }
        got = read_measure(
            "Acidity, black",
            value,
            0.2,
            batches=batches,
            dates=dates,
            unit="points",
            states=states,
            in_baseline=np.arange(30) < 18,
        )
        assert got.change.first == 18
        assert got.change.earliest <= 18 <= got.change.latest
        assert got.change.p < 0.01
        assert abs(got.change.shift - 1.5) < 2.5 * got.change.shift_sd
        assert [one.what for one in got.coincidences] == ["green lot"]
        told = " ".join(got.sentences)
        assert "From batch B18 (2031-04-19) on it lies 1." in told
        assert "Green lot changed from Osk 1 to Osk 2 at batch B18 (2031-04-19)" in told
        assert "need not be the cause" in told
        assert min(got.alerts) >= 18

    def test_patterns_do_not_repeat_a_shift_that_is_told(self):
        batches, _ = labels(30)
        value = steady(30)
        value[15:] += 1.2
        got = read_measure("Colour", value, batches=batches, base=stated_baseline(6.0, 0.4))
        assert len(got.individuals.signals) > 2
        assert sum("imit" in sentence and "lie above" in sentence for sentence in got.sentences) == 1
        assert any(hit.rule == "eight_on_one_side" for hit in got.rules)
        assert not any("in a row" in sentence for sentence in got.sentences)

    def test_scatter_that_measurement_explains_is_said_to_be_none(self):
        got = read_measure("Body", steady(30), 1.5, batches=labels(30)[0])
        assert got.base.batch_sd == 0
        assert "batches scatter no more than measurement explains" in got.sentences[0]

    def test_a_step_without_a_record_says_so(self):
        batches, _ = labels(30)
        value = steady(30)
        value[18:] += 1.5
        got = read_measure("Colour", value, batches=batches, states={"green lot": ["Osk"] * 30})
        assert "Nothing else that is on record changed then (green lot)." in got.sentences

    def test_one_odd_batch_is_an_odd_batch_and_no_shift(self):
        batches, _ = labels(30)
        value = steady(30)
        value[10] += 6.0
        got = read_measure("Colour", value, batches=batches)
        assert got.individuals.signals == (10,)
        assert got.alerts == (10,)
        assert got.change.p > 0.05
        assert sum("B10" in sentence for sentence in got.sentences if not sentence.startswith("A sign")) == 1

    def test_the_same_taste_counts_less_when_it_was_tasted_once(self):
        batches, _ = labels(20)
        value, sd = steady(20, spread=0.3), np.full(20, 0.2)
        base = stated_baseline(6.0, 0.3, typical_sd=float(np.hypot(0.3, 0.2)))
        value[12] = 7.8
        well = read_measure("Body", value, sd, batches=batches, base=base)
        sd[12] = 1.0
        once = read_measure("Body", value, sd, batches=batches, base=base)
        assert 12 in well.individuals.signals
        assert 12 not in once.individuals.signals
        assert any("B12" in line and "too little is known of it" in line for line in once.sentences)

    def test_few_batches_make_a_baseline_that_says_so(self):
        batches, _ = labels(12)
        got = read_measure("Colour", steady(12), batches=batches)
        assert got.sentences[-1].startswith(
            "Limits from 12 batches are uncertain: a sound new batch lies outside about"
        )

    def test_an_untasted_batch_is_passed_over(self):
        batches, _ = labels(30)
        value, sd = steady(30), np.full(30, 0.1)
        with_gap = read_measure(
            "Body", np.insert(value, 7, np.nan), np.insert(sd, 7, np.inf), batches=["gap", *batches]
        )
        without = read_measure("Body", value, sd, batches=batches)
        assert with_gap.base == without.base
        assert np.delete(with_gap.ewma.value, 7) == pytest.approx(without.ewma.value)
        assert np.delete(with_gap.cusum.high, 7) == pytest.approx(without.cusum.high)
        assert with_gap.change.p == pytest.approx(without.change.p)

    @pytest.mark.parametrize(
        ("change", "message"),
        [
            ({"batches": ["one"]}, "one batch label"),
            ({"sd": [0.1, 0.2]}, "one for each batch"),
            ({"sd": -0.1}, "0 or more"),
            ({"value": [1.0, 2.0, np.nan, np.nan, np.nan]}, "at least 4 measured"),
            ({"value": [1.0] * 5}, "hardly differ"),
            ({"in_baseline": [True]}, "one a batch"),
            ({"states": {"lot": ["a"]}, "value": [1.0, 1.1, 1.0, 9.0, 9.1], "base": stated_baseline(1, 0.1)}, "labels"),
            ({"rules": ["moon"]}, "no run rule 'moon'"),
        ],
    )
    def test_what_does_not_fit_is_said(self, change, message):
        given = {"value": [1.0, 1.2, 0.9, 1.1, 1.0], "batches": labels(5)[0]} | change
        with pytest.raises(DesignError, match=message):
            read_measure("Colour", **given)


class TestProfile:
    def test_a_batch_that_is_odd_only_as_a_whole_is_found(self):
        rng = np.random.default_rng(3)
        batches, dates = labels(30)
        table = rng.multivariate_normal([6, 5, 4], [[0.20, 0.17, 0], [0.17, 0.20, 0], [0, 0, 0.3]], size=30)
        table[11, :2] = [6.6, 4.4]  # each within 1.4 standard deviations
        values = dict(zip(["acidity", "sweetness", "body"], table.T, strict=True))
        got = read_profile(values, {}, batches=batches, dates=dates)
        assert 11 in got.chart.signals
        line = next(line for line in got.sentences if "B11" in line)
        assert "acidity (high)" in line
        assert "sweetness (low)" in line
        assert "body" not in line
        for name in values:
            alone = read_measure(name, values[name], batches=batches)
            assert 11 not in alone.individuals.signals

    def test_a_poorly_known_batch_is_not_accused(self):
        rng = np.random.default_rng(4)
        table = rng.normal(size=(30, 2))
        table[5] = [5.0, -5.0]
        values, batches = {"a": table[:, 0], "b": table[:, 1]}, labels(30)[0]
        sd = np.zeros(30)
        assert 5 in read_profile(values, {"a": sd, "b": sd}, batches=batches).chart.signals
        sd[5] = 4.0
        assert 5 not in read_profile(values, {"a": sd, "b": sd}, batches=batches).chart.signals

    def test_measures_that_say_the_same_are_refused(self):
        x = np.random.default_rng(5).normal(size=20)
        with pytest.raises(DesignError, match="follows from the others"):
            read_profile({"a": x, "b": 2 * x + 1}, {}, batches=labels(20)[0])

    def test_too_few_batches_are_refused(self):
        x = np.random.default_rng(5).normal(size=(4, 3))
        with pytest.raises(DesignError, match="too few"):
            read_profile(dict(zip("abc", x.T, strict=True)), {}, batches=labels(4)[0])


def test_uncertain_limits_follow_student():
    """`false_alarm` of a learned baseline, by quantile from the same law turned round."""
    got = read_measure("Colour", steady(25), batches=labels(25)[0]).base
    reach = stdtrit(got.freedom, 1 - got.false_alarm(3.0) / 2) * np.hypot(1.0, got.centre_sd / got.typical_sd)
    assert reach == pytest.approx(3.0)


def readings():
    """Series in which everything happens that there are words for."""
    batches, dates = labels(30)
    sizes = [say("{mass:g} kg", mass=mass) for mass in (12.5, 14.5)]
    half = {say("green lot"): ["Osk"] * 18 + ["Vael"] * 12, say("batch size"): [sizes[i >= 18] for i in range(30)]}
    often = {say("tasters"): (["Ada"] * 4 + ["Bo"] * 4) * 3 + ["Bo"] * 6}
    for seed in range(6):
        for shift in (1.5, -1.5, 0.55, -0.55, 0.0):
            value, sd = steady(30, seed), np.full(30, 0.1)
            value[18:] += shift
            value[4] += 4.0 * np.sign(shift)
            sd[7], value[7] = 2.0, 9.0 - seed
            value[11] = np.nan
            if seed % 2:
                value = -value
            for states in ({}, half, often):
                for base in (None, stated_baseline(-6.0 if seed % 2 else 6.0, 0.4)):
                    yield read_measure(
                        "Hue", value, sd, batches=batches, dates=dates, unit="u", base=base, states=states, rules=NELSON
                    )
        wide = {"dates": None, "unit": "u"}
        yield read_measure("Hue", steady(30, seed), 1.5, batches=batches, **wide)
        lone = steady(30, seed)
        lone[29] += 2.6
        yield read_measure("Hue", lone, batches=batches, base=stated_baseline(6.0, 0.4), states=half)
        yield read_measure("Hue", np.repeat([6.0, 9.0], 15) + steady(30, seed), batches=batches, states=half)


def test_every_sentence_can_be_told_in_another_language_with_all_that_is_in_it(untold):
    names = {f"B{i:02d}" for i in range(30)} | {"Hue", "u", "Osk", "Vael", "Ada", "Bo"}
    told = [sentence for reading in readings() for sentence in reading.sentences]
    rng, batches = np.random.default_rng(3), labels(30)[0]
    table = rng.multivariate_normal([6, 5, 4], [[0.20, 0.17, 0], [0.17, 0.20, 0], [0, 0, 0.3]], size=30)
    table[11, :2] = [6.6, 4.4]
    values = dict(zip([say("the {n}", n=n) for n in (1, 2, 3)], table.T, strict=True))
    told += read_profile(values, {}, batches=batches).sentences
    told += read_profile({"Hue": steady(30)}, {}, batches=batches).sentences
    assert set().union(*map(untold, told)) <= names
    calls = [node for node in ast.walk(ast.parse(inspect.getsource(_charts_words))) if isinstance(node, ast.Call)]
    written = {node.args[0].value for node in calls if getattr(node.func, "id", "") in ("say", "say_many")}
    assert len(written) > 30
    assert written - {pattern for sentence in told for pattern in walk_patterns(sentence)} == set()


def test_what_does_not_fit_is_said_so_that_it_can_be_told(untold):
    for value in ([1.0, 2.0], [1.0] * 5):
        with pytest.raises(DesignError) as caught:
            read_measure("Hue", value, batches=labels(len(value))[0])
        assert untold(caught.value.args[0]) == set()
