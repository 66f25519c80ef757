"""Planning a table, filling its cups, opening and closing it."""

import datetime as dt
import itertools
from types import SimpleNamespace

import numpy as np
import pytest
from django.utils import timezone

from evenhand.bench.models import Place, Seat, Slot, TablePlan
from evenhand.bench.table import planning
from evenhand.records._refusals import RecordError
from evenhand.records.models import Batch, Cup, Person, Pull, Serving, Table
from evenhand.records.sheets import take_sheet

pytestmark = pytest.mark.django_db


def _people(*names: str) -> list[Person]:
    return [Person.objects.get(name=name) for name in names]


def _pull(pen, slot: Slot) -> Pull:
    label = f"{slot.batch.label}-{100 + slot.number}"
    moment = timezone.localtime().replace(tzinfo=None)
    return pen.make(Pull(label=label, batch=slot.batch, pulled_at=moment, dose_g=18.2, beverage_g=36.0, time_s=28.5))


def _sheet(pen, cup: Cup, taster: Person, client_id: str = "one"):
    return take_sheet(pen, client_id=client_id, cup=cup, taster=taster, scores={"acidity": 4.0}, faults={}).sheet


@pytest.fixture
def planned(shop, pen):
    batches = list(Batch.objects.filter(label__in=("H-02", "F-02")))
    return planning.plan_table(
        pen,
        batches=batches,
        pulls={"black": 2, "milk": 1},
        tasters=_people("Wim", "Ida", "Bo"),
        rng=np.random.default_rng(7),
    )


def test_a_plan_has_a_slot_for_every_pull_and_a_place_for_every_taster(planned):
    assert planned.table.name == "T03"  # T01 and T02 came with the folder
    assert planned.table.state == "planned"
    slots = list(planned.slots.order_by("number"))
    assert [slot.number for slot in slots] == [1, 2, 3, 4, 5, 6]
    assert [slot.service for slot in slots] == ["black"] * 4 + ["milk"] * 2
    assert sorted((slot.batch.label, slot.service) for slot in slots) == sorted(
        [("F-02", "black"), ("H-02", "black")] * 2 + [("F-02", "milk"), ("H-02", "milk")]
    )
    assert len({slot.code for slot in slots}) == 6
    for seat in planned.seats.all():
        places = list(seat.places.select_related("slot").order_by("position"))
        assert [place.position for place in places] == [1, 2, 3, 4, 5, 6]
        assert [place.slot.service for place in places] == ["black"] * 4 + ["milk"] * 2
        assert {place.slot_id for place in places} == {slot.pk for slot in slots}


def test_pulls_of_one_batch_do_not_follow_each_other_where_that_can_be(planned):
    black = [slot.batch_id for slot in planned.slots.filter(service="black").order_by("number")]
    assert all(one != other for one, other in itertools.pairwise(black))


def test_the_same_lot_gives_the_same_table_and_another_gives_another():
    from evenhand.bench.table.drawing import draw_table

    def draw(seed: int):
        drawn = draw_table(3, {"black": 2}, 4, np.random.default_rng(seed))
        return drawn.cups, drawn.orders.tolist()

    assert draw(1) == draw(1)
    assert draw(1) != draw(2)


def test_each_taster_has_an_order_of_their_own_and_first_places_are_shared_out():
    from evenhand.bench.table.drawing import draw_table

    drawn = draw_table(4, {"black": 1}, 8, np.random.default_rng(3))
    firsts = drawn.orders[:, 0].tolist()
    assert {firsts.count(cup) for cup in range(4)} == {2}  # Williams (1949): each cup is first equally often


def test_codes_of_a_table_under_way_are_not_used_again(planned, pen):
    old = set(planned.slots.values_list("code", flat=True))
    others = set()
    for seed in range(12):
        other = planning.plan_table(
            pen,
            batches=[Batch.objects.get(label="F-01")],
            pulls={"black": 3},
            tasters=_people("Una"),
            rng=np.random.default_rng(seed),
        )
        others |= set(other.slots.values_list("code", flat=True))
    assert len(others) == 36  # nor do these share one with each other
    assert not others & old


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"batches": []}, "needs a batch"),
        ({"tasters": []}, "needs a taster"),
        ({"pulls": {}}, "needs a pull"),
        ({"pulls": {"black": -1}}, "black, bowl or milk"),
        ({"pulls": {"cold": 1}}, "black, bowl or milk"),
        ({"pulls": {"black": 41}}, "too many"),
    ],
)
def test_a_table_that_cannot_be_is_refused(shop, pen, change, sentence):
    asked = {"batches": [Batch.objects.get(label="H-02")], "pulls": {"black": 1}, "tasters": _people("Bo"), **change}
    with pytest.raises(RecordError, match=sentence):
        planning.plan_table(pen, rng=np.random.default_rng(1), **asked)
    assert Table.objects.count() == 2
    assert not TablePlan.objects.exists()


def test_nobody_sits_twice_or_after_leaving(shop, pen):
    batch, (bo,) = Batch.objects.get(label="H-02"), _people("Bo")
    with pytest.raises(RecordError, match="twice"):
        planning.plan_table(pen, batches=[batch], pulls={"black": 1}, tasters=[bo, bo], rng=np.random.default_rng(1))
    pen.change(bo, is_active=False)
    with pytest.raises(RecordError, match="does not work here"):
        planning.plan_table(pen, batches=[batch], pulls={"black": 1}, tasters=[bo], rng=np.random.default_rng(1))


def test_a_new_plan_has_new_codes_and_the_same_way_in(planned, pen):
    old, join = set(planned.slots.values_list("code", flat=True)), planned.join_code
    planning.replan(
        pen,
        planned,
        batches=[Batch.objects.get(label="H-02")],
        pulls={"black": 3},
        tasters=_people("Ida"),
        rng=np.random.default_rng(7),
    )
    planned.refresh_from_db()
    assert planned.join_code == join
    assert not set(planned.slots.values_list("code", flat=True)) & old
    assert [seat.taster.name for seat in planned.seats.all()] == ["Ida"]
    assert Place.objects.count() == 3


def test_filling_a_slot_writes_cup_and_servings_once(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=2)
    pull = _pull(pen, slot)
    cup = planning.fill_slot(pen, slot, pull)
    assert (cup.code, cup.service, cup.table, cup.position, cup.pull) == (
        f"T03-{slot.code}", "black", planned.table, 2, pull,
    )  # fmt: skip
    served = dict(Serving.objects.filter(cup=cup).values_list("taster__name", "position"))
    assert served == dict(Place.objects.filter(slot=slot).values_list("seat__taster__name", "position"))
    assert planning.fill_slot(pen, slot, pull) == cup
    assert (Cup.objects.filter(table=planned.table).count(), Serving.objects.filter(cup=cup).count()) == (1, 3)


def test_a_slot_takes_no_other_batch_no_second_pull_and_a_pull_fills_one_slot(planned, pen):
    first, *rest = planned.slots.select_related("plan__table", "batch").order_by("number")
    same = next(slot for slot in rest if slot.batch_id == first.batch_id)
    other = next(slot for slot in rest if slot.batch_id != first.batch_id)
    pull = _pull(pen, first)
    with pytest.raises(RecordError, match="another batch"):
        planning.fill_slot(pen, other, pull)
    planning.fill_slot(pen, first, pull)
    with pytest.raises(RecordError, match="stands on a table"):
        planning.fill_slot(pen, same, pull)
    with pytest.raises(RecordError, match="made already"):
        planning.fill_slot(pen, first, _pull(pen, same))


def test_emptying_a_slot_undoes_filling_it_until_a_sheet_came(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    pull = _pull(pen, slot)
    planning.fill_slot(pen, slot, pull)
    planning.empty_slot(pen, slot)
    planning.empty_slot(pen, slot)
    slot.refresh_from_db()
    assert slot.pull is None
    assert not Cup.objects.filter(table=planned.table).exists()
    assert Pull.objects.filter(pk=pull.pk).exists()
    cup = planning.fill_slot(pen, slot, pull)
    _sheet(pen, cup, Person.objects.get(name="Ida"))
    with pytest.raises(RecordError, match="sheet has come in"):
        planning.empty_slot(pen, slot)


def test_a_table_opens_goes_back_opens_and_closes_for_good(planned, pen):
    table = planned.table
    with pytest.raises(RecordError, match="only a table that is open can be closed"):
        planning.close_table(pen, table)
    planning.open_table(pen, table)
    assert (table.state, table.opened_at) == ("open", pen.at)
    planning.reopen_plan(pen, table)
    assert (table.state, table.opened_at) == ("planned", None)
    planning.open_table(pen, table)
    planning.close_table(pen, table)
    assert (table.state, table.closed_at) == ("closed", pen.at)
    for step in (planning.open_table, planning.reopen_plan, planning.close_table, planning.remove_table):
        with pytest.raises(RecordError, match="closed"):
            step(pen, table)


def test_an_opening_stays_once_a_sheet_came(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    planning.open_table(pen, planned.table)
    _sheet(pen, planning.fill_slot(pen, slot, _pull(pen, slot)), Person.objects.get(name="Bo"))
    with pytest.raises(RecordError, match="stays open"):
        planning.reopen_plan(pen, planned.table)


def test_a_planned_table_is_removed_whole_unless_a_cup_is_poured(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    planning.fill_slot(pen, slot, _pull(pen, slot))
    for step in (
        lambda: planning.remove_table(pen, planned.table),
        lambda: planning.replan(
            pen, planned, batches=[slot.batch], pulls={"black": 1}, tasters=_people("Bo"), rng=np.random.default_rng(1)
        ),
    ):
        with pytest.raises(RecordError, match="poured"):
            step()
    planning.empty_slot(pen, slot)
    planning.remove_table(pen, planned.table)
    assert not Table.objects.filter(name="T03").exists()
    assert not TablePlan.objects.exists()
    assert not Slot.objects.exists()
    assert not Seat.objects.exists()


def test_somebody_may_join_late_and_leave_while_no_sheet_of_theirs_is_in(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    cup = planning.fill_slot(pen, slot, _pull(pen, slot))
    teo = Person.objects.get(name="Teo")
    seat = planning.add_taster(pen, planned, teo, np.random.default_rng(2))
    assert [served.service for served in planning.served_cups(seat)] == ["black"] * 4 + ["milk"] * 2
    assert cup.servings.filter(taster=teo).count() == 1
    with pytest.raises(RecordError, match="sits at table T03 already"):
        planning.add_taster(pen, planned, teo, np.random.default_rng(2))
    planning.remove_taster(pen, planned, teo)
    assert not cup.servings.filter(taster=teo).exists()
    planning.add_taster(pen, planned, teo, np.random.default_rng(3))
    _sheet(pen, cup, teo)
    with pytest.raises(RecordError, match="handed in a sheet"):
        planning.remove_taster(pen, planned, teo)


def test_who_leads_takes_a_seat_before_the_table_is_opened_or_never(planned, pen):
    """Else a lead stands up, reads what the others said of the cups, and sits down again."""
    una, wim, teo = (Person.objects.get(name=name) for name in ("Una", "Wim", "Teo"))
    planning.add_taster(pen, planned, una, np.random.default_rng(2))
    planning.open_table(pen, planned.table)
    planning.remove_taster(pen, planned, una)
    for person in (una, wim):
        if not planned.seats.filter(taster=person).exists():
            with pytest.raises(RecordError, match=f"{person.name} leads"):
                planning.add_taster(pen, planned, person, np.random.default_rng(3))
    assert not planned.seats.filter(taster=una).exists()
    assert planning.add_taster(pen, planned, teo, np.random.default_rng(4)).taster == teo


def test_progress_tells_who_is_awaited_in_few_queries(planned, pen, django_assert_max_num_queries):
    one, two = planned.slots.select_related("plan__table", "batch").order_by("number")[:2]
    cup = planning.fill_slot(pen, one, _pull(pen, one))
    planning.fill_slot(pen, two, _pull(pen, two))
    ida = Person.objects.get(name="Ida")
    first = _sheet(pen, cup, ida)
    take_sheet(
        pen, client_id="two", cup=cup, taster=ida, scores={"acidity": 5.0}, faults={}, supersedes=first.client_id
    )  # a correction counts once
    with django_assert_max_num_queries(4):
        seen = planning.progress(planned.table)
    assert (seen.expected, seen.handed_in, seen.waiting, seen.poured, seen.not_poured) == (18, 1, 5, 2, 4)
    assert {row.taster.name: (row.handed_in, row.waiting) for row in seen.tasters} == {
        "Bo": (0, 2), "Ida": (1, 1), "Wim": (0, 2),
    }  # fmt: skip
    states = {row.code: [cell.state for cell in row.cells] for row in seen.cups}
    assert states[one.code] == ["waiting", "in", "waiting"]
    assert states[two.code] == ["waiting"] * 3
    assert list(states.values()).count(["empty"] * 3) == 4
    assert planning.progress_counts([planned.table]) == {planned.table.pk: (1, 18, 4)}


def test_served_cups_come_in_the_tasters_own_order(planned, pen, django_assert_max_num_queries):
    seat = planned.seats.select_related("plan__table", "taster").get(taster__name="Wim")
    slot = planned.slots.select_related("plan__table", "batch").get(number=3)
    cup = planning.fill_slot(pen, slot, _pull(pen, slot))
    _sheet(pen, cup, seat.taster)
    with django_assert_max_num_queries(3):
        served = planning.served_cups(seat)
    assert [row.position for row in served] == [1, 2, 3, 4, 5, 6]
    (poured,) = [row for row in served if row.is_poured]
    assert (poured.code, poured.is_done, poured.cup) == (slot.code, True, cup.pk)
    assert not any(row.is_done or row.cup for row in served if row is not poured)


def test_batches_are_blind_and_seats_open_until_the_table_closes(planned, pen):
    both = set(Batch.objects.filter(label__in=("H-02", "F-02")).values_list("pk", flat=True))
    ida, teo = _people("Ida", "Teo")
    assert planning.blind_batches() == both
    assert not planning.seats_at_open_tables(ida).exists()
    planning.open_table(pen, planned.table)
    assert planning.blind_batches(ida) == both
    assert planning.blind_batches(teo) == set()
    assert [seat.plan for seat in planning.seats_at_open_tables(ida)] == [planned]
    planning.close_table(pen, planned.table)
    assert planning.blind_batches() == set()
    assert not planning.seats_at_open_tables(ida).exists()


def test_caffeine_is_shared_out_and_set_against_the_published_bounds(planned, pen):
    # 18 g at 12 mg/g of which 0.8 is extracted: 172.8 mg a pull; six pulls over three tasters: 345.6 mg each.
    rows = planning.offered(planned)
    assert [row.taster.name for row in rows] == ["Bo", "Ida", "Wim"]
    assert [row.caffeine_mg for row in rows] == pytest.approx([345.6] * 3)
    assert rows[0].note == "over 200 mg"  # EFSA (2015), EFSA Journal 13(5):4102: 200 mg at once, 400 mg a day
    assert (rows[0].cups, rows[0].milk_cups) == (6, 2)
    assert any("200 mg" in said for said in rows[0].sentences)
    assert any("milk" in said for said in rows[0].sentences)
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    planning.fill_slot(pen, slot, _pull(pen, slot))  # 18.2 g, as pulled
    assert planning.offered(planned)[0].caffeine_mg == pytest.approx((5 * 18.0 + 18.2) * 12 * 0.8 / 3)


def test_caffeine_of_the_day_counts_the_other_tables_of_that_day(planned, pen):
    planning.open_table(pen, planned.table)
    batch = Batch.objects.select_related("version__recipe").get(label="F-01")
    (row, alone) = planning.offered_by_draft(
        [batch], {"black": 1, "milk": 0}, _people("Bo", "Lev"), day=timezone.localdate()
    )
    assert (row.caffeine_mg, row.day_caffeine_mg) == pytest.approx((86.4, 86.4 + 345.6))
    assert any("400 mg" in said for said in row.sentences)
    assert alone.day_caffeine_mg == pytest.approx(86.4)
    tomorrow = timezone.localdate() + dt.timedelta(days=1)
    planning.close_table(pen, planned.table)
    (row, _) = planning.offered_by_draft([batch], {"black": 1}, _people("Bo", "Lev"), day=tomorrow)
    assert row.day_caffeine_mg == pytest.approx(86.4)


def test_flights_give_the_palate_a_pause():
    (black, milk) = planning.flights({"black": 7, "milk": 6, "bowl": 0})
    assert (black.flights, milk.flights) == (2, 1)  # six cups a flight: common practice, no source


def test_a_pull_cannot_come_onto_a_plan_that_was_drawn_anew(planned, pen):
    slot = planned.slots.select_related("plan__table", "batch").get(number=1)
    pull = _pull(pen, slot)
    gone = SimpleNamespace(pk=slot.pk)
    planning.replan(
        pen, planned, batches=[slot.batch], pulls={"black": 1}, tasters=_people("Bo"), rng=np.random.default_rng(1)
    )
    with pytest.raises(RecordError, match="planned anew"):
        planning.fill_slot(pen, gone, pull)
