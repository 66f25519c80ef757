"""Who sits at a table: a taster may come late, or leave while no sheet of theirs is in; codes and cups stay."""

from collections.abc import Sequence

import numpy as np
from django.utils.translation import gettext as _

from evenhand.bench.hub import hint
from evenhand.bench.models import Place, Seat, TablePlan
from evenhand.bench.table.drawing import draw_orders
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import Batch, Cup, Person, Serving, Sheet, Table


def add_taster(pen: Pen, plan: TablePlan, taster: Person, rng: np.random.Generator) -> Seat:
    """Seat one more taster at a table that is not closed, in an order of their own; codes and cups stay.

    At a table that is open only somebody whose role is taster is seated: whoever leads could give the seat up, read
    what others said of the cups, and sit down again.

    Raises
    ------
    RecordError
        When the table is closed, it is open and the person leads, or the person sits there already or does not work
        here any more.
    """
    with writing():
        table = standing_table(plan.table)
        if table.state == "closed":
            raise RecordError(
                _("Table %(table)s is closed; nobody can join it. Plan another table.") % {"table": table.name}
            )
        if table.state == "open" and (taster.role or "taster") != "taster":
            raise RecordError(
                _(
                    "Table %(table)s is open, and %(name)s leads: whoever leads may have read the verdicts of what is "
                    "on it. Seat tasters now; somebody who leads takes a seat before the table is opened."
                )
                % {"table": table.name, "name": taster.name}
            )
        if plan.seats.filter(taster=taster).exists():
            raise RecordError(
                _("%(name)s sits at table %(table)s already.") % {"name": taster.name, "table": table.name}
            )
        check_choice([], [taster])
        slots = list(plan.slots.order_by("number"))
        seat = Seat.objects.create(plan=plan, taster=taster)
        order = draw_orders([(slot.batch_id, slot.service) for slot in slots], 1, rng)[0].tolist()
        for position, index in enumerate(order, start=1):
            Place.objects.create(seat=seat, slot=slots[index], position=position)
        poured = {cup.code: cup for cup in Cup.objects.filter(table=table)}
        servings = [
            Serving(cup=poured[f"{table.name}-{slots[index].code}"], taster=taster, position=position)
            for position, index in enumerate(order, start=1)
            if f"{table.name}-{slots[index].code}" in poured
        ]
        pen.make_many([(serving, {}) for serving in servings])
    hint(f"table-{table.pk}")
    return seat


def remove_taster(pen: Pen, plan: TablePlan, taster: Person) -> None:
    """Take a taster's seat away while no sheet of theirs is in.

    Raises
    ------
    RecordError
        When the table is closed, a sheet came, nobody else sits there, or the person does not sit there.
    """
    with writing():
        table = standing_table(plan.table)
        if table.state == "closed":
            raise RecordError(_("Table %(table)s is closed; its seats stay as they were.") % {"table": table.name})
        named = {"name": taster.name, "table": table.name}
        seat = plan.seats.filter(taster=taster).first()
        if seat is None:
            raise RecordError(_("%(name)s does not sit at table %(table)s.") % named)
        if plan.seats.count() == 1:
            raise RecordError(_("%(name)s is the only one at table %(table)s; seat somebody else first.") % named)
        if Sheet.objects.filter(cup__table=table, taster=taster).exists():
            raise RecordError(_("%(name)s has handed in a sheet at table %(table)s; the seat stays.") % named)
        for serving in Serving.objects.filter(cup__table=table, taster=taster):
            pen.remove(serving)
        seat.delete()
    hint(f"table-{table.pk}")


def check_choice(batches: Sequence[Batch], tasters: Sequence[Person]) -> None:
    """Refuse a batch or a taster named twice, and somebody who does not work here any more.

    Raises
    ------
    RecordError
        When the choice cannot be.
    """
    if len({batch.pk for batch in batches}) < len(batches):
        raise RecordError(_("A batch was chosen twice; say how often it is pulled by the number of pulls."))
    if len({taster.pk for taster in tasters}) < len(tasters):
        raise RecordError(_("A taster was chosen twice; everybody has one seat."))
    for taster in tasters:
        if not taster.is_active:
            raise RecordError(
                _("%(name)s does not work here any more; set them up as active, or choose another.")
                % {"name": taster.name}
            )


def standing_table(table: Table) -> Table:
    """Return a table as the records hold it now.

    Raises
    ------
    RecordError
        When it is not there any more.
    """
    standing = Table.objects.filter(pk=table.pk).first()
    if standing is None:
        raise RecordError(_("Table %(table)s is not in the records any more.") % {"table": table.name})
    return standing
