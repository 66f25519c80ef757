"""What a closed table held: what each code was, who handed in a sheet, whose were not blind. Refused before."""

from dataclasses import dataclass

from django.utils.translation import gettext as _

from evenhand.bench.models import Seat, Slot, TablePlan
from evenhand.records._refusals import RecordError
from evenhand.records.models import Batch, Cup, Entry, Person, Pull, Sheet, Table
from evenhand.records.models._history import MADE


@dataclass(frozen=True, slots=True)
class RevealedCup:
    """One cup: its code as it stood on it, its pull, who handed in a sheet and who did not."""

    code: str
    service: str
    pull: str
    handed_in: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RevealedBatch:
    """One batch and its cups."""

    batch: Batch
    cups: tuple[RevealedCup, ...]
    not_pulled: int


@dataclass(frozen=True, slots=True)
class Sighted:
    """Somebody who pulled cups of a table and handed in sheets on these very cups."""

    name: str
    cups: int


def who_was_sighted(table: Table) -> list[Sighted]:
    """Return who pulled cups that they tasted too: whoever pulls for a table reads what is on it.

    Who pulled stands in the history, by the name that the person bore then.
    """
    pulls = dict(Cup.objects.filter(table=table).values_list("pk", "pull"))
    made = Entry.objects.filter(kind=Pull.kind(), action=MADE, record__in=list(pulls.values()))
    pulled_by = dict(made.values_list("record", "who"))
    sheets = Sheet.objects.filter(cup__table=table, supersedes__isnull=True).values_list("cup", "taster__name")
    counted: dict[str, int] = {}
    for cup, name in sheets:
        if pulled_by.get(pulls[cup]) == name:
            counted[name] = counted.get(name, 0) + 1
    return [Sighted(name, cups) for name, cups in sorted(counted.items())]


def who_read_the_labels(table: Table) -> list[str]:
    """Return who opened the labels of a table and handed in sheets on it, by name.

    Labels hold no batch; but the pull page, which leads may open, has each batch under the number that a label has.
    """
    read = Person.objects.filter(pk__in=TablePlan.objects.filter(table=table).values("read_labels"))
    sheets = Sheet.objects.filter(cup__table=table, supersedes__isnull=True)
    return list(read.filter(pk__in=sheets.values("taster")).order_by("name").values_list("name", flat=True))


def reveal(table: Table) -> list[RevealedBatch]:
    """Return what was on a closed table, by batch, in few queries.

    Raises
    ------
    RecordError
        When the table is not closed.
    """
    if table.state != "closed":
        raise RecordError(
            _("Table %(table)s is not closed; what its codes are is shown once it is.") % {"table": table.name}
        )
    handed_in: dict[int, list[str]] = {}
    sheets = Sheet.objects.filter(cup__table=table, supersedes__isnull=True).order_by("taster__name")
    for cup_pk, name in sheets.values_list("cup", "taster__name"):
        handed_in.setdefault(cup_pk, []).append(name)
    seated = list(
        Seat.objects.filter(plan__table=table).order_by("taster__name").values_list("taster__name", flat=True)
    )
    batches: dict[int, Batch] = {}
    cups: dict[int, list[RevealedCup]] = {}
    found = Cup.objects.filter(table=table).select_related("pull__batch__version__coffee")
    for cup in found.order_by("pull__batch__label", "service", "position", "code"):
        names = handed_in.get(cup.pk, [])
        batches[cup.pull.batch_id] = cup.pull.batch
        cups.setdefault(cup.pull.batch_id, []).append(
            RevealedCup(
                cup.code.removeprefix(f"{table.name}-"),
                cup.service,
                cup.pull.label,
                tuple(names),
                tuple(name for name in seated if name not in names),
            )
        )
    empty: dict[int, int] = {}
    for slot in Slot.objects.filter(plan__table=table, pull__isnull=True).select_related("batch__version__coffee"):
        batches.setdefault(slot.batch_id, slot.batch)
        empty[slot.batch_id] = empty.get(slot.batch_id, 0) + 1
    return [RevealedBatch(batch, tuple(cups.get(pk, ())), empty.get(pk, 0)) for pk, batch in batches.items()]
