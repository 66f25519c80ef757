"""Every change keeps who, when, from and to, and there is no way round it."""

import datetime as dt
import json

import pytest
from django.db import transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from evenhand.errors import FolderError
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, head
from evenhand.records.canonical import digest
from evenhand.records.chain import kept_models, verify_chain
from evenhand.records.models import (
    Attribute,
    Batch,
    BatchLot,
    Coffee,
    CoffeeVersion,
    Entry,
    GreenLot,
    GreenReading,
    GreenStorage,
    LotProducer,
    LotVariety,
    Person,
    Pull,
    Recipe,
    Score,
    Serving,
    Sheet,
    Table,
)

AT = dt.datetime(2026, 6, 1, 9, 30, tzinfo=dt.UTC)


def changes(entry):
    return json.loads(entry.changes)


@pytest.mark.django_db
class TestHistory:
    def test_a_change_keeps_who_when_from_and_to(self, shop, pen_of):
        pull = Pull.objects.get(label="P1")
        before = head()[0]
        pen_of("Wim", minutes=5).change(pull, dose_g=18.3, water_c=None)
        entry = Entry.objects.get(seq=before + 1)
        assert (entry.who, entry.at, entry.action) == ("Wim", AT + dt.timedelta(minutes=5), "changed")
        assert (entry.kind, entry.record, entry.title) == ("pull", pull.pk, "P1")
        assert changes(entry) == {"dose_g": [18.1, 18.3], "water_c": [92.8, None]}
        assert (Pull.objects.get(label="P1").dose_g, pull.dose_g, pull.water_c) == (18.3, 18.3, None)

    def test_making_and_removing_keep_all_fields(self, db, pen, pen_of):
        lot = pen.make(GreenLot(name="Vantry 2", green_kg=240))
        number = lot.pk
        pen_of("Wim").remove(lot)
        made, removed = Entry.objects.order_by("seq")
        assert changes(made) == {"id": [None, number], "name": [None, "Vantry 2"], "green_kg": [None, 240]}
        assert changes(removed) == {"id": [number, None], "name": ["Vantry 2", None], "green_kg": [240, None]}
        assert (removed.action, removed.who, removed.state) == ("removed", "Wim", "")
        assert not GreenLot.objects.exists()

    def test_a_change_of_nothing_leaves_no_entry(self, shop, pen):
        before = head()
        pen.change(Pull.objects.get(label="P1"), dose_g=18.1)
        assert head() == before

    def test_from_is_what_the_records_held_and_not_what_a_page_remembered(self, shop, pen):
        stale = Pull.objects.get(label="P1")
        pen.change(Pull.objects.get(label="P1"), dose_g=18.4)
        pen.change(stale, dose_g=18.2)
        assert changes(Entry.objects.latest("seq")) == {"dose_g": [18.4, 18.2]}

    def test_entries_count_without_a_gap(self, signed):
        numbers = list(Entry.objects.order_by("seq").values_list("seq", flat=True))
        assert numbers == list(range(1, len(numbers) + 1))

    def test_a_failed_change_leaves_nothing(self, shop, pen):
        before = head()
        with pytest.raises(RecordError):
            pen.make(
                Pull(label="P1", batch=Batch.objects.get(label="H-01"), pulled_at=AT, dose_g=1, beverage_g=1, time_s=1)
            )
        assert head() == before


@pytest.mark.django_db
class TestNoWayRound:
    def test_records_do_not_write_themselves(self, shop):
        pull = Pull.objects.get(label="P1")
        ways = [
            pull.save,
            pull.delete,
            Pull(label="P9").save,
            Pull.objects.all().delete,
            Pull.objects.filter(label="P1").delete,
            lambda: Pull.objects.update(dose_g=1),
            lambda: Pull.objects.filter(label="P1").update(dose_g=1),
            lambda: Pull.objects.create(label="P9"),
            lambda: Pull.objects.bulk_create([Pull(label="P9")]),
            lambda: Pull.objects.bulk_update([pull], ["dose_g"]),
            lambda: Person.objects.get_or_create(name="Ottilie"),
            lambda: Person.objects.update_or_create(name="Una", defaults={"is_active": False}),
            lambda: pull.batch.pulls.update(dose_g=1),
            lambda: pull.batch.pulls.create(label="P9"),
            Entry.objects.all().delete,
            lambda: Entry.objects.update(who="Nobody"),
            Entry.objects.first().save,
            Entry.objects.first().delete,
        ]
        for way in ways:
            with pytest.raises(RecordError):
                way()
        assert verify_chain().broken is None

    @pytest.mark.parametrize(
        "model", ["sheet", "verdict", "withdrawal", "coffeeversion", "recipeversion", "costsversion"]
    )
    def test_what_is_final_is_neither_changed_nor_removed(self, signed, pen, model):
        record = kept_models()[model].objects.first()
        with pytest.raises(RecordError, match="never changed"):
            pen.change(record, id=7)
        with pytest.raises(RecordError, match="never removed"):
            pen.remove(record)

    def test_what_belongs_to_a_record_is_written_with_it_alone(self, shop, pen):
        sheet, body = Sheet.objects.first(), pen.make(Attribute(name="body", scale_low=0, scale_high=10))
        with pytest.raises(RecordError, match="A score is written with what it belongs to"):
            pen.make(Score(sheet=sheet, attribute=body, score=4))
        with pytest.raises(RecordError, match="A pull has no part named scores"):
            pen.make(
                Pull(label="P9", batch=Batch.objects.first(), pulled_at=AT, dose_g=1, beverage_g=1, time_s=1), scores=[]
            )

    def test_every_part_says_that_it_is_one(self):
        from django.apps import apps

        models = [model for model in apps.get_app_config("records").get_models() if model is not Entry]
        parts = {model._meta.get_field(name).related_model for model in models for name in model.parts}
        assert {model for model in models if model.is_part} == parts

    def test_what_is_in_use_is_not_removed(self, shop, pen):
        with pytest.raises(RecordError, match="pull P1 cannot be removed: a cup points at it"):
            pen.remove(Pull.objects.get(label="P1"))

    def test_the_number_of_a_record_stays(self, shop, pen):
        with pytest.raises(RecordError, match="no field named id"):
            pen.change(Pull.objects.get(label="P1"), id=99)

    @pytest.mark.parametrize(
        ("who", "at"), [("", AT), ("  ", AT), ("Una\n", AT), ("x" * 201, AT), ("Una", AT.replace(tzinfo=None))]
    )
    def test_a_pen_needs_a_name_and_a_zone(self, who, at):
        with pytest.raises(RecordError):
            Pen(who=who, at=at)


@pytest.mark.django_db
class TestLimits:
    @pytest.mark.parametrize(
        ("field", "value", "cell"),
        [
            ("dose_g", 0, "0"),
            ("beverage_g", -3.5, "-3.5"),
            ("time_s", 0, "0"),
            ("water_c", 200, "200"),
            ("pressure_bar", 0, "0"),
            ("tds_pct", 101, "101"),
        ],
    )
    def test_the_records_say_what_the_folder_says(self, shop, pen, good, read_with, told_with, field, value, cell):
        """The same slip meets the same words, on a page as in a file."""
        header, first, *others = good["pulls"].splitlines()
        if field not in header:
            header, first, others = f"{header},{field}", f"{first},", [f"{line}," for line in others]
        cells = first.split(",")
        cells[header.split(",").index(field)] = cell
        with pytest.raises(FolderError) as folder:
            read_with(pulls="\n".join([header, ",".join(cells), *others]))
        with pytest.raises(RecordError) as refused:
            pen.change(Pull.objects.get(label="P1"), **{field: value})
        assert str(refused.value).removeprefix("pull, ") == folder.value.problems[0].removeprefix("pulls.csv, row 2, ")
        told_with(refused.value.args[0], cell)

    @pytest.mark.parametrize("label", ["", " P9", "P9 ", "P\n9", "P\x009", "x" * 201, "e\u0301", None])
    def test_a_label_that_the_folder_could_not_give_back_is_refused(self, shop, pen, told_with, label):
        with pytest.raises(RecordError, match="pull, label") as refused:
            pen.change(Pull.objects.get(label="P1"), label=label)
        told_with(refused.value.args[0], label or "")

    @pytest.mark.parametrize("value", [float("nan"), float("inf"), 2e9, 1e-9])
    def test_numbers_out_of_all_reason_are_refused(self, shop, pen, told_with, value):
        with pytest.raises(RecordError, match="pull, dose_g") as refused:
            pen.change(Pull.objects.get(label="P1"), dose_g=value)
        told_with(refused.value.args[0], str(value))

    def test_fields_that_clash_are_refused(self, shop, pen, told_with):
        batch, lot = Batch.objects.get(label="H-01"), GreenLot.objects.get(name="Vantry 2")
        day = dt.date(2026, 5, 1)
        clashes = [
            (lambda: pen.change(batch, roasted_out_kg=6.5), "cannot weigh more than the 6 kg of green"),
            (lambda: pen.change(batch, roasted_on=dt.date(2026, 6, 2)), "not after today, 2026-06-01"),
            (lambda: pen.change(Pull.objects.get(label="P1"), pulled_at=day), "was roasted later, on 2026-05-04"),
            (lambda: pen.change(lot, elevation_low_m=1800), "below the low end"),
            (lambda: pen.change(Attribute.objects.get(name="sweetness"), scale_high=0), "above its low end"),
            (lambda: pen.make(GreenReading(lot=lot, read_on=day, moisture_pct=11)), "name the method"),
            (lambda: pen.make(GreenReading(lot=lot, read_on=day)), "neither a moisture nor a water activity"),
            (lambda: pen.make(GreenReading(lot=lot, read_on=day, water_activity=55)), "above 0 and below 1"),
            (lambda: pen.change(lot, harvested_on=dt.date(2026, 6, 2)), "harvested_on: 2026-06-02 is after today"),
            (lambda: pen.change(lot, harvested_on=dt.date(2026, 5, 2)), "is before the lot was harvested"),
            (
                lambda: pen.make(
                    BatchLot(batch=batch, lot=pen.make(GreenLot(name="New", harvested_on=dt.date(2026, 6, 1))))
                ),
                "roasted on 2026-05-04, before that lot was harvested, on 2026-06-01",
            ),
            (lambda: pen.make(LotProducer(lot=lot, name="A; B")), '"A; B" holds a semicolon'),
            (lambda: pen.make(GreenStorage(lot=lot, stored_from=day, temperature_c=75)), "not Fahrenheit"),
            (lambda: pen.make(GreenStorage(lot=lot, stored_from=dt.date(2026, 6, 2))), "is after today"),
            (lambda: pen.make(GreenStorage(lot=lot, stored_from=day, packaging="sealed")), "breathing, airtight"),
            (lambda: pen.change(Attribute.objects.get(name="sweetness"), scale_high=15), "is scored from 0 to 10"),
            (lambda: pen.change(Pull.objects.get(label="P1"), time_sd_s=-1), "a standard deviation is 0 s or more"),
            (lambda: pen.change(Serving.objects.get(), position=0), "a position is a whole number from 1"),
            (lambda: pen.change(Table.objects.first(), closed_at=dt.datetime(2026, 6, 1)), "needs its zone"),
            (lambda: pen.make(Person(name="Una")), 'person, name: "Una" stands in the records already.'),
            (lambda: pen.change(batch, label="H-02"), 'batch, label: "H-02" stands in the records already.'),
            (
                lambda: pen.make(LotVariety(lot=lot, name="Amberleaf")),
                "the records hold it already, or its fields clash",
            ),
            (lambda: pen.make(Pull(label="P9", dose_g=1)), "every pull names one"),
            (
                lambda: pen.make(CoffeeVersion(coffee=Coffee.objects.first(), number=9)),
                "every coffee version names one",
            ),
        ]
        for clash, sentence in clashes:
            with pytest.raises(RecordError, match=sentence) as refused:
                clash()
            told_with(
                refused.value.args[0], "H-01 H-02 A B Una Vantry New Amberleaf sweetness sealed breathing airtight"
            )
        assert verify_chain().broken is None

    def test_a_scale_that_nothing_was_scored_on_may_change(self, shop, pen):
        body = pen.make(Attribute(name="body", scale_low=0, scale_high=10))
        assert pen.change(body, scale_high=15).scale_high == 15

    def test_the_database_refuses_too(self, shop):
        """The limits stand in the database as well, for a hand that goes past the pen."""
        from django.db import IntegrityError, models

        for values in ({"dose_g": 0}, {"tds_pct": 101}, {"time_sd_s": -1}, {"label": "P2"}):
            with pytest.raises(IntegrityError), transaction.atomic():
                models.QuerySet(Pull).filter(label="P1").update(**values)


names = st.sampled_from(["Una", "Wim", "Ottilie"])
labels = st.sampled_from([f"lot {n}" for n in range(4)])
masses = st.none() | st.floats(0.5, 500).map(lambda x: round(x, 3))
edits = st.one_of(
    st.tuples(st.just("make"), names, labels, masses),
    st.tuples(st.just("rename"), names, labels, labels),
    st.tuples(st.just("weigh"), names, labels, masses),
    st.tuples(st.just("note"), names, labels, st.none() | st.sampled_from(["damp", "two bags\nleft", "déjà"])),
    st.tuples(st.just("remove"), names, labels, st.none()),
    st.tuples(st.just("read"), names, labels, st.floats(0, 100)),
)


def apply(edit, pen):
    what, _, label, value = edit
    if what == "make":
        pen.make(GreenLot(name=label, green_kg=value))
        return
    lot = GreenLot.objects.filter(name=label).first()
    if lot is None:
        raise RecordError("there is no such lot")
    if what == "remove":
        pen.remove(lot)
    elif what == "read":
        pen.make(GreenReading(lot=lot, read_on=AT.date(), moisture_pct=value, moisture_method="oven"))
    else:
        pen.change(lot, **{{"rename": "name", "weigh": "green_kg", "note": "note"}[what]: value})


@pytest.mark.django_db
@settings(max_examples=60)
@given(st.lists(edits, max_size=15))
def test_any_edits_keep_the_history_complete(sequence):
    """Replaying the history from nothing, and from the end back to nothing, meets every state that was."""
    with transaction.atomic():
        written = []
        for step, edit in enumerate(sequence):
            pen = Pen(who=edit[1], at=AT + dt.timedelta(seconds=step))
            before = head()[0]
            try:
                apply(edit, pen)
            except RecordError:
                assert head()[0] == before
            else:
                written += [(edit[1], pen.at)] * (head()[0] - before)
        entries = list(Entry.objects.order_by("seq"))
        assert [(entry.who, entry.at) for entry in entries] == written
        states: dict[tuple[str, int], dict[str, object]] = {}
        for entry in entries:
            state = states.setdefault((entry.kind, entry.record), {})
            for column, (old, new) in changes(entry).items():
                assert state.pop(column, None) == old
                if new is not None:
                    state[column] = new
            assert entry.state == (digest(state) if state else "")
        now = {
            (row.kind(), row.pk): row.own_values() for model in (GreenLot, GreenReading) for row in model.objects.all()
        }
        assert {key: state for key, state in states.items() if state} == now
        assert verify_chain().broken is None
        transaction.set_rollback(True)


@pytest.mark.django_db
def test_recipes_and_sheets_are_told_with_all_that_belongs_to_them(shop):
    sheet = Sheet.objects.get(cup__code="101", taster__name="Wim")
    entry = Entry.objects.get(kind="sheet", record=sheet.pk)
    told = changes(entry)
    assert [part["score"] for part in told["scores"][1]] == [5]
    assert [part["heard"] for part in told["answers"][1]] == [True]
    assert Recipe.objects.get().versions.count() == 1
