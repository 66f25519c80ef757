"""The season from tastings: what is planted is found, what is steady stays calm, and what is too little is said."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from evenhand.errors import DesignError
from evenhand.season.charts import read_measure
from evenhand.verdict._season_columns import roast_columns, taste_columns
from evenhand.verdict._season_joint import read_jointly
from evenhand.verdict._season_records import MeasureSeason
from evenhand.verdict._season_together import steps_across
from evenhand.verdict.arrangement import arrange
from evenhand.verdict.season import alerts_by_luck, read_season
from evenhand.verdict.tastings import Batch, Target

GOAL = {("black", "bitterness"): Target(4.0, 1.0)}


def date_of(i):
    return f"2031-{1 + i // 28:02d}-{1 + i % 28:02d}"


def roasts(tastings, rng, *, step_at=None, step_kg=0.0, kg_from=None):
    """Give every batch a date and roast measures; from `step_at` on it comes out lighter by `step_kg`."""
    found = []
    for i, one in enumerate(tastings.batches):
        stepped = step_at is not None and i >= step_at
        found.append(
            replace(
                one,
                roasted_on=date_of(i),
                green_in_kg=14.0 if kg_from is not None and i >= kg_from else 12.0,
                roasted_out_kg=(14.0 / 12.0 if kg_from is not None and i >= kg_from else 1.0)
                * float(10.2 - step_kg * stepped + rng.normal(0, 0.02)),
                green_moisture_pct=10.5,
                roasted_moisture_pct=2.0,
                colour=round(float(60 + rng.normal(0, 0.8)), 1),
                colour_scale="one meter",
                roast_time_s=round(float(600 + rng.normal(0, 8))),
            )
        )
    return replace(tastings, batches=tuple(found))


def measure_of(coffee, name):
    return next(one for one in coffee.measures if one.measure == name)


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def test_a_planted_step_is_found_with_its_place_its_company_and_what_else_changed(make_season, make_tastings):
    rng = np.random.default_rng(1)
    levels = [4.0 + 0.15 * rng.standard_normal() + (1.3 if i >= 14 else 0.0) for i in range(24)]
    tastings = roasts(
        make_tastings(make_season(rng, lambda i: levels[i], batches=24), targets=GOAL),
        rng,
        step_at=14,
        step_kg=0.25,
        kg_from=14,
    )
    (coffee,) = read_season(tastings).coffees
    taste, loss = measure_of(coffee, "Bitterness, black"), measure_of(coffee, "Dry mass loss")
    assert coffee.state == taste.state == loss.state == "shifted"
    assert taste.reading.change.earliest <= 14 <= taste.reading.change.latest
    assert taste.reading.change.shift == pytest.approx(1.3, abs=0.4)
    assert any(one.chart == "average" and one.lasting for one in taste.alerts)
    said = " ".join(taste.reading.sentences)
    assert "Batch size changed from 12 kg to 14 kg at batch B14 (2031-01-15)" in said
    assert any("Bitterness, black (higher)" in one and "Dry mass loss (higher)" in one for one in coffee.together)
    assert measure_of(coffee, "Roast time").state == "steady"


def test_a_steady_season_is_calm(make_season, make_tastings):
    rng = np.random.default_rng(8)
    levels = 4.0 + 0.2 * rng.standard_normal(12)
    tastings = roasts(make_tastings(make_season(rng, lambda i: levels[i], batches=12), targets=GOAL), rng)
    season = read_season(tastings)
    assert [one.state for one in season.coffees] == ["steady"]
    assert season.alerting == 0
    assert season.charted == 4
    assert season.coffees[0].off_target == season.across == ()


def test_an_ashy_batch_that_lost_more_is_set_beside_its_fellows(make_season, make_tastings):
    rng = np.random.default_rng(4)
    cups = make_season(rng, lambda i: 6.2 if i == 9 else 4.0, batches=16)
    heard = [
        (batch, shot.name, taster, "ashy", float(batch == "B09"))
        for batch, shot, _, sheets in cups
        for taster in sheets
    ]
    tastings = roasts(make_tastings(cups, targets=GOAL, heard=heard), rng)
    lost = [
        replace(one, roasted_out_kg=one.roasted_out_kg - (0.35 if one.batch == "B09" else 0.0))
        for one in tastings.batches
    ]
    (coffee,) = read_season(replace(tastings, batches=tuple(lost))).coffees
    (said,) = coffee.off_target
    assert said.startswith("Batch B09 lost ")
    assert "more of the dry mass" in said
    assert "tastes ashy" in said
    assert "above target in bitterness, black" in said


def test_batches_are_read_in_roasting_order_whatever_the_order_of_the_file(make_season, make_tastings):
    rng = np.random.default_rng(3)
    tastings = roasts(make_tastings(make_season(rng, lambda i: 4.0 + 0.1 * i, batches=10), targets=GOAL), rng)
    shuffled = replace(tastings, batches=tuple(tastings.batches[i] for i in rng.permutation(10)))
    straight, mixed = read_season(tastings).coffees[0], read_season(shuffled).coffees[0]
    assert mixed.batches == straight.batches
    assert [one.reading.sentences for one in mixed.measures] == [one.reading.sentences for one in straight.measures]


def test_own_evidence_is_wider_where_less_was_tasted_and_less_drawn_in(make_season, make_tastings):
    rng = np.random.default_rng(6)
    cups = make_season(rng, lambda i: 6.5 if i == 5 else 4.0, batches=14)
    # Of the odd batch one pull and one taster are left.
    lone = next(i for i, cup in enumerate(cups) if cup[0] == "B05")
    batch, shot, service, sheets = cups[lone]
    cups = [cup for cup in cups if cup[0] != "B05"] + [(batch, shot, service, dict([next(iter(sheets.items()))]))]
    tastings = make_tastings(cups, targets=GOAL)
    (column,) = taste_columns(tastings, arrange(tastings))
    odd = [one.batch for one in tastings.batches].index("B05")
    assert column.own_sd[odd] > 1.5 * np.median(column.own_sd)
    centre = np.median(column.level)
    assert column.own[odd] - centre > 1.2 * (column.level[odd] - centre) > 0


def test_dry_loss_is_that_of_the_worked_example():
    # By hand: 1 - 10.2 x 0.98 / (12 x 0.875) = 4.80 %, and 8.46 % where the green held 9 %.
    batches = [
        Batch(
            batch=str(i),
            coffee="K",
            roasted_on=date_of(i),
            green_in_kg=12.0,
            roasted_out_kg=10.2,
            green_moisture_pct=moisture,
            roasted_moisture_pct=2.0,
        )
        for i, moisture in enumerate((12.5, 9.0, None))
    ] + [Batch(batch="3", coffee="K", roasted_on=date_of(3))]
    loss = roast_columns(batches)[0]
    np.testing.assert_allclose(loss.value[:2], [4.80, 8.46], atol=0.005)
    assert loss.sd[2] > 2 * loss.sd[1]
    assert np.isnan(loss.value[3])
    assert np.isnan(loss.sd[3])


def test_colours_on_different_scales_are_different_measures_and_rounding_is_their_least_doubt():
    batches = [
        Batch(batch=str(i), coffee="K", roasted_on=date_of(i), colour=colour, colour_scale=scale)
        for i, (colour, scale) in enumerate([(60.5, "a"), (61.0, "a"), (95.0, "b"), (None, "b"), (96.0, "b")])
    ]
    first, second = roast_columns(batches)[1:3]
    assert [first.measure.name, second.measure.name] == ["colour (a)", "colour (b)"]
    assert np.isfinite(first.value).tolist() == [True, True, False, False, False]
    # A rectangular distribution of half a last digit (GUM 4.3.7): 0.1 / sqrt(12) and 1 / sqrt(12).
    assert first.sd[0] == pytest.approx(0.1 / 12**0.5)
    assert second.sd[2] == pytest.approx(1 / 12**0.5)


def test_a_loss_that_cannot_be_names_its_batch():
    batch = Batch(batch="B7", coffee="K", roasted_on="2031-01-01", green_in_kg=10.0, roasted_out_kg=12.0)
    with pytest.raises(DesignError, match="batch B7"):
        roast_columns([batch])


def season_of(name, value, sd):
    labels, dates = [f"B{i}" for i in range(len(value))], [date_of(i) for i in range(len(value))]
    reading = read_measure(name, value, sd, batches=labels, dates=dates)
    return MeasureSeason(
        measure=name,
        unit="",
        kind="roast",
        value=value,
        sd=sd,
        reading=reading,
        gap="",
        alerts=(),
        sign=False,
        state="steady",
    )


def joint_of(x, u):
    found = [season_of(f"m{j}", x[:, j], u[:, j]) for j in range(x.shape[1])]
    labels, dates = [f"B{i}" for i in range(len(x))], [date_of(i) for i in range(len(x))]
    (joint,) = read_jointly(found, {}, labels, dates)
    return joint, found


def test_the_joint_chart_finds_a_batch_that_no_single_chart_shows(rng):
    x = rng.multivariate_normal([0, 0, 0], [[1, 0.95, 0], [0.95, 1, 0], [0, 0, 1]], size=30)
    x[17] = [1.7, -1.7, 0.0]
    joint, found = joint_of(x, np.full(x.shape, 0.05))
    assert joint.signals == (17,)
    assert not any(one.reading.individuals.signals for one in found)
    assert "B17" in joint.sentences[0]
    assert "m0 (high)" in joint.sentences[0]
    assert "m1 (low)" in joint.sentences[0]
    assert joint.too_little == ""


def test_t_squared_is_the_squared_mahalanobis_distance_and_its_limit_that_of_the_beta_law(rng):
    # Tracy, Young and Mason (1992), from memory: (m - 1)^2 / m times Beta(p / 2, (m - p - 1) / 2); here by scipy.stats.
    x = rng.normal(size=(18, 3))
    u = np.where(np.arange(18)[:, None] % 3 == 0, 0.9, 0.2) * np.ones((18, 3))
    joint, found = joint_of(x, u)
    bases = [one.reading.base for one in found]
    z = np.column_stack([(x[:, j] - b.centre) / np.hypot(b.batch_sd, u[:, j]) for j, b in enumerate(bases)])
    away = z - z.mean(axis=0)
    expected = np.einsum("ij,jk,ik->i", away, np.linalg.inv(np.cov(z, rowvar=False)), away)
    np.testing.assert_allclose(joint.chart.t_squared, expected, rtol=1e-9)
    limit = 17**2 / 18 * stats.beta(1.5, 7.0).ppf(1 - 0.0027)
    np.testing.assert_allclose(joint.chart.limit, limit, rtol=1e-9)


def test_joint_charts_of_unequally_tasted_batches_seldom_raise_a_false_alarm():
    rng = np.random.default_rng(9)
    alarms = 0
    for _ in range(120):
        u = np.where(rng.random((13, 1)) < 0.4, 0.9, 0.35) * np.ones((13, 3))
        alarms += bool(joint_of(rng.normal(0, 0.5, u.shape) + u * rng.normal(size=u.shape), u)[0].signals)
    # 1 - (1 - 0.0027)^13 = 3.5 % asked, so 4 of 120; 13 or more would come by chance once in 10,000.
    assert alarms < 13


def test_too_few_batches_for_a_joint_chart_are_said(rng):
    joint, _ = joint_of(rng.normal(size=(5, 3)), np.full((5, 3), 0.1))
    assert joint.signals == ()
    assert "5 batches with all 3 measures; some 13 are needed" in joint.too_little


def test_the_share_of_alerts_by_luck_is_that_of_steady_series():
    rng = np.random.default_rng(12)
    count, held = 300, 0
    for _ in range(count):
        u = np.where(rng.random(20) < 0.2, 1.0, 0.45)
        x = rng.normal(0, 0.5, 20) + u * rng.normal(size=20)
        labels = [str(i) for i in range(20)]
        held += bool(read_measure("x", x, u, batches=labels).alerts)
    expected = alerts_by_luck(20)
    assert abs(held / count - expected) < 4 * (expected * (1 - expected) / count) ** 0.5
    assert alerts_by_luck(4) < alerts_by_luck(12) < alerts_by_luck(40)


def test_the_same_step_in_two_coffees_is_told_once_and_not_where_it_went_the_other_way(rng):
    dates = [date_of(i) for i in range(24)]

    def stepped(shift):
        value = rng.normal(0, 0.3, 24)
        value[12:] += shift
        return read_measure("Roast time", value, 0.1, batches=[str(i) for i in range(24)], dates=dates)

    up, also, down = stepped(2.0), stepped(2.0), stepped(-2.0)
    (said,) = steps_across([("Ninth Landing", dates, up), ("Long Ladder", dates, also), ("Paper", dates, down)])
    assert "Roast time lies higher in Long Ladder" in said or "Roast time lies higher in Ninth Landing" in said
    assert "Paper" not in said
    assert steps_across([("Ninth Landing", dates, up), ("Paper", dates, down)]) == ()


def test_three_batches_are_too_few_and_the_reading_says_so(make_season, make_tastings):
    rng = np.random.default_rng(2)
    tastings = roasts(make_tastings(make_season(rng, lambda i: 4.0, batches=3), targets=GOAL), rng)
    season = read_season(tastings)
    (coffee,) = season.coffees
    assert coffee.state == "too_little"
    assert season.charted == 0
    assert "Bitterness, black: 3 of 3 batches measured; a chart needs 4." in [one.too_little for one in coffee.measures]


@pytest.mark.parametrize("batches", [(), ("B1", "B2", "B3", "B4", "B5")])
def test_nothing_tasted_and_nothing_measured_is_no_error(make_tastings, batches):
    tastings = make_tastings([], batches=batches, coffees=dict.fromkeys(batches, "K"), targets=GOAL)
    season = read_season(tastings)
    assert season.charted == season.alerting == 0
    assert [one.state for one in season.coffees] == ["too_little"] * bool(batches)


def test_states_given_by_hand_are_set_beside_a_step(make_season, make_tastings):
    rng = np.random.default_rng(1)
    levels = [4.0 + 0.15 * rng.standard_normal() + (1.5 if i >= 10 else 0.0) for i in range(20)]
    tastings = roasts(make_tastings(make_season(rng, lambda i: levels[i], batches=20), targets=GOAL), rng)
    lot = {f"B{i:02d}": "old harvest" if i < 10 else "new harvest" for i in range(20)}
    (coffee,) = read_season(tastings, states={"green lot": lot}).coffees
    said = " ".join(measure_of(coffee, "Bitterness, black").reading.sentences)
    assert "Green lot changed from old harvest to new harvest at batch B10" in said


def test_a_coffee_that_is_not_there_is_one_sentence(make_season, make_tastings):
    tastings = make_tastings(make_season(np.random.default_rng(2), lambda i: 4.0, batches=5), targets=GOAL)
    with pytest.raises(DesignError, match="There is no coffee Z in this folder; it holds K"):
        read_season(tastings, coffees=["Z"])
    unroasted = replace(tastings, recipes={**tastings.recipes, "Z": tastings.recipes["K"]})
    with pytest.raises(DesignError, match="There is no batch of Z"):
        read_season(unroasted, coffees=["Z"])


def test_every_sentence_of_a_season_can_be_told_in_another_language(untold, make_season, make_tastings):
    rng = np.random.default_rng(1)
    levels = [4.0 + 0.15 * rng.standard_normal() + (2.6 if i >= 14 else 0.0) for i in range(24)]
    told = []
    for batches in (24, 3):
        cups = make_season(rng, lambda i: levels[i], batches=batches)
        heard = [(batch, shot.name, name, "ashy", batch == "B20") for batch, shot, _, who in cups for name in who]
        tastings = make_tastings(cups, targets=GOAL, heard=heard)
        season = read_season(roasts(tastings, rng, step_at=14, step_kg=0.25, kg_from=14))
        (coffee,) = season.coffees
        told += [*season.roaster.sentences, *coffee.together, *coffee.off_target]
        told += [text for one in coffee.measures for text in (one.measure, one.too_little) if text]
        told += [text for one in coffee.measures if one.reading for text in one.reading.sentences]
        told += [text for one in coffee.joint for text in (one.name, *one.sentences, one.too_little) if text]
    names = {f"B{i:02d}" for i in range(24)} | {coffee.coffee} | set(tastings.scores.taster.tolist())
    names |= {"bitterness", "Bitterness", "ashy", "one", "meter", "s"}
    assert len(told) > 30
    assert set().union(*map(untold, told)) <= names


def test_steps_in_several_coffees_can_be_told_in_another_language(untold, rng):
    dates = [date_of(i) for i in range(24)]
    for shift in (2.0, -2.0):
        value = rng.normal(0, 0.3, 24) + np.repeat([0.0, shift], 12)
        reading = read_measure("Hue", value, 0.1, batches=dates, dates=dates)
        (said,) = steps_across([(name, dates, reading) for name in ("Ladder", "Paper", "Landing")])
        assert untold(said) <= {"Hue", "Ladder", "Paper", "Landing"}


def test_what_cannot_be_read_is_said_so_that_it_can_be_told(untold, make_season, make_tastings):
    wrong = Batch(batch="B7", coffee="K", roasted_on="2031-01-01", green_in_kg=10.0, roasted_out_kg=12.5)
    with pytest.raises(DesignError) as caught:
        roast_columns([wrong])
    assert untold(caught.value.args[0]) <= {"B7"}
    tastings = make_tastings(make_season(np.random.default_rng(2), lambda i: 4.0, batches=3), targets=GOAL)
    with pytest.raises(DesignError) as caught:
        read_season(tastings, coffees=["Nowhere"])
    assert untold(caught.value.args[0]) <= {"Nowhere", *(one.coffee for one in tastings.batches)}
