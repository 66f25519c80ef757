"""Writes batches and green lots with what belongs to them, all of it or nothing."""

from collections.abc import Collection, Sequence
from typing import Any

from django.utils.translation import gettext as _now

from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.coffees import current_coffee
from evenhand.records.models import (
    Batch,
    BatchLot,
    Coffee,
    GreenLot,
    LotProducer,
    LotVariety,
)


def write_batch(pen: Pen, coffee: Coffee, lots: Collection[int], values: dict[str, Any]) -> Batch:
    """Write down a roast of a coffee, under the version of the coffee that stands.

    Raises
    ------
    RecordError
        When a value is not allowed, the label is taken, or the coffee has no version.
    """
    version = current_coffee(coffee.name)
    if version is None:
        raise RecordError(
            _now("Coffee %(coffee)s has neither recipe nor targets yet; write them in Set-up first.")
            % {"coffee": coffee.name}
        )
    with writing():
        batch = pen.make(Batch(version=version, **values))
        _set_lots(pen, batch, lots)
    return batch


def correct_batch(pen: Pen, batch: Batch, lots: Collection[int] | None, values: dict[str, Any]) -> Batch:
    """Correct a roast; None leaves its lots as they are.

    Raises
    ------
    RecordError
        When a value is not allowed or the label is taken.
    """
    with writing():
        pen.change(batch, **values)
        if lots is not None:
            _set_lots(pen, batch, lots)
    return batch


def remove_batch(pen: Pen, batch: Batch) -> None:
    """Take away a batch that nothing points at yet.

    Raises
    ------
    RecordError
        When something was pulled, planned or signed of it.
    """
    with writing():
        for row in batch.lots.all():
            pen.remove(row)
        pen.remove(batch)


def write_lot(pen: Pen, values: dict[str, Any], producers: Sequence[str], varieties: Sequence[str]) -> GreenLot:
    """Write down a delivery of green.

    Raises
    ------
    RecordError
        When a value is not allowed or the name is taken.
    """
    with writing():
        lot = pen.make(GreenLot(**values))
        _set_names(pen, lot, LotProducer, producers)
        _set_names(pen, lot, LotVariety, varieties)
    return lot


def correct_lot(
    pen: Pen, lot: GreenLot, values: dict[str, Any], producers: Sequence[str], varieties: Sequence[str]
) -> GreenLot:
    """Correct a delivery of green; what is known of a producer who stays is kept.

    Raises
    ------
    RecordError
        When a value is not allowed or the name is taken.
    """
    with writing():
        pen.change(lot, **values)
        _set_names(pen, lot, LotProducer, producers)
        _set_names(pen, lot, LotVariety, varieties)
    return lot


def _set_lots(pen: Pen, batch: Batch, lots: Collection[int]) -> None:
    standing = {row.lot_id: row for row in batch.lots.all()}
    for number, row in standing.items():
        if number not in lots:
            pen.remove(row)
    for number in lots:
        if number not in standing:
            pen.make(BatchLot(batch=batch, lot=GreenLot.objects.get(pk=number)))


def _set_names(pen: Pen, lot: GreenLot, kind: type[LotProducer] | type[LotVariety], names: Sequence[str]) -> None:
    standing = {row.name: row for row in kind.objects.filter(lot=lot).order_by("pk")}
    for name, row in standing.items():
        if name not in names:
            pen.remove(row)
    for name in names:
        if name not in standing:
            pen.make(kind(lot=lot, name=name))
