"""Reads what a taster's page may show: the own order of cups, the questions asked, the own sheets; never a batch."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from django.db.models import Count, F

from evenhand.bench.models import Seat
from evenhand.bench.table.planning import seats_at_open_tables, served_cups
from evenhand.records.models import Attribute, Fault, Person, Sheet, Table, Word
from evenhand.records.sheets import standing_sheets


@dataclass(frozen=True, slots=True)
class OwnSheet:
    """A sheet as its taster handed it in.

    Attributes
    ----------
    client_id
        A correction names it.
    scores
        Intensity by attribute.
    faults
        For each fault that was listened for, whether it was heard; empty where none was listened for.
    words
        Free words.
    """

    client_id: str
    scores: dict[str, float]
    faults: dict[str, bool]
    words: str


@dataclass(frozen=True, slots=True)
class CupToTaste:
    """A cup as its taster meets it: by its code, in the taster's own order.

    Attributes
    ----------
    code
        The three digits on the cup.
    service
        black, milk or bowl.
    position
        Its place in this taster's order, counted from 1.
    is_poured
        Whether its pull is on the records.
    sheet
        The taster's standing sheet on it, if there is one.
    """

    code: str
    service: str
    position: int
    is_poured: bool
    sheet: OwnSheet | None = None


@dataclass(frozen=True, slots=True)
class Questions:
    """What is asked about the cups of one table.

    Attributes
    ----------
    attributes
        By service, every attribute that a coffee on the table has a target for: the same rows for each of its cups, so
        that no row tells which coffee a cup holds.
    faults
        The shop's list as it stands.
    words
        Offered as suggestions.
    """

    attributes: dict[str, list[Attribute]] = field(default_factory=dict)
    faults: Sequence[str] = ()
    words: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class OpenTable:
    """A table at which somebody sits, with how far they are."""

    pk: int
    name: str
    opened_at: dt.datetime | None
    cups: int
    done: int

    @property
    def is_done(self) -> bool:
        """Whether every cup has its sheet."""
        return self.done >= self.cups


def find_seat(table_pk: int, taster: Person) -> Seat | None:
    """Return the seat of a person at a table, with table and taster at hand; None where they do not sit at it."""
    seats = Seat.objects.select_related("plan__table", "taster")
    return seats.filter(plan__table_id=table_pk, taster=taster).first()


def read_cups(seat: Seat) -> list[CupToTaste]:
    """Return the cups of a seat in the taster's own order, each with the taster's own standing sheet."""
    table = seat.plan.table
    standing = standing_sheets().filter(cup__table=table, taster=seat.taster).select_related("cup")
    own = {sheet.cup.code: _own(sheet) for sheet in standing.prefetch_related("scores__attribute", "answers__fault")}
    return [
        CupToTaste(cup.code, cup.service, cup.position, cup.is_poured, own.get(f"{table.name}-{cup.code}"))
        for cup in served_cups(seat)
    ]


def read_questions(table: Table) -> Questions:
    """Return what is asked about the cups of a table."""
    asked = (
        Attribute.objects.filter(targets__version__batches__slots__plan__table=table)
        .annotate(service=F("targets__service"))
        .values_list("service", "pk")
        .distinct()
    )
    scales = Attribute.objects.in_bulk()
    attributes: dict[str, list[Attribute]] = {}
    for service, pk in sorted(asked):
        attributes.setdefault(service, []).append(scales[pk])
    return Questions(
        attributes=attributes,
        faults=list(Fault.objects.filter(is_active=True).order_by("pk").values_list("name", flat=True)),
        words=list(Word.objects.filter(is_active=True).order_by("name").values_list("name", flat=True)),
    )


def open_tables(taster: Person) -> list[OpenTable]:
    """Return the open tables at which a person sits, the newest first."""
    seats = list(seats_at_open_tables(taster).annotate(count=Count("places")))
    tables = [seat.plan.table_id for seat in seats]
    found = standing_sheets().filter(taster=taster, cup__table__in=tables).order_by()
    done = dict(found.values_list("cup__table").annotate(Count("pk")))
    return [
        OpenTable(
            pk=seat.plan.table_id,
            name=seat.plan.table.name,
            opened_at=seat.plan.table.opened_at,
            cups=seat.count,
            done=done.get(seat.plan.table_id, 0),
        )
        for seat in seats
    ]


def cup_as_json(cup: CupToTaste) -> dict[str, Any]:
    """Return a cup as the scripts get it: with the page, and when they ask how it stands."""
    return asdict(cup) | {"is_done": cup.sheet is not None}


def _own(sheet: Sheet) -> OwnSheet:
    return OwnSheet(
        client_id=sheet.client_id,
        scores={row.attribute.name: row.score for row in sheet.scores.all()},
        faults={row.fault.name: row.heard for row in sheet.answers.all()},
        words=sheet.words,
    )
