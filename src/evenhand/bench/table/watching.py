"""What can be seen of a table before it closes: which cups are poured, and who handed in a sheet. Never a score."""

from dataclasses import dataclass

from django.db.models import Count, QuerySet

from evenhand.bench.models import Place, Seat, Slot
from evenhand.records.models import Cup, Person, Sheet, Table


@dataclass(frozen=True, slots=True)
class ServedCup:
    """One cup as its taster meets it.

    Attributes
    ----------
    code
        The three digits on the cup.
    service
        black, bowl or milk.
    position
        Its place in this taster's own order, from 1.
    is_poured
        Whether its pull was made.
    is_done
        Whether this taster has a sheet on it.
    cup
        Number of the cup in the records; None until it is poured.
    """

    code: str
    service: str
    position: int
    is_poured: bool
    is_done: bool
    cup: int | None


@dataclass(frozen=True, slots=True)
class Cell:
    """One taster before one cup: `state` is in, waiting (poured, no sheet yet) or empty (not poured)."""

    taster: Person
    state: str


@dataclass(frozen=True, slots=True)
class CupProgress:
    """One cup of a table, with a cell for each seat."""

    code: str
    service: str
    is_poured: bool
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class TasterProgress:
    """How far one taster is: sheets handed in, and those awaited on cups that stand there."""

    taster: Person
    handed_in: int
    waiting: int


@dataclass(frozen=True, slots=True)
class TasterRow:
    """One taster's row of the grid."""

    taster: Person
    handed_in: int
    cells: list[tuple[CupProgress, str]]


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a table is.

    Attributes
    ----------
    cups
        In the order of their codes, which says nothing; services keep together.
    tasters
        In the order of their names.
    """

    cups: tuple[CupProgress, ...]
    tasters: tuple[TasterProgress, ...]

    @property
    def expected(self) -> int:
        """Sheets that a full table gives."""
        return len(self.cups) * len(self.tasters)

    @property
    def handed_in(self) -> int:
        """Sheets that came."""
        return sum(row.handed_in for row in self.tasters)

    @property
    def waiting(self) -> int:
        """Sheets that are awaited on cups that are poured."""
        return sum(row.waiting for row in self.tasters)

    @property
    def is_complete(self) -> bool:
        """Whether every cup is poured and every sheet is in."""
        return self.handed_in == self.expected

    @property
    def poured(self) -> int:
        """Cups whose pull was made."""
        return sum(cup.is_poured for cup in self.cups)

    @property
    def not_poured(self) -> int:
        """Cups whose pull was not made."""
        return len(self.cups) - self.poured

    @property
    def by_taster(self) -> list[TasterRow]:
        """The grid, a row a taster: each cup with its state."""
        return [
            TasterRow(row.taster, row.handed_in, [(cup, cup.cells[index].state) for cup in self.cups])
            for index, row in enumerate(self.tasters)
        ]

    @property
    def late(self) -> list[TasterProgress]:
        """Who is awaited."""
        return [row for row in self.tasters if row.waiting]


def progress(table: Table) -> Progress:
    """Say of each cup and seat of a table whether the sheet was handed in; four queries, whatever the size.

    Parameters
    ----------
    table
        A table with a plan.

    Returns
    -------
    Progress
        Codes and names alone: no batch, no order of pulling, no score.
    """
    seats = list(Seat.objects.filter(plan__table=table).select_related("taster").order_by("taster__name"))
    slots = list(Slot.objects.filter(plan__table=table).order_by("service", "code"))
    done = _handed_in(table)
    prefix = f"{table.name}-"
    cups = []
    counted = {seat.taster_id: [0, 0] for seat in seats}
    for slot in slots:
        cells = []
        for seat in seats:
            is_in = (prefix + slot.code, seat.taster_id) in done
            state = "in" if is_in else "waiting" if slot.pull_id is not None else "empty"
            counted[seat.taster_id][0] += state == "in"
            counted[seat.taster_id][1] += state == "waiting"
            cells.append(Cell(seat.taster, state))
        cups.append(CupProgress(slot.code, slot.service, slot.pull_id is not None, tuple(cells)))
    rows = tuple(TasterProgress(seat.taster, *counted[seat.taster_id]) for seat in seats)
    return Progress(tuple(cups), rows)


def progress_counts(tables: QuerySet[Table] | list[Table]) -> dict[int, tuple[int, int, int]]:
    """Return (sheets handed in, sheets expected, cups not poured) of each table by its number, in three queries."""
    numbers = [table.pk for table in tables]
    seats = _counts(Seat.objects.filter(plan__table__in=numbers), "plan__table")
    slots = _counts(Slot.objects.filter(plan__table__in=numbers), "plan__table")
    poured = _counts(Slot.objects.filter(plan__table__in=numbers, pull__isnull=False), "plan__table")
    sheets = _counts(Sheet.objects.filter(cup__table__in=numbers, supersedes__isnull=True), "cup__table")
    return {
        pk: (sheets.get(pk, 0), seats.get(pk, 0) * slots.get(pk, 0), slots.get(pk, 0) - poured.get(pk, 0))
        for pk in numbers
    }


def served_cups(seat: Seat) -> list[ServedCup]:
    """Return the cups of one taster in the taster's own order; three queries.

    Parameters
    ----------
    seat
        The seat, with its plan and table at hand if possible.
    """
    table = seat.plan.table
    done = {code for code, taster in _handed_in(table, taster=seat.taster_id)}
    known = dict(Cup.objects.filter(table=table).values_list("code", "pk"))
    found = []
    for place in Place.objects.filter(seat=seat).select_related("slot").order_by("position"):
        code = f"{table.name}-{place.slot.code}"
        is_poured = place.slot.pull_id is not None and code in known
        found.append(
            ServedCup(place.slot.code, place.slot.service, place.position, is_poured, code in done, known.get(code))
        )
    return found


def blind_batches(person: Person | None = None) -> set[int]:
    """Return the numbers of the batches that are on a table not yet closed.

    Parameters
    ----------
    person
        Leave out for every table; name somebody for the tables at which they sit.
    """
    slots = Slot.objects.exclude(plan__table__state="closed")
    if person is not None:
        slots = slots.filter(plan__seats__taster=person)
    return set(slots.values_list("batch", flat=True).distinct())


def seats_at_open_tables(person: Person) -> QuerySet[Seat]:
    """Return the seats of a person at tables that are open, the one opened last first; plan and table are at hand."""
    seats = Seat.objects.filter(taster=person, plan__table__state="open")
    return seats.select_related("plan__table", "taster").order_by("-plan__table__opened_at", "-pk")


def _handed_in(table: Table, *, taster: int | None = None) -> set[tuple[str, int]]:
    """Cup codes and tasters of the sheets on a table; a correction counts once."""
    sheets = Sheet.objects.filter(cup__table=table, supersedes__isnull=True)
    if taster is not None:
        sheets = sheets.filter(taster=taster)
    return set(sheets.values_list("cup__code", "taster"))


def _counts(rows: "QuerySet[Seat] | QuerySet[Slot] | QuerySet[Sheet]", by: str) -> dict[int, int]:
    return dict(rows.order_by().values_list(by).annotate(Count("pk")))
