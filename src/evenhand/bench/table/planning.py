"""Plans a table, opens it, fills its cups as the pulls are made, and closes it: the door that other rooms use.

Nothing here knows a page. `watching` says how far a table is, `loads` what it asks of tasters, `drawing` is the lot.
"""

import re
import secrets
from collections.abc import Mapping, Sequence

import numpy as np
from django.utils.translation import gettext as _

from evenhand.bench.hub import hint
from evenhand.bench.models import Place, Seat, Slot, TablePlan
from evenhand.bench.table.drawing import DrawnTable, count_cups, draw_table
from evenhand.bench.table.loads import Flight, Offered, flights, offered, offered_by_draft
from evenhand.bench.table.seating import add_taster, check_choice, remove_taster, standing_table
from evenhand.bench.table.watching import (
    Progress,
    ServedCup,
    blind_batches,
    progress,
    progress_counts,
    seats_at_open_tables,
    served_cups,
)
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import Batch, Cup, Person, Pull, Serving, Sheet, Table

__all__ = [
    "Flight",
    "Offered",
    "Progress",
    "ServedCup",
    "add_taster",
    "blind_batches",
    "close_table",
    "empty_slot",
    "fill_slot",
    "flights",
    "offered",
    "offered_by_draft",
    "open_table",
    "plan_table",
    "progress",
    "progress_counts",
    "remove_table",
    "remove_taster",
    "reopen_plan",
    "replan",
    "seats_at_open_tables",
    "served_cups",
]

_NAME = re.compile(r"T(\d{1,9})")
_RECENT_TABLES = 3
# No vowel, so that no word comes up; nothing that looks like another sign in a poor light.
_JOIN_SIGNS = "CDFHJKMNPRTVWXY34679"
_JOIN_LENGTH = 6


def plan_table(
    pen: Pen,
    *,
    batches: Sequence[Batch],
    pulls: Mapping[str, int],
    tasters: Sequence[Person],
    rng: np.random.Generator,
    note: str = "",
) -> TablePlan:
    """Plan a table: a record of it, and its slots, seats and orders drawn by lot.

    Parameters
    ----------
    pen
        Who plans, and when.
    batches
        What is on the table.
    pulls
        How many pulls of each batch are served how, such as ``{"black": 2, "milk": 1}``; each pull fills one cup.
    tasters
        Who sits at it.
    rng
        Source of randomness for codes and orders.
    note
        Free words.

    Returns
    -------
    TablePlan
        The plan of the new table, which is named T and the next free number.

    Raises
    ------
    RecordError
        When there is no batch, pull or taster, one of them twice, somebody who does not work here any more, or too many
        cups.
    """
    check_choice(batches, tasters)
    count_cups(len(batches), pulls, len(tasters))
    drawn = draw_table(len(batches), pulls, len(tasters), rng, avoid=_codes_in_use())
    with writing():
        table = pen.make(Table(name=_next_name(), state="planned"))
        plan = TablePlan.objects.create(
            table=table, join_code=_new_join_code(), planned_by=pen.who, planned_at=pen.at, note=note
        )
        _lay(plan, batches, tasters, drawn)
    hint(f"table-{table.pk}", "today")
    return plan


def replan(
    pen: Pen,
    plan: TablePlan,
    *,
    batches: Sequence[Batch],
    pulls: Mapping[str, int],
    tasters: Sequence[Person],
    rng: np.random.Generator,
) -> TablePlan:
    """Draw a planned table anew; every code is a new one, so that a label of the old plan fits no cup.

    Raises
    ------
    RecordError
        When the table is open or closed, a cup is poured, or the new plan cannot be (see `plan_table`).
    """
    check_choice(batches, tasters)
    count_cups(len(batches), pulls, len(tasters))
    drawn = draw_table(len(batches), pulls, len(tasters), rng, avoid=_codes_in_use())
    with writing():
        table = standing_table(plan.table)
        _refuse_unless(
            table, "planned", _("Table %(table)s is %(state)s; only a table that is planned can be planned anew.")
        )
        _refuse_poured(
            plan,
            _("A cup of table %(table)s is poured; it can be planned anew once that pull is taken off it again."),
        )
        plan.read_labels.clear()
        plan.seats.all().delete()
        plan.slots.all().delete()
        plan.planned_by, plan.planned_at = pen.who, pen.at
        plan.save(update_fields=["planned_by", "planned_at"])
        _lay(plan, batches, tasters, drawn)
    hint(f"table-{table.pk}", "today")
    return plan


def open_table(pen: Pen, table: Table) -> Table:
    """Open a planned table, so that its tasters can taste.

    Raises
    ------
    RecordError
        When it is not planned, or has no plan.
    """
    with writing():
        standing = standing_table(table)
        _refuse_unless(
            standing, "planned", _("Table %(table)s is %(state)s; only a table that is planned can be opened.")
        )
        plan = TablePlan.objects.filter(table=standing).first()
        if plan is None or not plan.slots.exists() or not plan.seats.exists():
            raise RecordError(_("Table %(table)s has no cup or no taster; plan it first.") % {"table": table.name})
        pen.change(table, state="open", opened_at=pen.at)
    hint(f"table-{table.pk}", "today")
    return table


def reopen_plan(pen: Pen, table: Table) -> Table:
    """Take the opening of a table back while no sheet came: it is planned again.

    Raises
    ------
    RecordError
        When it is not open, or a sheet came.
    """
    with writing():
        _refuse_unless(
            standing_table(table),
            "open",
            _("Table %(table)s is %(state)s; only a table that is open can be taken back to its plan."),
        )
        if Sheet.objects.filter(cup__table=table).exists():
            raise RecordError(
                _("A sheet has come in at table %(table)s; it stays open until it is closed.") % {"table": table.name}
            )
        pen.change(table, state="planned", opened_at=None)
    hint(f"table-{table.pk}", "today")
    return table


def close_table(pen: Pen, table: Table) -> Table:
    """Close an open table: from now on everybody may see what each code was, so it is never opened again.

    Raises
    ------
    RecordError
        When it is not open.
    """
    with writing():
        _refuse_unless(
            standing_table(table), "open", _("Table %(table)s is %(state)s; only a table that is open can be closed.")
        )
        pen.change(table, state="closed", closed_at=pen.at)
    hint(f"table-{table.pk}", "today", "judged")
    return table


def remove_table(pen: Pen, table: Table) -> None:
    """Take a planned table away, with its plan, while nothing was pulled for it.

    Raises
    ------
    RecordError
        When it is not planned, or a cup is poured.
    """
    pk = table.pk
    with writing():
        _refuse_unless(
            standing_table(table),
            "planned",
            _("Table %(table)s is %(state)s; only a table that is planned can be removed."),
        )
        plan = TablePlan.objects.filter(table=table).first()
        if plan is not None:
            _refuse_poured(
                plan, _("A cup of table %(table)s is poured; it can be removed once that pull is taken off it again.")
            )
            plan.delete()
        pen.remove(table)
    hint(f"table-{pk}", "today")


def fill_slot(pen: Pen, slot: Slot, pull: Pull) -> Cup:
    """Put a pull on the table: its cup and each taster's serving are written into the records. Doing it twice is once.

    Parameters
    ----------
    pen
        Who pulled, and when.
    slot
        The pull that was to be made.
    pull
        The pull that was made, of the slot's batch, already in the records.

    Returns
    -------
    Cup
        The cup in the records, whose code is that of `slot.cup_code`.

    Raises
    ------
    RecordError
        When the table is closed, the batch is another one, or slot or pull are taken.
    """
    with writing():
        standing = Slot.objects.select_related("plan__table").filter(pk=slot.pk).first()
        if standing is None:
            raise RecordError(_("The table was planned anew and this pull is no longer on it; choose it again."))
        table = standing.plan.table
        named = {"number": standing.number, "table": table.name}
        if standing.pull_id is not None:
            if standing.pull_id != pull.pk:
                raise RecordError(
                    _("Pull %(number)s of table %(table)s was made already; undo it before pulling it again.") % named
                )
            slot.pull = pull
            return Cup.objects.get(code=standing.cup_code)
        if table.state == "closed":
            raise RecordError(_("Table %(table)s is closed; this pull cannot come onto it.") % named)
        if pull.batch_id != standing.batch_id:
            raise RecordError(
                _("Pull %(number)s of table %(table)s is to be of another batch than %(batch)s.")
                % {**named, "batch": pull.batch.label}
            )
        if Slot.objects.filter(pull=pull).exists():
            raise RecordError(_("The pull %(pull)s stands on a table already.") % {"pull": pull.label})
        cup = pen.make(
            Cup(code=standing.cup_code, pull=pull, service=standing.service, table=table, position=standing.number)
        )
        places = Place.objects.filter(slot=standing).select_related("seat__taster").order_by("seat")
        pen.make_many([(Serving(cup=cup, taster=place.seat.taster, position=place.position), {}) for place in places])
        standing.pull = slot.pull = pull
        standing.save(update_fields=["pull"])
    hint(f"table-{table.pk}", "today")
    return cup


def empty_slot(pen: Pen, slot: Slot) -> None:
    """Take a pull off the table again while no sheet is on its cup; the pull itself stays in the records.

    Raises
    ------
    RecordError
        When the table is closed, or a sheet came for this cup.
    """
    with writing():
        standing = Slot.objects.select_related("plan__table").get(pk=slot.pk)
        table = standing.plan.table
        if standing.pull_id is None:
            slot.pull = None
            return
        if table.state == "closed":
            raise RecordError(_("Table %(table)s is closed; its cups stay.") % {"table": table.name})
        cup = Cup.objects.filter(code=standing.cup_code).first()
        if cup is not None:
            if cup.sheets.exists():
                raise RecordError(
                    _("A sheet has come in for pull %(number)s of table %(table)s; it stays.")
                    % {"number": standing.number, "table": table.name}
                )
            for serving in cup.servings.all():
                pen.remove(serving)
            pen.remove(cup)
        standing.pull = slot.pull = None
        standing.save(update_fields=["pull"])
    hint(f"table-{table.pk}", "today")


def _lay(plan: TablePlan, batches: Sequence[Batch], tasters: Sequence[Person], drawn: DrawnTable) -> None:
    """Write the slots, seats and places of a plan."""
    slots = Slot.objects.bulk_create(
        [
            Slot(plan=plan, number=number, batch=batches[cup.batch], service=cup.service, code=cup.code)
            for number, cup in enumerate(drawn.cups, start=1)
        ]
    )
    seats = Seat.objects.bulk_create([Seat(plan=plan, taster=taster) for taster in tasters])
    Place.objects.bulk_create(
        [
            Place(seat=seat, slot=slots[index], position=position)
            for seat, order in zip(seats, drawn.orders.tolist(), strict=True)
            for position, index in enumerate(order, start=1)
        ]
    )


def _codes_in_use() -> set[int]:
    """Codes that stand on a cup somewhere, or did so lately and may be remembered."""
    recent = list(
        Table.objects.filter(state="closed", plan__isnull=False).order_by("-closed_at")[:_RECENT_TABLES].values("pk")
    )
    slots = Slot.objects.exclude(plan__table__state="closed") | Slot.objects.filter(
        plan__table__in=[row["pk"] for row in recent]
    )
    return {int(code) for code in slots.values_list("code", flat=True)}


def _next_name() -> str:
    numbers = [
        int(found[1]) for name in Table.objects.values_list("name", flat=True) if (found := _NAME.fullmatch(name))
    ]
    return f"T{max(numbers, default=0) + 1:02d}"


def _new_join_code() -> str:
    """Draw a code that cannot be guessed: it lets a phone in, so it does not come from the table's own lot."""
    while True:
        code = "".join(secrets.choice(_JOIN_SIGNS) for _sign in range(_JOIN_LENGTH))
        if not TablePlan.objects.filter(join_code=code).exists():
            return code


def _refuse_unless(table: Table, state: str, sentence: str) -> None:
    if table.state != state:
        states = {"planned": _("planned"), "open": _("open"), "closed": _("closed")}
        raise RecordError(sentence % {"table": table.name, "state": states.get(table.state, table.state)})


def _refuse_poured(plan: TablePlan, sentence: str) -> None:
    if plan.slots.filter(pull__isnull=False).exists():
        raise RecordError(sentence % {"table": plan.table.name})
