"""Gives the green lots of the records back as rows of a folder, with their readings and how they are stored."""

from collections.abc import Collection
from dataclasses import dataclass

from evenhand.records import rows
from evenhand.records.models import GreenLot, GreenReading, GreenStorage, LotProducer, LotVariety
from evenhand.records.models._green import LOT_DETAILS, READING_MEASURES, STORAGE_MEASURES


@dataclass(frozen=True, slots=True)
class GreenRows:
    """The rows of green_lots.csv, green_readings.csv and green_storage.csv."""

    lots: tuple[rows.GreenLot, ...]
    readings: tuple[rows.GreenReading, ...]
    storage: tuple[rows.GreenStorage, ...]


def green_rows(named: Collection[int], *, only_named: bool) -> GreenRows:
    """Return the rows of lots, in the order in which they were written.

    A lot of which nothing is known but its name has no row of its own where a coffee or a batch names it.

    Parameters
    ----------
    named
        Numbers of the lots that the folder's coffees and batches name.
    only_named
        True gives these lots alone; False gives all.
    """
    wanted = {"pk__in": list(named)} if only_named else {}
    of_lot = {"lot__in": list(named)} if only_named else {}
    readings = tuple(
        rows.GreenReading(green_lot=lot, read_on=day, **dict(zip(READING_MEASURES, measures, strict=True)))
        for lot, day, *measures in GreenReading.objects.filter(**of_lot)
        .order_by("pk")
        .values_list("lot__name", "read_on", *READING_MEASURES)
    )
    storage = tuple(
        rows.GreenStorage(green_lot=lot, stored_from=day, **dict(zip(STORAGE_MEASURES, measures, strict=True)))
        for lot, day, *measures in GreenStorage.objects.filter(**of_lot)
        .order_by("pk")
        .values_list("lot__name", "stored_from", *STORAGE_MEASURES)
    )
    producers, varieties = _names(LotProducer, of_lot), _names(LotVariety, of_lot)
    told = {row.green_lot for row in readings} | {row.green_lot for row in storage}
    lots = []
    for lot in GreenLot.objects.filter(**wanted).order_by("pk"):
        row = rows.GreenLot(
            green_lot=lot.name,
            producers=producers.get(lot.pk, ()),
            varieties=varieties.get(lot.pk, ()),
            **{name: getattr(lot, name) for name in LOT_DETAILS},
        )
        if lot.name in told or lot.pk not in named or row != rows.GreenLot(green_lot=lot.name):
            lots.append(row)
    return GreenRows(tuple(lots), readings, storage)


def _names(model: type[LotProducer] | type[LotVariety], of_lot: dict[str, list[int]]) -> dict[int, tuple[str, ...]]:
    found: dict[int, tuple[str, ...]] = {}
    for lot, name in model._default_manager.filter(**of_lot).order_by("pk").values_list("lot_id", "name"):
        found[lot] = (*found.get(lot, ()), name)
    return found
