"""The green from tastings: stock and storage by hand, a planted ageing found with its month, and calm without one."""

from dataclasses import replace

import numpy as np
import pytest
from pydantic import TypeAdapter

from evenhand.verdict._green_lots import day_of, describe_readings, history_of, month_name, months_between, stock_of
from evenhand.verdict.green import GreenReading, read_green
from evenhand.verdict.season import read_season
from evenhand.verdict.tastings import Batch, Lot, LotReading, LotStorage, Target

GOAL = {("black", "bitterness"): Target(4.5, 1.0)}
HARVEST = "2030-06-01"


def date_after(first, months):
    return str(np.datetime64(first, "D") + np.timedelta64(round(months * 30.4375), "D"))


def season_of_lots(make_season, make_tastings, rng, changes, *, batches=14, kg=12.0, level=4.0, heard=None):
    """Draw one lot for each change a month, roasted from month 2 to 10 after a harvest a year apart, 0.2 of scatter."""
    months = np.linspace(2.0, 10.0, batches)
    total = len(changes) * batches
    levels = [level + change * m + 0.2 * rng.standard_normal() for change in changes for m in months]
    cups = make_season(rng, lambda i: levels[i], batches=total)
    tastings = make_tastings(cups, targets=GOAL, heard=heard)
    lots, found = [], []
    for j in range(len(changes)):
        harvest = date_after(HARVEST, 12 * j)
        spell = LotStorage(stored_from=harvest, temperature_c=20.0, water_activity=0.55, packaging="breathing")
        lots.append(
            Lot(
                lot=f"lot {j}",
                harvest=f"203{j}/3{j + 1}",
                harvested_on=harvest,
                green_kg=600.0,
                bag_kg=60.0,
                storage=(spell,),
            )
        )
        found += [
            replace(one, roasted_on=date_after(harvest, m), green_in_kg=kg, green_lot=f"lot {j}")
            for one, m in zip(tastings.batches[j * batches : (j + 1) * batches], months, strict=True)
        ]
    return replace(
        tastings,
        batches=tuple(found),
        lots=tuple(lots),
        judged_on=date_after(lots[-1].harvested_on, 10.5),
    )


def test_months_and_their_names():
    assert months_between("2031-01-01", "2032-01-01") == pytest.approx(12.0, abs=0.01)
    assert day_of("2031-03-01T08:15") - day_of("2031-02-28") == 1
    assert month_name("2031-01-20", 12.5) == "2032-02"


def test_stock_is_what_was_delivered_less_what_was_roasted_and_sales_are_of_three_months():
    lot = Lot(lot="L", green_kg=300.0, bag_kg=60.0)
    days = ["2031-01-10", "2031-03-20", "2031-04-20", "2031-05-20"]
    batches = [
        Batch(batch=str(i), coffee="K", roasted_on=day, green_in_kg=kg)
        for i, (day, kg) in enumerate(zip(days, [12.0, 12.0, 15.0, 15.0], strict=True))
    ]
    got = stock_of(lot, batches, "2031-06-01")
    assert got.left_kg == 300 - 54
    assert got.left == pytest.approx(246 / 60)
    # The last three months hold 12 + 15 + 15 kg; a count of three is known to its root.
    assert got.a_month.value == pytest.approx(42 / 3 / 60)
    assert got.a_month.sd == pytest.approx(np.sqrt(12**2 + 15**2 + 15**2) / 3 / 60)
    assert got.recent_batches == 3


def test_a_lot_opened_six_weeks_ago_has_sold_for_six_weeks():
    lot = Lot(lot="L", green_kg=100.0)
    batches = [Batch(batch="1", coffee="K", roasted_on="2031-04-18", green_in_kg=15.0)]
    got = stock_of(lot, batches, "2031-06-03")
    assert got.unit == "kg"
    assert got.a_month.value == pytest.approx(15 / (46 / 30.4375))


def test_a_batch_that_nobody_weighed_counts_as_a_usual_one_and_is_said():
    lot = Lot(lot="L", green_kg=100.0)
    batches = [
        Batch(batch=str(i), coffee="K", roasted_on="2031-05-18", green_in_kg=kg)
        for i, kg in enumerate([10.0, 14.0, None])
    ]
    got = stock_of(lot, batches, "2031-06-01")
    assert got.used_kg == 36.0
    assert got.unweighed == 1
    assert stock_of(replace(lot, green_kg=None), batches, "2031-06-01") is None


def test_storage_begins_unknown_and_each_spell_lasts_until_the_next():
    lot = Lot(
        lot="L",
        harvested_on="2031-01-01",
        readings=(LotReading(read_on="2031-05-01", water_activity=0.6),),
        storage=(
            LotStorage(stored_from="2031-03-03", temperature_c=24.0, packaging="airtight"),
            LotStorage(stored_from="2031-05-03", temperature_c=18.0, water_activity=0.5),
        ),
    )
    before, warm, cool = history_of(lot)
    assert (before.months, before.temperature_c, before.known) == (pytest.approx(61 / 30.4375), None, False)
    assert (warm.months, warm.temperature_c, warm.water_activity, warm.airtight) == (
        pytest.approx(61 / 30.4375),
        24.0,
        0.6,
        True,
    )
    assert (cool.months, cool.water_activity, cool.airtight) == (np.inf, 0.5, False)
    assert history_of(replace(lot, harvested_on=None)) == ()


def test_a_water_activity_that_nobody_read_comes_from_the_moisture():
    """The windows of the trade: about 11 % moisture goes with a water activity between 0.5 and 0.65."""
    lot = Lot(
        lot="L",
        harvested_on="2031-01-01",
        readings=(LotReading(read_on="2031-05-01", moisture_pct=11.0, moisture_method="oven, 105 C, 16 h"),),
    )
    (spell,) = history_of(lot)
    assert 0.5 < spell.water_activity < 0.65


def test_moistures_carry_their_methods_and_two_methods_are_not_compared():
    lot = Lot(
        lot="L",
        readings=(
            LotReading(read_on="2031-01-01", moisture_pct=11.0, moisture_method="oven"),
            LotReading(read_on="2031-02-01", moisture_pct=12.4, moisture_method="meter"),
            LotReading(read_on="2031-03-01", moisture_pct=10.4, moisture_method="oven", water_activity=0.55),
        ),
    )
    said = " ".join(describe_readings(lot))
    assert "10.4 % by oven, read 2031-03-01; -0.6 points since 2031-01-01 by the same method" in said
    assert "12.4 % by meter, read 2031-02-01." in said
    assert "do not set one against the other" in said


def test_a_planted_ageing_is_found_with_its_month_and_presses(make_season, make_tastings):
    """Bitterness climbs by 0.2 points a month from 3.5, and leaves 5.5 in month 10."""
    rng = np.random.default_rng(3)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.2, 0.2], level=3.5, batches=16)
    tastings = replace(tastings, judged_on=date_after(tastings.lots[-1].harvested_on, 9.0))
    tastings = replace(tastings, batches=tuple(b for b in tastings.batches if b.roasted_on <= tastings.judged_on))
    kept = {one.batch for one in tastings.batches}
    mine = np.isin(tastings.scores.batch, sorted(kept))
    scores = tastings.scores
    tastings = replace(
        tastings,
        pulls=tuple(one for one in tastings.pulls if one.batch in kept),
        scores=type(scores)(**{name: getattr(scores, name)[mine] for name in scores.__dataclass_fields__}),
    )
    (coffee,) = read_green(tastings).coffees
    (line,) = coffee.lines
    assert line.speaking == 2
    current = coffee.lots[0]
    assert (current.lot, current.current, current.months_now) == ("lot 1", True, pytest.approx(9.0, abs=0.05))
    change = next(one for one in line.of_lots if one.lot == "lot 1")
    assert change.shows
    assert change.change.value == pytest.approx(0.2, abs=2.5 * change.change.sd)
    (one,) = current.attributes
    assert one.toward == "above"
    assert (one.low, one.high) == (3.5, 5.5)
    assert one.early_months <= 10.0 <= one.late_months
    assert one.likely == month_name(current.harvested_on, one.likely_months)
    assert current.advice.action == "sell faster or move to a blend"
    assert "no expiry" in " ".join(current.sentences)
    assert "rises with the months" in coffee.sentences[0]


def test_where_nothing_ages_nothing_presses(make_season, make_tastings):
    rng = np.random.default_rng(5)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.0, 0.0], level=4.5)
    (coffee,) = read_green(tastings).coffees
    assert not any(one.shows for one in coffee.lines)
    assert coffee.sentences == ("No change with the months shows in any of its 1 attributes.",)
    assert coffee.lots[0].advice.action != "sell faster or move to a blend"


def test_the_second_lot_borrows_from_the_first(make_season, make_tastings):
    """Of the new lot two batches of one month are there: its change is that of the old one, known less well."""
    rng = np.random.default_rng(6)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.2, 0.2], batches=12, level=3.5)
    new = [one for one in tastings.batches if one.green_lot == "lot 1"]
    gone = {one.batch for one in new[2:]}
    mine = ~np.isin(tastings.scores.batch, sorted(gone))
    scores = tastings.scores
    tastings = replace(
        tastings,
        batches=tuple(one for one in tastings.batches if one.batch not in gone),
        pulls=tuple(one for one in tastings.pulls if one.batch not in gone),
        scores=type(scores)(**{name: getattr(scores, name)[mine] for name in scores.__dataclass_fields__}),
        judged_on=new[1].roasted_on,
    )
    (coffee,) = read_green(tastings).coffees
    (line,) = coffee.lines
    old, fresh = (next(one.change for one in line.of_lots if one.lot == name) for name in ("lot 0", "lot 1"))
    assert fresh.value > 0.5 * old.value > 0
    assert fresh.sd > old.sd
    assert [one.lot for one in coffee.lots] == ["lot 1", "lot 0"]


def test_a_batch_with_a_fault_says_nothing_of_the_age(make_season, make_tastings):
    rng = np.random.default_rng(7)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.0])
    shots = [(one.batch, one.pull.name) for one in tastings.pulls]
    heard = [
        (batch, shot, taster, "ashy", float(batch == "B13"))
        for batch, shot in shots
        for taster in ("Ada", "Bo", "Cy", "Di")
    ]
    columns = list(zip(*heard, strict=True))
    reports = type(tastings.reports)(
        **{
            name: np.array(columns[place], dtype=np.str_)
            for name, place in (("batch", 0), ("pull", 1), ("taster", 2), ("fault", 3))
        },
        cup=np.array([f"cup-{shot}" for shot in columns[1]]),
        heard=np.array(columns[4], dtype=float),
    )
    whole, without = read_green(tastings), read_green(replace(tastings, reports=reports))
    assert whole.coffees[0].lines[0].batches == 14
    assert without.coffees[0].lines[0].batches == 13
    assert len(without.coffees[0].lots[0].attributes[0].tasted) == 13


def test_a_roast_that_moved_is_named_beside_a_green_that_seems_to_age(make_season, make_tastings):
    rng = np.random.default_rng(8)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.0], batches=24)
    roasted = [
        replace(one, roast_time_s=float(round(600 + rng.normal(0, 6) + (60 if i >= 12 else 0))))
        for i, one in enumerate(tastings.batches)
    ]
    tastings = replace(tastings, batches=tuple(roasted))
    green = read_green(tastings, season=read_season(tastings))
    assert "Its roast has moved too (Roast time)" in green.coffees[0].sentences[-1]
    assert not any("roast has moved" in one for one in read_green(tastings).coffees[0].sentences)


def test_what_is_not_written_down_is_said(make_season, make_tastings):
    rng = np.random.default_rng(9)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.0])
    undated = replace(tastings, lots=(replace(tastings.lots[0], harvested_on=None),))
    (coffee,) = read_green(undated).coffees
    assert "no day of harvest" in coffee.lots[0].gap
    assert "none of its lots has a day of harvest" in coffee.too_little
    unknown = replace(tastings, lots=())
    (coffee,) = read_green(unknown).coffees
    assert "Nothing is written of the lot lot 0" in coffee.lots[0].gap
    nameless = replace(tastings, batches=tuple(replace(one, green_lot=None) for one in tastings.batches))
    assert read_green(nameless).coffees == ()
    over = replace(tastings, lots=(replace(tastings.lots[0], green_kg=30.0),))
    assert "a batch names the wrong lot" in read_green(over).coffees[0].lots[0].sentences[0]


def test_without_a_batch_in_three_months_there_are_no_sales(make_season, make_tastings):
    rng = np.random.default_rng(10)
    tastings = season_of_lots(make_season, make_tastings, rng, [0.0])
    late = replace(tastings, judged_on=date_after(tastings.judged_on, 6))
    lot = read_green(late).coffees[0].lots[0]
    assert lot.advice is None
    assert "no batch of it in the three months before" in lot.sentences[0]


def test_a_reading_survives_the_way_to_json_and_back(make_season, make_tastings):
    green = read_green(season_of_lots(make_season, make_tastings, np.random.default_rng(11), [0.1, 0.0]))
    kind = TypeAdapter(GreenReading)
    assert kind.validate_json(kind.dump_json(green)) == green


def test_every_sentence_can_be_told_in_another_language(untold, make_season, make_tastings):
    rng = np.random.default_rng(3)
    grows = season_of_lots(make_season, make_tastings, rng, [0.2, 0.0], level=3.5)
    rests = season_of_lots(make_season, make_tastings, rng, [0.0], level=4.5)
    late = replace(rests, judged_on=date_after(rests.judged_on, 6))
    over = replace(rests, lots=(replace(rests.lots[0], green_kg=30.0, bag_kg=None, storage=()),))
    undated = replace(rests, lots=(replace(rests.lots[0], harvested_on=None),))
    said = []
    for tastings in (grows, rests, late, over, undated, replace(rests, lots=())):
        for coffee in read_green(tastings).coffees:
            said += [*coffee.sentences, coffee.too_little, *(line.name for line in coffee.lines)]
            for lot in coffee.lots:
                said += [*lot.sentences, lot.gap, *(one.says for one in lot.attributes)]
    said = {one for one in said if one}
    assert len(said) > 15
    assert set().union(*map(untold, said)) <= {"K", "lot", "bitterness", "Bitterness", "kg"}


def test_readings_can_be_told_in_another_language(untold):
    readings = (
        LotReading(read_on="2031-01-01", moisture_pct=11.0, moisture_method="oven", water_activity=0.6),
        LotReading(read_on="2031-02-01", moisture_pct=12.4),
        LotReading(read_on="2031-03-01", moisture_pct=10.4, moisture_method="oven"),
        LotReading(read_on="2031-04-01", water_activity=0.55, water_activity_c=25.0),
    )
    for number in (1, 4):
        said = describe_readings(Lot(lot="L", readings=readings[:number]))
        assert len(said) == {1: 2, 4: 4}[number]
        assert set().union(*map(untold, said)) == {"oven"}
