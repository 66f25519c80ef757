"""Writes a pull into the records, puts it on its table, and takes both back while nothing points at them."""

import datetime as dt
import re
from typing import Any

from evenhand.bench.hub import hint
from evenhand.bench.models import Account, Slot
from evenhand.bench.table.planning import empty_slot, fill_slot
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import Batch, Pull
from evenhand.words import Words, join, pack, say, unpack

_LAST_NUMBER = re.compile(r"-(\d{1,6})$")


def record_pull(pen: Pen, batch: Batch, values: dict[str, Any], *, slot: Slot | None = None) -> Pull:
    """Write a pull of a batch, named by the batch and the next free number, and fill a slot with it.

    Parameters
    ----------
    pen
        Who pulled, and when: the pull is dated with it.
    batch
        What was pulled.
    values
        Columns of the pull, in the units of the records; what was not measured is None.
    slot
        The place on a table that it fills; None keeps it as a record alone.

    Returns
    -------
    Pull
        The pull as it stands in the records.

    Raises
    ------
    RecordError
        When a value is not allowed, or the slot was filled or removed meanwhile; then nothing is written.
    """
    with writing():
        label = next_label(batch)
        at: Any = pen.at.replace(microsecond=0)  # a moment is kept as it is written, so its field takes more than text
        pull = pen.make(Pull(label=label, batch=batch, pulled_at=at, **values))
        if slot is not None:
            try:
                fill_slot(pen, slot, pull)
            except RecordError as error:
                raise RecordError(without_code(error.args[0], slot)) from error
    _tell()
    return pull


def next_label(batch: Batch) -> str:
    """Return the batch's label with the number after the highest that its pulls bear."""
    labels = Pull.objects.filter(batch=batch).values_list("label", flat=True)
    numbers = [int(found[1]) for label in labels if (found := _LAST_NUMBER.search(label))]
    number = max(numbers, default=0) + 1
    while Pull.objects.filter(label=f"{batch.label}-{number}").exists():  # another batch's pull may be called so
        number += 1
    return f"{batch.label}-{number}"


def correct_pull(pen: Pen, pull: Pull, values: dict[str, Any]) -> Pull:
    """Change what was written of a pull; the history keeps what it was.

    Raises
    ------
    RecordError
        When a value is not allowed.
    """
    pen.change(pull, **values)
    _tell(slot_of(pull))
    return pull


def undo_pull(pen: Pen, pull: Pull) -> None:
    """Take a pull out of the records again, and its cup off the table.

    Raises
    ------
    RecordError
        When somebody tasted it, or its table is closed.
    """
    slot = slot_of(pull)
    with writing():
        if slot is not None:
            empty_slot(pen, slot)
        pen.remove(pull)
    _tell(slot)


def take_off_table(pen: Pen, pull: Pull) -> Slot | None:
    """Free the slot of a pull and keep the pull as a record; return the slot, None where it was on no table.

    Raises
    ------
    RecordError
        When somebody tasted it, or its table is closed.
    """
    slot = slot_of(pull)
    if slot is not None:
        empty_slot(pen, slot)
        _tell(slot)
    return slot


def slot_of(pull: Pull) -> Slot | None:
    """Return the slot that a pull fills, with its table at hand."""
    return Slot.objects.filter(pull=pull).select_related("plan__table", "batch").first()


def may_fill(slot: Slot) -> bool:
    """Say whether a slot still waits for its pull, on a table that is not closed."""
    waiting = Slot.objects.filter(pk=slot.pk, pull__isnull=True)
    return waiting.exclude(plan__table__state="closed").exists()


def can_undo(pull: Pull, slot: Slot | None) -> bool:
    """Say whether nothing that would be lost points at a pull: no sheet, no closed table, no cup of another origin."""
    cups = list(pull.cups.values_list("code", flat=True))
    if slot is None:
        return not cups
    is_closed = slot.plan.table.state == "closed"
    return not is_closed and set(cups) <= {slot.cup_code} and not pull.cups.filter(sheets__isnull=False).exists()


def may_change(account: Account, pull: Pull, today: dt.date) -> bool:
    """Say whether somebody may correct a pull or take it back: everybody on its day, later the lead and the owner."""
    at = pull.pulled_at
    return account.may("lead") or (at.date() if isinstance(at, dt.datetime) else at) == today


def without_code(text: str, slot: Slot) -> str:
    """Take a cup's code out of a sentence, which can still be told: this room names batches, so it names no code."""
    if slot.cup_code not in text:
        return text
    if not isinstance(text, Words):
        return join(text.split(slot.cup_code), say("of this pull"))

    def held(value: Any) -> Any:
        clean = without_code(value, slot) if isinstance(value, str) else value
        return pack(clean) if isinstance(clean, Words) else clean

    values = {name: held(value) for name, value in text.values.items()}
    return unpack({**pack(text), "values": values, "parts": [held(part) for part in text.parts]})


def _tell(slot: Slot | None = None) -> None:
    """Send hints; none about the coffee, which tasters would hear while a code of theirs turns to poured."""
    hint("today")
    if slot is not None:
        hint(f"table-{slot.plan.table_id}")
