"""Brings the green lots of a folder into the records: lots, readings, storage, and which batch is of which lots."""

from collections.abc import Iterable, Mapping, Sequence

from evenhand.errors import FolderError
from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records._row_writer import Count, RowWriter, values_of
from evenhand.records.folder import Folder
from evenhand.records.models import BatchLot, GreenLot, GreenReading, GreenStorage, Kept, LotProducer, LotVariety
from evenhand.records.models._green import LOT_DETAILS, READING_MEASURES, STORAGE_MEASURES
from evenhand.words import Words, join, say


def write_lots(writer: RowWriter, folder: Folder) -> dict[str, int]:
    """Write the lots that the folder lists or names, with readings and storage; return the numbers of all by name."""
    lots: dict[str, int] = {}
    if folder.green_lots:
        wanted = {row.green_lot: values_of(row, LOT_DETAILS) for row in folder.green_lots}
        lots = writer.put("green_lots", GreenLot, "name", wanted)
        _list_names(writer, LotProducer, lots, {row.green_lot: row.producers for row in folder.green_lots})
        _list_names(writer, LotVariety, lots, {row.green_lot: row.varieties for row in folder.green_lots})
    named = [row.green_lot for row in folder.coffees] + [row.green_lot for row in folder.batches]
    named += [row.green_lot for row in folder.batch_lots]
    lots = writer.named(GreenLot, [name for name in named if name is not None])
    if folder.green_readings:
        read = {(lots[r.green_lot], r.read_on): values_of(r, READING_MEASURES) for r in folder.green_readings}
        writer.put("green_readings", GreenReading, ("lot_id", "read_on"), read)
    if folder.green_storage:
        stored = {(lots[r.green_lot], r.stored_from): values_of(r, STORAGE_MEASURES) for r in folder.green_storage}
        writer.put("green_storage", GreenStorage, ("lot_id", "stored_from"), stored)
    return lots


def write_batch_lots(writer: RowWriter, folder: Folder, numbers: Mapping[str, int], lots: Mapping[str, int]) -> None:
    """Write the lots that went into each batch: those that batch_lots.csv lists, else the one that the batch names.

    A single lot gives way to what the folder names. A blend takes no other lots, and keeps those that are not listed.

    Parameters
    ----------
    writer
        Brings the rows in.
    folder
        What was read.
    numbers, lots
        The numbers of all batches by label, and of all lots by name.

    Raises
    ------
    FolderError
        When the records hold several lots of a batch, and one that is named is not among them.
    """
    listed: dict[str, list[rows.BatchLot]] = {}
    for row in folder.batch_lots:
        listed.setdefault(row.batch, []).append(row)
    alone = {row.batch: row.green_lot for row in folder.batches if row.green_lot}
    count = writer.count("batch_lots") if listed else Count()
    held: dict[int, dict[int, BatchLot]] = {}
    for there in BatchLot.objects.order_by("pk").select_related("lot"):
        held.setdefault(there.batch_id, {})[there.lot_id] = there
    new: list[tuple[BatchLot, dict[str, list[Kept]]]] = []
    clashes: list[Words] = []
    for batch in (*listed, *(label for label in alone if label not in listed)):
        own = listed.get(batch) or [rows.BatchLot(batch=batch, green_lot=alone[batch])]
        found = held.get(numbers[batch], {})
        others = [row for row in own if lots[row.green_lot] not in found]
        if others and len(found) > 1:
            clashes.append(_other_blend(batch, found.values(), own, is_listed=batch in listed))
            continue
        if others and batch in alone:
            writer.touch("batches", batch)
        named = {lots[row.green_lot] for row in own}
        spare = [there for lot, there in found.items() if lot not in named]
        for row in own:
            lot = lots[row.green_lot]
            changes: dict[str, object] = {} if row.green_kg is None else {"green_kg": row.green_kg}
            if lot not in found and not spare:
                new.append((BatchLot(batch_id=numbers[batch], lot_id=lot, green_kg=row.green_kg), {}))
                count.new += batch in listed
                continue
            there = found[lot] if lot in found else spare.pop()
            if there.lot_id != lot:
                changes["lot_id"] = lot
                if len(own) > 1:  # what was weighed was the whole batch, not this lot of it
                    changes["green_kg"] = row.green_kg
            if any(getattr(there, name) != value for name, value in changes.items()):
                writer.pen.change(there, **changes)
                count.changed += batch in listed
            else:
                count.same += batch in listed
    if clashes:
        raise FolderError(clashes)
    writer.pen.make_many(new)


def _other_blend(batch: str, found: Iterable[BatchLot], own: Sequence[rows.BatchLot], *, is_listed: bool) -> Words:
    told = {
        "batch": quoted(batch),
        "lots": join((quoted(there.lot.name) for there in found), " and "),
        "lot": join((quoted(row.green_lot) for row in own), " and "),
    }
    if is_listed:
        sentence = say(
            "{batch} is of {lots} in the records; a folder cannot change a blend into {lot}, so list the lots of the "
            "records, or leave the rows of this batch out.",
            **told,
        )
        return say("{file}: {sentence}", file="batch_lots", sentence=sentence)
    sentence = say(
        "{batch} is of {lots} in the records; a folder cannot change a blend into {lot}, so leave its green_lot empty.",
        **told,
    )
    return say("{file}: {sentence}", file="batches", sentence=sentence)


def _list_names(
    writer: RowWriter,
    model: type[LotProducer] | type[LotVariety],
    lots: Mapping[str, int],
    wanted: Mapping[str, Sequence[str]],
) -> None:
    """Make the producers or varieties of each lot those that the folder lists; an empty cell says nothing."""
    held: dict[int, dict[str, LotProducer | LotVariety]] = {}
    for there in model._default_manager.all():
        held.setdefault(there.lot_id, {})[there.name] = there
    new: list[tuple[LotProducer | LotVariety, dict[str, list[Kept]]]] = []
    for lot, names in wanted.items():
        found = held.get(lots[lot], {})
        if not names or set(names) == set(found):
            continue
        writer.touch("green_lots", lot)
        for name, there in found.items():
            if name not in names:
                writer.pen.remove(there)
        new += [(model(lot_id=lots[lot], name=name), {}) for name in names if name not in found]
    writer.pen.make_many(new)
