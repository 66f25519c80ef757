"""Tells the last entries of the history in words: who, when, what, from and to."""

import datetime as dt
import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.utils.translation import gettext as _

from evenhand.bench.setup.blind import CODED, locked_signatures, open_tables, table_of
from evenhand.bench.telling import told as in_words
from evenhand.records.chain import kept_models
from evenhand.records.models import Entry, Kept, Person

MOST = 200
_LONGEST = 120
_OWN = frozenset({"id", "version_id", "sheet_id"})
"""Columns of a part that only say which part it is, and of what."""


@dataclass(frozen=True, slots=True)
class Change:
    """One field of an entry, in words; None where there was nothing."""

    field: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class Told:
    """One entry as the page shows it.

    Attributes
    ----------
    hidden
        True where a table is not closed yet: then neither its code nor its content is told.
    """

    seq: int
    at: dt.datetime
    who: str
    action: str
    noun: str
    title: str
    changes: tuple[Change, ...]
    hidden: bool


def sorts() -> list[tuple[str, str]]:
    """Return the sorts of records in the history: name and word."""
    return sorted(((kind, in_words(model.noun())) for kind, model in kept_models().items()), key=lambda pair: pair[1])


def tell(kind: str = "", person: Person | None = None) -> list[Told]:
    """Return the last entries, the newest first.

    Parameters
    ----------
    kind
        One sort of record alone; all of them if empty.
    person
        Who reads: what was signed on a batch that they taste at an open table is not told.
    """
    entries = Entry.objects.order_by("-seq")
    if kind:
        entries = entries.filter(kind=kind)
    tables, models, names = open_tables(), kept_models(), _Names()
    locked = locked_signatures(person) if person is not None else {}
    found = [
        (entry, table_of(entry, tables) or locked.get((entry.kind, entry.record)), json.loads(entry.changes))
        for entry in entries[:MOST]
    ]
    names.learn((models.get(entry.kind), changes) for entry, table, changes in found if table is None)
    return [_tell(entry, table, changes, models.get(entry.kind), names) for entry, table, changes in found]


def _tell(entry: Entry, table: str | None, changes: dict[str, Any], model: type[Kept] | None, names: "_Names") -> Told:
    noun = in_words(model.noun()) if model else entry.kind
    if table is not None:
        title = _("on table %(table)s, told when it closes") % {"table": table}
        return Told(entry.seq, entry.at, entry.who, entry.action, noun, title, (), True)
    told = tuple(_changes(changes, model, names))
    return Told(entry.seq, entry.at, entry.who, entry.action, noun, entry.title, told, False)


def _changes(changes: dict[str, Any], model: type[Kept] | None, names: "_Names") -> Iterable[Change]:
    for column, (before, after) in changes.items():
        if column == "id":
            continue
        yield Change(
            column.removesuffix("_id").replace("_", " "),
            None if before is None else names.show(model, column, before),
            None if after is None else names.show(model, column, after),
        )


class _Names:
    """Turns values into words; what is pointed at is looked up beforehand, in one query for each sort."""

    def __init__(self) -> None:
        self._known: dict[tuple[type[models.Model], Any], str] = {}

    def learn(self, changes: Iterable[tuple[type[models.Model] | None, dict[str, Any]]]) -> None:
        """Look up all records that the values of these changes point at."""
        wanted: dict[type[models.Model], set[Any]] = {}
        for model, told in changes:
            for column, pair in told.items():
                for value in pair:
                    self._want(model, column, value, wanted)
        for model, numbers in wanted.items():
            if model._meta.model_name not in CODED:
                for record in model._default_manager.filter(pk__in=numbers).select_related():
                    self._known[model, record.pk] = str(record)

    def show(self, model: type[models.Model] | None, column: str, value: Any) -> str:
        """Return a value of a column in words."""
        if isinstance(value, list):
            row = _row_of(model, column)
            return _short("; ".join(self._row(row, told) for told in value))
        if isinstance(value, bool):
            return _("yes") if value else _("no")
        if isinstance(value, float):
            return f"{value:.10g}"
        found = _related(model, column)
        return _short(str(value) if found is None else self._known.get((found, value), str(value)))

    def _row(self, row: type[models.Model] | None, told: dict[str, Any]) -> str:
        return " ".join(self.show(row, column, value) for column, value in told.items() if column not in _OWN)

    def _want(
        self, model: type[models.Model] | None, column: str, value: Any, wanted: dict[type[models.Model], set[Any]]
    ) -> None:
        if isinstance(value, list):
            row = _row_of(model, column)
            for told in value:
                for name, content in told.items():
                    if name not in _OWN:
                        self._want(row, name, content, wanted)
        elif value is not None and (found := _related(model, column)) is not None:
            wanted.setdefault(found, set()).add(value)


def _row_of(model: type[models.Model] | None, column: str) -> type[models.Model] | None:
    """Return the model of the rows that a record holds as its parts."""
    part = None if model is None else getattr(model, column, None)
    found = part.rel.related_model if part is not None and hasattr(part, "rel") else None
    return found if isinstance(found, type) else None


def _related(model: type[models.Model] | None, column: str) -> type[models.Model] | None:
    """Return the model that a column points at, if it points at any."""
    if model is None or not column.endswith("_id"):
        return None
    try:
        found = model._meta.get_field(column.removesuffix("_id")).related_model
    except FieldDoesNotExist:
        return None
    return found if isinstance(found, type) else None


def _short(text: str) -> str:
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}…"
