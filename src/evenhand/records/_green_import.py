"""Brings the green lots of a folder into the records: lots, readings, storage, and which batch is of which lot."""

from collections.abc import Iterable, Mapping, Sequence

from evenhand.errors import FolderError
from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records._row_writer import RowWriter, values_of
from evenhand.records.folder import Folder
from evenhand.records.models import BatchLot, GreenLot, GreenReading, GreenStorage, Kept, LotProducer, LotVariety
from evenhand.records.models._green import LOT_DETAILS, READING_MEASURES, STORAGE_MEASURES


def write_lots(writer: RowWriter, folder: Folder) -> dict[str, int]:
    """Write the lots that the folder lists or names, with readings and storage; return the numbers of all by name."""
    lots: dict[str, int] = {}
    if folder.green_lots:
        wanted = {row.green_lot: values_of(row, LOT_DETAILS) for row in folder.green_lots}
        lots = writer.put("green_lots", GreenLot, "name", wanted)
        _list_names(writer, LotProducer, lots, {row.green_lot: row.producers for row in folder.green_lots})
        _list_names(writer, LotVariety, lots, {row.green_lot: row.varieties for row in folder.green_lots})
    named = [row.green_lot for row in folder.coffees] + [row.green_lot for row in folder.batches]
    lots = writer.named(GreenLot, [name for name in named if name is not None])
    if folder.green_readings:
        read = {(lots[r.green_lot], r.read_on): values_of(r, READING_MEASURES) for r in folder.green_readings}
        writer.put("green_readings", GreenReading, ("lot_id", "read_on"), read)
    if folder.green_storage:
        stored = {(lots[r.green_lot], r.stored_from): values_of(r, STORAGE_MEASURES) for r in folder.green_storage}
        writer.put("green_storage", GreenStorage, ("lot_id", "stored_from"), stored)
    return lots


def write_batch_lots(
    writer: RowWriter, batches: Iterable[rows.Batch], numbers: Mapping[str, int], lots: Mapping[str, int]
) -> None:
    """Write the lot that each batch names.

    Raises
    ------
    FolderError
        When the records hold several lots of a batch, and the one named is not among them.
    """
    held: dict[int, list[BatchLot]] = {}
    for there in BatchLot.objects.order_by("pk").select_related("lot"):
        held.setdefault(there.batch_id, []).append(there)
    new: list[tuple[BatchLot, dict[str, list[Kept]]]] = []
    clashes: list[str] = []
    for row in batches:
        if row.green_lot is None:
            continue
        number, lot = numbers[row.batch], lots[row.green_lot]
        found = held.get(number, [])
        if any(there.lot_id == lot for there in found):
            continue
        if len(found) > 1:
            named = " and ".join(quoted(there.lot.name) for there in found)
            clashes.append(
                f"batches: {quoted(row.batch)} is of {named} in the records; a folder cannot change a blend into "
                f"{quoted(row.green_lot)}, so leave its green_lot empty."
            )
        elif found:
            writer.pen.change(found[0], lot_id=lot)
            writer.touch("batches", row.batch)
        else:
            new.append((BatchLot(batch_id=number, lot_id=lot), {}))
            writer.touch("batches", row.batch)
    if clashes:
        raise FolderError(clashes)
    writer.pen.make_many(new)


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
