"""The week's plan from tastings: what is in doubt comes first, limits hold, and what is old or sure is left out."""

from dataclasses import replace

import numpy as np
import pytest
from pydantic import TypeAdapter

from evenhand.errors import DesignError, QuantityError
from evenhand.records.seasons import plan_from, read_whole
from evenhand.season.plan import chance_drifted
from evenhand.verdict._week_rows import worth_of_control
from evenhand.verdict.green import read_green
from evenhand.verdict.judge import judge
from evenhand.verdict.season import lay_out, read_season
from evenhand.verdict.tastings import Lot, LotStorage, Target
from evenhand.verdict.week import Palate, WeekHabits, WeekPlan, plan_week, tasters_of_late

GOAL = {("black", "bitterness"): Target(4.0, 1.0)}
EVERYBODY = ("Ada", "Bo", "Cy", "Di")


def dated(i):
    return str(np.datetime64("2031-01-06") + np.timedelta64(7 * i, "D"))


@pytest.fixture
def tastings(make_season, make_tastings):
    """Sixteen weekly batches of an ageing lot; the last lies at the edge of its tolerance."""
    rng = np.random.default_rng(2)
    levels = [3.6 + 0.06 * i + 0.1 * rng.standard_normal() for i in range(15)] + [5.0]
    made = make_tastings(make_season(rng, lambda i: levels[i], batches=16), targets=GOAL)
    batches = tuple(
        replace(one, roasted_on=dated(i), green_in_kg=12.0, green_lot="L") for i, one in enumerate(made.batches)
    )
    on = {one.batch: one.roasted_on for one in batches}
    spell = LotStorage(stored_from="2030-09-01", temperature_c=20.0, water_activity=0.55)
    return replace(
        made,
        batches=batches,
        pulls=tuple(replace(one, pulled_on=on[one.batch]) for one in made.pulls),
        lots=(Lot(lot="L", harvested_on="2030-09-01", green_kg=400.0, bag_kg=60.0, storage=(spell,)),),
        judged_on=dated(16),
    )


def week_of(tastings, *, names=EVERYBODY, cups=12, minutes=60.0, **limits):
    bench = lay_out(tastings)
    charts = read_season(tastings, bench=bench)
    return plan_week(
        tastings,
        judge(tastings),
        charts,
        read_green(tastings, season=charts, bench=bench),
        [Palate(name=name, cups=cups, minutes=minutes) for name in names],
        bench=bench,
        **limits,
    )


def test_the_batch_at_the_edge_is_tasted_first_and_old_ones_are_not_listed(tastings):
    plan = week_of(tastings)
    batches = [one for one in (*plan.planned, *plan.left_out) if one.kind == "batch"]
    assert plan.planned[0].name == "B15, K"
    assert plan.planned[0].worth > plan.planned[0].price > 0
    assert 1 <= len(plan.planned[0].tasters) == len(set(plan.planned[0].tasters)) <= 4
    # Four weeks back from the day of reading, and no further.
    assert {one.name for one in batches} <= {f"B{i}, K" for i in (12, 13, 14, 15)}
    assert {one.name: one.batch for one in batches} == {one.name: one.name.removesuffix(", K") for one in batches}
    assert plan.worth == pytest.approx(sum(one.worth for one in plan.planned))
    assert all(one.worth >= one.price - 1e-9 for one in plan.planned)


def test_nobody_is_asked_for_more_than_they_have(tastings):
    plan = week_of(tastings, names=("Ada",), cups=2, minutes=6.0, money=11.0, bench_minutes=8.0)
    assert plan.price <= 11.0
    assert plan.bench_minutes <= 8.0
    assert all(one.cups <= 2 and one.minutes <= 6.0 for one in plan.tasters)
    assert {name for one in plan.planned for name in one.tasters} <= {"Ada"}
    nothing = week_of(tastings, money=0.0)
    assert nothing.planned == ()
    assert all(one.says for one in nothing.left_out)


def test_every_kind_of_row_is_on_the_list_with_its_reason(tastings):
    plan = week_of(tastings)
    rows = (*plan.planned, *plan.left_out)
    assert {one.kind for one in rows} == {"batch", "ageing", "calibration"}
    lot = next(one for one in rows if one.kind == "ageing")
    assert (lot.name, lot.batch) == ("Lot L of K", "")
    assert "months since harvest; bitterness, black is at" in lot.why
    assert {one.name for one in rows if one.kind == "calibration"} == {f"Control cups, {name}" for name in EVERYBODY}
    assert plan.planned == week_of(tastings).planned


def test_a_taster_who_has_been_away_needs_control_cups_and_one_of_last_week_does_not(tastings):
    """A year away, and 13 weeks of one batch a week at stake; what is heard of it is worth under all of that."""
    plan = week_of(tastings, names=(*EVERYBODY, "Zoe"), habits=WeekHabits(spoiled_share=0.1))
    rows = {one.name: one for one in (*plan.planned, *plan.left_out)}
    new, old = rows["Control cups, Zoe"], rows["Control cups, Ada"]
    assert new in plan.planned
    assert new.tasters == ("Zoe",)
    assert "No sheet of theirs is here" in new.why
    assert old in plan.left_out
    assert "Last tasted 1 weeks ago" in old.why
    p = chance_drifted(52, 0.5, wander_sd=0.1)
    recent = [one for one in tastings.batches if one.roasted_on >= "2031-01-27"]  # 91 days before the day of reading
    at_stake = 13 * 0.1 * 400 * len(recent) / (3 * 30.4375 / 7)
    assert 0.4 * p * at_stake < new.worth < p * at_stake


def test_the_worth_of_control_cups_is_that_of_draws():
    """Move or not, mean of the cups, alarm beyond the best of many thresholds: counted over draws."""
    rng = np.random.default_rng(1)
    p, at_stake, repeat, limit, sd = 0.3, 200.0, 15.0, 0.5, 0.4
    moved = rng.random(400_000) < p
    mean = limit * moved + sd * rng.standard_normal(moved.size)
    worths = [
        np.mean(np.where(np.abs(mean) > reach, np.where(moved, at_stake, -repeat), 0.0))
        for reach in limit * np.linspace(0.2, 2.0, 37)
    ]
    assert worth_of_control(p, at_stake, repeat, limit, sd) == pytest.approx(max(worths), rel=0.01)
    assert worth_of_control(0.0, at_stake, repeat, limit, sd) < 0.01
    assert worth_of_control(1.0, at_stake, repeat, limit, 1e-6) == pytest.approx(at_stake)


def test_more_tasters_never_make_a_batch_worth_much_less(tastings):
    """The best of one, two, three or four tasters is chosen: with more people the plan cannot be worse."""
    one, four = week_of(tastings, names=("Ada",)), week_of(tastings)
    assert four.worth - four.price >= one.worth - one.price - 1e-6


def test_who_tasted_of_late(tastings):
    assert tasters_of_late(tastings) == EVERYBODY
    # Long after the last pull everybody with a sheet is meant.
    assert tasters_of_late(replace(tastings, judged_on="2033-01-01")) == EVERYBODY


def test_what_cannot_be_planned_is_refused(tastings):
    with pytest.raises(DesignError, match="at least one palate"):
        week_of(tastings, names=())
    with pytest.raises(DesignError, match="have the name Ada"):
        week_of(tastings, names=("Ada", "Ada"))
    with pytest.raises(QuantityError, match="money"):
        week_of(tastings, money=-1.0)


def test_a_plan_survives_the_way_to_json_and_back(tastings):
    plan = week_of(tastings)
    kind = TypeAdapter(WeekPlan)
    assert kind.validate_json(kind.dump_json(plan)) == plan


@pytest.mark.parametrize("batches", [(), ("B1", "B2")])
def test_nothing_tasted_is_no_error(make_tastings, batches):
    made = make_tastings([], batches=batches, coffees=dict.fromkeys(batches, "K"), targets=GOAL)
    roasted = tuple(replace(one, roasted_on="2026-05-28", green_lot="L") for one in made.batches)
    empty = replace(made, batches=roasted, lots=(Lot(lot="L", harvested_on="2025-12-01", green_kg=100.0),))
    whole = read_whole(empty)
    assert whole.likeness == ()
    assert [one.too_little != "" for one in whole.green.coffees] == [True] * bool(batches)
    plan = plan_from(empty, tasters=["Ada"])
    assert {one.kind for one in (*plan.planned, *plan.left_out)} == {"calibration"} | ({"batch"} if batches else set())
    with pytest.raises(DesignError, match="Nobody has tasted anything"):
        plan_from(empty)


def test_every_sentence_can_be_told_in_another_language(untold, tastings):
    plan = week_of(tastings, names=(*EVERYBODY, "Zoe"))
    rows = (*plan.planned, *plan.left_out)
    said = [plan.says, *plan.assumptions, *(text for one in rows for text in (one.name, one.why, one.says))]
    assert set().union(*map(untold, said)) <= {"K", "L", "bitterness", *EVERYBODY, "Zoe"} | {
        f"B{i:02d}" for i in range(16)
    }
    with pytest.raises(DesignError) as refused:
        week_of(tastings, names=("Ada", "Ada"))
    assert untold(refused.value.args[0]) == {"Ada"}
