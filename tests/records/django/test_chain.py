"""Whoever alters the records without a pen is found out, wherever it was done."""

import datetime as dt
from pathlib import Path

import pytest
from django.db import IntegrityError, connection, models, transaction
from django.db.utils import DataError
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st

from evenhand.records import keys
from evenhand.records._refusals import RecordError
from evenhand.records.audit import START, Pen, entry_content, head
from evenhand.records.canonical import digest
from evenhand.records.chain import kept_models, verify_chain
from evenhand.records.models import (
    Coffee,
    Entry,
    FaultAnswer,
    GreenLot,
    Kept,
    Person,
    Pull,
    Recipe,
    Score,
    Sheet,
    Target,
    Verdict,
    Withdrawal,
)

PARTS = [Score, FaultAnswer, Target]


class UndoError(Exception):
    """Ends a spoilt stretch, so that the database forgets it."""


def broken_after(spoil, **how):
    """Spoil the records, look for the break, and undo it; a spoiling that the database refuses counts as found."""
    found = None
    try:
        with transaction.atomic():
            spoil()
            found = verify_chain(**how).broken
            raise UndoError
    except UndoError:
        return found
    except (IntegrityError, DataError):
        return "refused"


def past_the_pen(model, pk, **values):
    return models.QuerySet(model).filter(pk=pk).update(**values)


def other_values(field, value):
    """Return values of the field's own kind that differ from the one it has."""
    if isinstance(field, models.ForeignKey):
        near = list(field.related_model.objects.exclude(pk=value).order_by("pk").values_list("pk", flat=True)[:2])
        return near + ([None] if field.null and value is not None else [])
    if isinstance(field, models.BooleanField):
        return [not value]
    if isinstance(field, models.FloatField):
        return [1.5 if value is None else value * (1 + 1e-15) + 1e-9, 7.25] + ([None] if field.null and value else [])
    if isinstance(field, models.DateTimeField):
        return [(value or dt.datetime(2026, 1, 1, tzinfo=dt.UTC)) + dt.timedelta(microseconds=1)]
    if isinstance(field, models.DateField):
        return [(value or dt.date(2026, 1, 1)) - dt.timedelta(days=1)]
    if isinstance(field, models.IntegerField):
        return [(value or 0) + 1000]
    if field.name == "pulled_at":
        return [dt.datetime(2026, 5, 30, 8, 0)]
    if field.choices:
        return [choice for choice, _ in field.choices if choice != value]
    other_end = f"{value[:-1]}{'~' if value[-1] != '~' else '-'}" if value else "x"
    return [other_end] + ([""] if value else []) + ([None] if field.null and value else [])


@pytest.mark.django_db
class TestTampering:
    def test_records_as_they_were_written_are_sound(self, signed):
        found = verify_chain()
        assert found.broken is None
        assert found.entries == head()[0] == Entry.objects.count()
        assert found.records == sum(model.objects.count() for model in kept_models().values())

    def test_every_model_of_the_records_is_tried_below(self, signed):
        tried = [*kept_models().values(), *PARTS]
        assert all(model.objects.exists() for model in tried)
        assert {m for m in Kept.__subclasses__() if not m._meta.abstract} == set(tried)

    def test_any_stored_field_of_any_record(self, signed):
        """Each field of the first and last row of each table, the history itself among them, is altered in turn."""
        tried = 0
        for model in [*kept_models().values(), *PARTS, Entry]:
            for row in {model.objects.order_by("pk").first(), model.objects.order_by("pk").last()}:
                for field in model._meta.concrete_fields:
                    for value in other_values(field, getattr(row, field.attname)):
                        found = broken_after(
                            lambda m=model, r=row, f=field, v=value: past_the_pen(m, r.pk, **{f.attname: v})
                        )
                        assert found is not None, f"{model.__name__}.{field.name} of {row}: {value!r} was not noticed"
                        tried += 1
        assert tried > 300
        assert verify_chain().broken is None

    @examples(
        max_examples=80, suppress_health_check=[HealthCheck.function_scoped_fixture]
    )  # each example undoes itself
    @given(data=st.data())
    def test_any_field_of_a_signed_record_set_to_anything(self, signed, data):
        model = data.draw(st.sampled_from([Verdict, Withdrawal, Sheet, Score, FaultAnswer]))
        row = data.draw(st.sampled_from(list(model.objects.order_by("pk"))))
        field = data.draw(
            st.sampled_from([f for f in model._meta.concrete_fields if not isinstance(f, models.ForeignKey)])
        )
        now = getattr(row, field.attname)
        kinds = {
            models.BooleanField: st.booleans(),
            models.FloatField: st.floats(0, 10),
            models.DateTimeField: st.datetimes(dt.datetime(1990, 1, 1), timezones=st.just(dt.UTC)),
            models.BigIntegerField: st.integers(1, 2**40),
            models.BigAutoField: st.integers(1, 2**40),
        }
        text = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=11)
        value = data.draw(kinds.get(type(field), text).filter(lambda v: v != now))
        assert broken_after(lambda: past_the_pen(model, row.pk, **{field.attname: value})) is not None

    def test_a_value_of_the_wrong_kind_is_found_and_does_not_stop_the_search(self, signed):
        if connection.vendor != "sqlite":
            assert broken_after(lambda: past_the_pen(Pull, Pull.objects.first().pk, time_s=float("nan"))) is not None
            return
        for table, column, junk in [
            ("records_verdict", "signed_at", "2026-02-31 25:00:00"),
            ("records_verdict", "signed_at", "yesterday"),
            ("records_pull", "pulled_at", "noon"),
            ("records_pull", "dose_g", "many"),
            ("records_batch", "roasted_on", "2026-02-31"),
            ("records_entry", "at", "2026-02-31 25:00:00"),
            ("records_entry", "at", "yesterday"),
            ("records_score", "score", "high"),
        ]:
            found = broken_after(
                lambda t=table, c=column, j=junk: connection.cursor().execute(f"UPDATE {t} SET {c} = %s", [j])
            )
            assert found is not None, f"{table}.{column}"

    def test_deleting_is_found(self, signed, told_with):
        for model, pk in [
            (Withdrawal, Withdrawal.objects.get().pk),
            (Verdict, signed.pk),
            (FaultAnswer, FaultAnswer.objects.first().pk),
        ]:
            found = broken_after(lambda m=model, k=pk: models.QuerySet(m).filter(pk=k)._raw_delete("default"))
            assert found is not None
        found = broken_after(lambda: models.QuerySet(Verdict).filter(pk=signed.pk)._raw_delete("default"))
        assert "the record is gone" in found.what
        assert "verdict hold H-01" in found.what
        told_with(found.what, "verdict hold H-01 Una")

    def test_a_record_that_nobody_wrote_is_found(self, signed, told_with):
        found = broken_after(lambda: models.QuerySet(Person).bulk_create([Person(name="Nobody")]))
        assert found.seq is None
        assert "no entry says who wrote it" in found.what
        told_with(found.what, "person")

    def test_a_removed_record_that_comes_back_is_found(self, signed, pen):
        lot = pen.make(GreenLot(name="Vantry 9"))
        number = lot.pk
        pen.remove(GreenLot.objects.get(pk=number))
        found = broken_after(lambda: models.QuerySet(GreenLot).bulk_create([GreenLot(pk=number, name="Vantry 9")]))
        assert "stands there all the same" in found.what

    def test_a_later_honest_change_does_not_hide_an_earlier_dishonest_one(self, signed, pen):
        pull = Pull.objects.get(label="P1")

        def spoil():
            past_the_pen(Pull, pull.pk, dose_g=17.0)
            pen.change(Pull.objects.get(pk=pull.pk), beverage_g=36.1)

        found = broken_after(spoil)
        assert "before it, the record had been altered without a pen" in found.what

    def test_the_first_broken_record_is_named(self, signed):
        def spoil():
            past_the_pen(Withdrawal, Withdrawal.objects.get().pk, reason="none")
            past_the_pen(Recipe, Recipe.objects.get().pk, name="mansion")
            past_the_pen(Coffee, Coffee.objects.first().pk, name="Other Lantern")

        found = broken_after(spoil)
        first = Entry.objects.get(kind="recipe")
        assert found.seq == first.seq
        assert "recipe house made by Una" in found.what


def take_entries(query):
    query._raw_delete("default")


def rewrite(ring):
    """Forge the history from an altered entry on, with all digests made anew."""
    previous = START
    for entry in Entry.objects.order_by("seq"):
        entry.who = "Somebody else"
        entry.previous = previous
        entry.digest = previous = digest(entry_content(entry))
        entry.key_name, entry.seal = ring.name, ring.seal(entry.digest)
        past_the_pen(Entry, entry.pk, previous=f"{entry.seq:064d}")  # makes room: no two entries follow on the same one
        past_the_pen(
            Entry,
            entry.pk,
            who=entry.who,
            previous=entry.previous,
            digest=entry.digest,
            key_name=entry.key_name,
            seal=entry.seal,
        )


@pytest.mark.django_db
class TestHistoryItself:
    def test_an_entry_left_out(self, signed, told_with):
        found = broken_after(lambda: take_entries(models.QuerySet(Entry).filter(seq=7)))
        assert (found.seq, "Entry 7 is missing" in found.what) == (7, True)
        told_with(found.what, Entry.objects.get(seq=8).kind, Entry.objects.get(seq=8).title, "Una")

    def test_entries_changed_over(self, signed):
        def swap():
            for seq, to in [(7, 10_007), (8, 7), (10_007, 8)]:
                past_the_pen(Entry, seq, seq=to)

        assert broken_after(swap).seq == 7

    def test_a_sealed_entry_of_another_course_of_events_put_in(self, signed, pen):
        """A copy of the records went its own way with the same key; one of its entries is put in here."""
        with transaction.atomic():
            other = pen.make(Person(name="Quill"))
            strange = Entry.objects.get(seq=head()[0])
            transaction.set_rollback(True)
        ours = pen.make(Person(name="Ottilie"))
        pen.make(Person(name="Bram"))

        def put_in():
            models.QuerySet(Person).filter(pk=ours.pk)._raw_delete("default")
            models.QuerySet(Person).bulk_create([Person(pk=other.pk, name="Quill")])
            values = {field.attname: getattr(strange, field.attname) for field in Entry._meta.concrete_fields}
            past_the_pen(Entry, strange.seq, **values)

        found = broken_after(put_in)
        assert (found.seq, "does not follow on the one before it" in found.what) == (strange.seq + 1, True)

    def test_the_end_cut_off_with_its_record(self, signed, told_with):
        """This alone the records cannot tell by themselves; the end noted elsewhere tells it."""
        end = head()

        def cut():
            models.QuerySet(Verdict).filter(pk=signed.pk)._raw_delete("default")
            take_entries(models.QuerySet(Entry).filter(seq=end[0]))

        assert broken_after(cut) is None
        found = broken_after(cut, anchor=end)
        assert f"ends with entry {end[0] - 1}" in found.what
        told_with(found.what)

    def test_an_anchor_holds_while_the_history_grows(self, signed, pen):
        end = head()
        pen.make(Person(name="Ottilie"))
        assert verify_chain(anchor=end).broken is None
        assert "not the one that was noted" in verify_chain(anchor=(end[0], "0" * 64)).broken.what

    def test_a_history_written_anew_lacks_the_key(self, signed, tmp_path, key_file):
        other = keys.load(tmp_path / "other.key", make=True)
        assert "a key that is not here" in broken_after(lambda: rewrite(other)).what
        ours = keys.load(key_file, make=True).name
        feigned = type("Ring", (), {"name": ours, "seal": lambda self, d: other.seal(d)})()
        assert "its seal is false" in broken_after(lambda: rewrite(feigned)).what
        assert broken_after(lambda: rewrite(other), check_seals=False) is None, "the forgery is sound but for its seals"
        assert broken_after(lambda: rewrite(other), check_seals=False, anchor=head()) is not None

    def test_a_new_key_seals_and_the_old_one_still_checks(self, shop, key_file, tmp_path, settings):
        both = tmp_path / "both.key"
        both.write_text(Path(key_file).read_text() + keys.load(tmp_path / "new.key", make=True).keys[0].hex() + "\n")
        settings.EVENHAND_KEY_FILE = str(both)
        Pen(who="Una", at=dt.datetime(2026, 6, 2, tzinfo=dt.UTC)).make(Person(name="Ottilie"))
        assert Entry.objects.values("key_name").distinct().count() == 2
        assert verify_chain().broken is None
        settings.EVENHAND_KEY_FILE = str(tmp_path / "new.key")
        assert verify_chain().broken.seq == 1
        settings.EVENHAND_KEY_FILE = str(tmp_path / "lost.key")
        assert "a key that is not here" in verify_chain().broken.what
        assert not (tmp_path / "lost.key").exists(), "looking makes no key"


class TestKeyFile:
    def test_is_made_once_for_its_owner_alone(self, tmp_path):
        place = tmp_path / "deep" / "history.key"
        first = keys.load(place, make=True)
        assert keys.load(place, make=True) == first
        assert place.stat().st_mode & 0o777 == 0o600
        assert [path.name for path in place.parent.iterdir()] == ["history.key"]
        for told in (
            first.name,
            first.seal("x"),
            repr(first),
            repr(Pen(who="Una", at=dt.datetime.now(dt.UTC), ring=first)),
        ):
            assert first.keys[0].hex() not in told
            assert repr(first.keys[0]) not in told

    @pytest.mark.parametrize("text", ["", "\n", "abc\n", "g" * 64, "a" * 64 + "\nhalf"])
    def test_junk_is_no_key(self, tmp_path, text):
        (tmp_path / "history.key").write_text(text)
        with pytest.raises(RecordError, match="no key file"):
            keys.load(tmp_path / "history.key", make=True)

    def test_a_folder_is_no_key(self, tmp_path):
        with pytest.raises(RecordError, match="cannot be used"):
            keys.load(tmp_path, make=True)
