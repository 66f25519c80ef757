"""Who may not see which verdicts yet: what sits on an open table is locked for those who taste at it."""

from evenhand.bench.models import Slot
from evenhand.bench.table.watching import blind_batches
from evenhand.records.models import Batch, Person


def on_open_tables() -> dict[int, list[str]]:
    """Return the names of the open tables on which each batch is served, by the batch's number."""
    found: dict[int, list[str]] = {}
    served = Slot.objects.filter(plan__table__state="open").order_by("plan__table__name")
    for batch, table in served.values_list("batch_id", "plan__table__name").distinct():
        found.setdefault(batch, []).append(table)
    return found


def locked_for(person: Person) -> set[int]:
    """Return the numbers of batches whose verdict a person may not see: those on an open table with a seat of theirs.

    The person who tastes must not read what others said of the same cups. A table that is planned locks nothing: no
    sheet can come yet, and what was said of the batch before was open to whoever leads anyway.
    """
    open_seats = Slot.objects.filter(plan__table__state="open", plan__seats__taster=person)
    return set(open_seats.values_list("batch_id", flat=True))


def are_closed(batch: Batch) -> bool:
    """Say whether no table that serves the batch is still to be closed, so that its codes may be shown."""
    return batch.pk not in blind_batches()
