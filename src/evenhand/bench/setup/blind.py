"""Keeps codes and batches apart until a table closes, in the history, an export and a copy of the records too.

In the history it also keeps what was signed on a batch from those who taste it at an open table.
"""

from dataclasses import replace

from django.db.models import Exists, OuterRef, Q

from evenhand.bench.verdict.locking import locked_for, on_open_tables
from evenhand.records.folder import Folder
from evenhand.records.models import Cup, Entry, Person, Table, Verdict, Withdrawal

CODED = ("cup", "serving", "sheet")
"""Sorts of records whose name in the history holds a cup's code."""


def open_tables() -> list[str]:
    """Return the names of the tables that are not closed yet."""
    return list(Table.objects.exclude(state="closed").order_by("pk").values_list("name", flat=True))


def tables_in_use() -> list[str]:
    """Return the names of the tables that are open, or planned with cups that were pulled already."""
    poured = Exists(Cup.objects.filter(table=OuterRef("pk")))
    found = Table.objects.filter(Q(state="open") | Q(poured, state="planned"))
    return list(found.order_by("pk").values_list("name", flat=True))


def without_open_tables(folder: Folder, tables: list[str]) -> Folder:
    """Return the rows without the cups of these tables, and without what was tasted of them."""
    hidden = {cup.cup for cup in folder.cups if cup.table in tables}
    return replace(
        folder,
        cups=tuple(row for row in folder.cups if row.cup not in hidden),
        sheets=tuple(row for row in folder.sheets if row.cup not in hidden),
        faults=tuple(row for row in folder.faults if row.cup not in hidden),
    )


def table_of(entry: Entry, tables: list[str]) -> str | None:
    """Return the open table that an entry would unblind, or None; a cup's code begins with its table's name."""
    if entry.kind not in CODED:
        return None
    return next((name for name in tables if entry.title.startswith(f"{name}-")), None)


def locked_signatures(person: Person) -> dict[tuple[str, int], str]:
    """Return what was signed, or withdrawn, on batches that a person tastes at an open table.

    Returns
    -------
    dict
        The open tables' names, by sort and number of the record.
    """
    tables, locked = on_open_tables(), locked_for(person)
    signed = Verdict.objects.filter(batch__in=locked).values_list("pk", "batch")
    withdrawn = Withdrawal.objects.filter(verdict__batch__in=locked).values_list("pk", "verdict__batch")
    found = {(Verdict.kind(), pk): ", ".join(tables[batch]) for pk, batch in signed}
    return found | {(Withdrawal.kind(), pk): ", ".join(tables[batch]) for pk, batch in withdrawn}
