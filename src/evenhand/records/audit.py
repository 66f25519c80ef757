"""The pen: the one way to write a record, which notes who, when, from and to in a history that shows tampering.

Each entry holds the digest of the one before it, so none can be altered, left out or slipped in unnoticed; each digest
is sealed with a key from outside the database. A record's own digest stands in its last entry, so that a change behind
the pen's back is seen too. `evenhand.records.chain.verify_chain` looks for all of it.
"""

import contextlib
import datetime as dt
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar, cast

from django.conf import settings
from django.db import IntegrityError, connection, models, transaction
from django.db.models.deletion import ProtectedError

from evenhand.records import keys
from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.canonical import canonical, digest
from evenhand.records.models import Entry, Kept
from evenhand.records.models._fields import plain
from evenhand.records.models._history import CHANGED, MADE, REMOVED
from evenhand.records.models._kept import noun_of
from evenhand.words import Words, join, say

K = TypeVar("K", bound=Kept)

START = "0" * 64
"""Stands where the first entry names the one before it."""

_LOCK = 0x45564E48
_ROWS_AT_ONCE = 500


@contextlib.contextmanager
def writing() -> Iterator[None]:
    """Hold the one place at the end of the history: within it nobody else writes, and all is kept or nothing is."""
    with transaction.atomic():
        if connection.vendor == "postgresql":  # SQLite has one writer at a time anyway
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
        yield


def head() -> tuple[int, str]:
    """Return the number and digest of the last entry: noted elsewhere, they show later that nothing was cut off."""
    last = Entry.objects.order_by("-seq").values_list("seq", "digest").first()
    return last or (0, START)


def entry_content(entry: Entry) -> dict[str, Any]:
    """Return what the digest of an entry covers: all of it but the digest and its seal."""
    left_out = ("digest", "key_name", "seal")
    return {f.name: plain(f, getattr(entry, f.name)) for f in Entry._meta.concrete_fields if f.name not in left_out}


def _ring() -> keys.KeyRing:
    return keys.load(settings.EVENHAND_KEY_FILE, make=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Writes records in one person's name.

    Parameters
    ----------
    who
        The name of the person, or of what acts for one, such as "import by Una".
    at
        The time of writing, with its zone.
    ring
        The keys that seal; those of the setting EVENHAND_KEY_FILE if left out.
    """

    who: str
    at: dt.datetime
    ring: keys.KeyRing = field(default_factory=_ring)

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise RecordError(say("The time of writing needs its zone."))
        if not self.who.strip() or len(self.who) > 200 or not self.who.isprintable():
            raise RecordError(say("Say who writes, in 1 to 200 characters on one line: every record names its writer."))

    @property
    def today(self) -> dt.date:
        """The day of writing, in the zone of its time."""
        return self.at.date()

    def make(self, record: K, **parts: Sequence[Kept]) -> K:
        """Write a new record, with the rows of its parts by their name (``scores=[...]``).

        Returns
        -------
        Kept
            The same record, now with its number.

        Raises
        ------
        RecordError
            When a field is missing or not allowed, or the record stands there already.
        """
        record.settle()
        record.check_together(self.today)
        return self.make_many([(record, parts)])[0]

    def make_many(self, records: Sequence[tuple[K, Mapping[str, Sequence[Kept]]]]) -> list[K]:
        """Write many new records of one kind at once, each with its parts; their fields must have been checked.

        Raises
        ------
        RecordError
            When a field is not allowed, or a record stands there already.
        """
        if not records:
            return []
        owners = [record for record, _ in records]
        if owners[0].is_part:
            raise RecordError(say("A {noun} is written with what it belongs to, never alone.", noun=owners[0].noun()))
        for record, parts in records:
            record.settle()
            if unknown := sorted(set(parts) - set(record.parts)):
                raise RecordError(say("A {noun} has no part named {name}.", noun=record.noun(), name=unknown[0]))
        with writing(), _in_words(owners):
            _insert(owners)
            for name in owners[0].parts:
                relation = type(owners[0])._meta.get_field(name)
                rows = []
                for record, parts in records:
                    for row in parts.get(name, ()):
                        setattr(row, relation.field.name, record)  # type: ignore[union-attr]
                        row.settle()
                        rows.append(row)
                _insert(rows)
            drafts = []
            for record, parts in records:
                values = record.values(parts)
                changes = {name: [None, value] for name, value in values.items()}
                drafts.append(self._draft(MADE, record, changes, state=digest(values)))
            self._append(drafts)
        return owners

    def change(self, record: K, **values: Any) -> K:
        """Change fields of a record; what is equal already is left, and if all is equal nothing is written.

        Returns
        -------
        Kept
            The same record, as it stands now.

        Raises
        ------
        RecordError
            When the record is final, is gone, or a value is not allowed.
        """
        if record.is_final:
            sentence = say(
                "A {noun} is never changed: {record}. Write a new one that takes its place.",
                noun=record.noun(),
                record=record,
            )
            raise RecordError(sentence)
        with writing():
            row = _as_it_stands(record)
            earlier = {f.attname: plain(f, getattr(row, f.attname)) for f in row._meta.concrete_fields}
            before = digest(row.values())
            for name, value in values.items():
                if name in ("id", "pk") or name not in _names_of(row):
                    raise RecordError(
                        say("A {noun} has no field named {name} that can be changed.", noun=row.noun(), name=name)
                    )
                setattr(row, name, value)
            row.settle()
            row.check_together(self.today)
            changes = {}
            for column in row._meta.concrete_fields:
                now = plain(column, getattr(row, column.attname))
                if now != earlier[column.attname]:
                    changes[column.attname] = [earlier[column.attname], now]
            if changes:
                with _in_words([row]):
                    models.Model.save(row, force_update=True, update_fields=list(changes))
                self._append([self._draft(CHANGED, row, changes, before=before, state=digest(row.values()))])
        for column in row._meta.concrete_fields:
            setattr(record, column.attname, getattr(row, column.attname))
        return record

    def remove(self, record: Kept) -> None:
        """Take away a record that nothing else points at; the history keeps what it was.

        Raises
        ------
        RecordError
            When the record is final, is gone, or is in use.
        """
        if record.is_final:
            raise RecordError(say("A {noun} is never removed: {record}.", noun=record.noun(), record=record))
        with writing():
            row = _as_it_stands(record)
            values = row.values()
            changes = {name: [value, None] for name, value in values.items()}
            draft = self._draft(REMOVED, row, changes, before=digest(values))
            try:
                models.Model.delete(row)
            except ProtectedError as error:
                raise RecordError(_why_needed(row, error.protected_objects)) from error
            self._append([draft])

    def _draft(
        self, action: str, record: Kept, changes: Mapping[str, Any], *, before: str = "", state: str = ""
    ) -> Entry:
        return Entry(
            at=self.at,
            who=self.who,
            action=action,
            kind=record.kind(),
            record=record.pk,
            title=str(str(record)),  # what is sealed is plain English, never words
            changes=canonical(changes).decode(),
            before=before,
            state=state,
            key_name=self.ring.name,
        )

    def _append(self, drafts: Sequence[Entry]) -> None:
        """Bind the drafts to the end of the history, one after the other, and write them."""
        seq, previous = head()
        for entry in drafts:
            seq += 1
            entry.seq, entry.previous = seq, previous
            entry.digest = previous = digest(entry_content(entry))
            entry.seal = self.ring.seal(entry.digest)
        _insert(drafts)


def _insert(rows: Sequence[models.Model]) -> None:
    """Write new rows past the guard that keeps everybody but the pen out."""
    if rows:
        query: models.QuerySet[Any] = models.QuerySet(type(rows[0]))
        query.bulk_create(rows, batch_size=_ROWS_AT_ONCE)


def _as_it_stands(record: K) -> K:
    row = type(record)._default_manager.filter(pk=record.pk).first()
    if row is None:
        raise RecordError(say("{noun} {record} is not in the records any more.", noun=record.noun(), record=record))
    return cast("K", row)


def _names_of(record: Kept) -> set[str]:
    return {name for column in record._meta.concrete_fields for name in (column.name, column.attname)}


@contextlib.contextmanager
def _in_words(records: Sequence[Kept]) -> Iterator[None]:
    """Turn what the database refuses into a sentence."""
    try:
        with transaction.atomic():
            yield
    except IntegrityError as error:
        raise _refusal_of(records) from error


def _refusal_of(records: Sequence[Kept]) -> RecordError:
    for record in records:
        for column in record._meta.concrete_fields:
            value = getattr(record, column.attname)
            if not column.unique or column.primary_key or value is None:
                continue
            if type(record)._default_manager.filter(**{column.attname: value}).exclude(pk=record.pk).exists():
                return record.refuse(column.name, say("{value} stands in the records already.", value=quoted(value)))
    record = records[0]
    sentence = say(
        "{noun} {record}: the records hold it already, or its fields clash with each other.",
        noun=record.noun(),
        record=record,
    )
    return RecordError(sentence)


def _why_needed(record: Kept, users: Iterable[models.Model]) -> Words:
    """Say which sorts of records point at one that was to be removed."""
    nouns = {noun_of(type(user)) for user in users}
    return say(
        "{noun} {record} cannot be removed: a {users} points at it.",
        noun=record.noun(),
        record=record,
        users=join(sorted(nouns), " and "),
    )
