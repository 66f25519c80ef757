"""Looks whether the history is whole, and whether every record still is what its last entry says."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db.models import QuerySet

from evenhand.records import keys
from evenhand.records._refusals import RecordError
from evenhand.records.audit import START, entry_content
from evenhand.records.canonical import digest
from evenhand.records.models import Entry, Kept
from evenhand.words import Words, say

_ROWS_AT_ONCE = 2000
_UNREADABLE = "unreadable"

Key = tuple[str, int]
"""A record: its sort, and its number in the database."""


@dataclass(frozen=True, slots=True)
class Break:
    """The first thing that is not as it was written.

    Attributes
    ----------
    seq
        The entry of the history at which it shows; None for a record that no entry tells of.
    what
        A sentence.
    """

    seq: int | None
    what: Words


@dataclass(frozen=True, slots=True)
class Verification:
    """What was looked at, and the first break, if there is one.

    Attributes
    ----------
    entries, records
        How many were found sound; no record is looked at when the history itself is broken.
    """

    entries: int
    records: int
    broken: Break | None


def verify_chain(*, anchor: tuple[int, str] | None = None, check_seals: bool = True) -> Verification:
    """Look whether the history is whole and every record is as its last entry says.

    Parameters
    ----------
    anchor
        Number and digest of an entry as noted earlier and elsewhere (`evenhand.records.audit.head`); shows a history
        that was cut off at its end, or written anew as a whole.
    check_seals
        False leaves the seals out, for where the key is not at hand.

    Returns
    -------
    Verification
        `broken` names the first broken record, by the order of the history.
    """
    walk = _Walk(keys.load(settings.EVENHAND_KEY_FILE, make=False) if check_seals else None, anchor)
    if broken := walk.on():
        return Verification(walk.seq, 0, broken)
    if anchor is not None and walk.seq < anchor[0]:
        sentence = say(
            "The history ends with entry {last}, but entry {noted} was noted elsewhere.", last=walk.seq, noted=anchor[0]
        )
        return Verification(walk.seq, 0, Break(walk.seq + 1, sentence))
    records, broken = _compare(walk)
    return Verification(walk.seq, records, broken)


def kept_models() -> dict[str, type[Kept]]:
    """Return the models that have entries of their own, by their name in the history; parts go with their owners."""
    models = [model for model in apps.get_models() if issubclass(model, Kept) and not model.is_part]
    return {model.kind(): model for model in models}


@dataclass(slots=True)
class _Walk:
    """How far the history was followed, and what each record must look like by then."""

    ring: keys.KeyRing | None
    anchor: tuple[int, str] | None
    seq: int = 0
    previous: str = START
    states: dict[Key, tuple[str, int]] = field(default_factory=dict)

    def on(self) -> Break | None:
        """Follow the history to its end, or to its first break."""
        entries = Entry.objects.filter(seq__gt=self.seq).order_by("seq").iterator(chunk_size=_ROWS_AT_ONCE)
        try:
            for entry in entries:
                if sentence := self._fault_of(entry):
                    return Break(self.seq + 1, sentence)
                self.seq, self.previous = entry.seq, entry.digest
                self.states[entry.kind, entry.record] = (entry.state, entry.seq)
        except ValueError:
            number = self.seq + 1
            return Break(number, say("Entry {number} cannot be read: its content was altered.", number=number))
        return None

    def state(self, key: Key) -> str:
        """Return the digest that a record must have: empty if it must not be there."""
        return self.states.get(key, ("", 0))[0]

    def _fault_of(self, entry: Entry) -> Words | None:
        if entry.seq != self.seq + 1:
            return say(
                "Entry {number} is missing: the next one is number {next} ({entry}).",
                number=self.seq + 1,
                next=entry.seq,
                entry=entry,
            )
        if entry.previous != self.previous:
            return say("Entry {entry} does not follow on the one before it.", entry=entry)
        if digest(entry_content(entry)) != entry.digest:
            return say("Entry {entry}: its content was altered.", entry=entry)
        if self.anchor is not None and entry.seq == self.anchor[0] and entry.digest != self.anchor[1]:
            return say("Entry {entry} is not the one that was noted elsewhere.", entry=entry)
        if self.ring is not None and not self.ring.check(entry.key_name, entry.digest, entry.seal):
            if self.ring.knows(entry.key_name):
                return say("Entry {entry}: its seal is false.", entry=entry)
            return say("Entry {entry} is sealed with a key that is not here ({key}).", entry=entry, key=entry.key_name)
        if entry.before != self.state((entry.kind, entry.record)):
            return say("Entry {entry}: before it, the record had been altered without a pen.", entry=entry)
        return None


def _compare(walk: _Walk) -> tuple[int, Break | None]:
    """Hold every record against its last entry; what others write in the meantime is caught up with."""
    stray: set[Key] = set()
    seen: set[Key] = set()
    for model in kept_models().values():
        for key, state in _states(model):
            seen.add(key)
            if state != walk.state(key):
                stray.add(key)
    stray |= {key for key, (state, _) in walk.states.items() if state and key not in seen}
    while stray:  # a record may have been written since the history was read: read on, and look again
        end = walk.seq
        if broken := walk.on():
            return 0, broken
        stray = {key for key in stray if _state(key) != walk.state(key)}
        if walk.seq == end:
            break
    breaks = [_told(walk, key) for key in stray]
    return len(seen), min(breaks, key=lambda found: (found.seq is None, found.seq), default=None)


def _told(walk: _Walk, key: Key) -> Break:
    kind, number = key
    state, seq = walk.states.get(key, ("", None))
    if seq is None:
        sentence = say(
            "{kind} number {number} stands in the records, but no entry says who wrote it.", kind=kind, number=number
        )
        return Break(None, sentence)
    entry = Entry.objects.get(seq=seq)
    if not state:
        return Break(seq, say("Entry {entry}: the record stands there all the same.", entry=entry))
    if not _state(key):
        sentence = say("Entry {entry}: the record is gone, and no entry says that it was removed.", entry=entry)
        return Break(seq, sentence)
    return Break(seq, say("Entry {entry}: since then the record was altered without a pen.", entry=entry))


def _states(model: type[Kept]) -> Iterator[tuple[Key, str]]:
    """Yield the state of every row; where a row was spoilt beyond reading, rows are read one by one."""
    try:
        for row in _rows(model).iterator(chunk_size=_ROWS_AT_ONCE):
            yield (row.kind(), int(row.pk)), _state_of(row)
    except ValueError:
        for number in model._default_manager.order_by("pk").values_list("pk", flat=True):
            yield (model.kind(), number), _state((model.kind(), number))


def _state(key: Key) -> str:
    """Return the state of one record, empty if it is not there."""
    model = kept_models().get(key[0])
    try:
        row = None if model is None else _rows(model).filter(pk=key[1]).first()
    except ValueError:
        return _UNREADABLE
    return "" if row is None else _state_of(row)


def _state_of(row: Kept) -> str:
    try:
        return row.fingerprint()
    except (RecordError, ValueError):
        return _UNREADABLE


def _rows(model: type[Kept]) -> QuerySet[Any]:
    return model._default_manager.order_by("pk").prefetch_related(*model.parts)
