"""Checks of the green lots: days in their order, readings that can be compared, batches that can be of their lot."""

import datetime as dt
from collections.abc import Mapping

from evenhand.records._cells import ReadTable, rows_of
from evenhand.records._problems import Problems, quoted
from evenhand.records.rows import GreenLot


def check_green(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    """Run every check on the lots, their readings and spells of storage, and the batches made of them."""
    lots = _check_lots(tables, today, problems)
    _check_readings(tables, today, problems)
    for number, spell in rows_of(tables, "green_storage"):
        if spell.stored_from > today:
            sentence = f'"{spell.stored_from}" is not allowed; a spell of storage does not begin after today, {today}.'
            problems.add("green_storage", sentence, number, "stored_from")
    _check_batches(tables, lots, problems)


def _check_lots(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> dict[str, GreenLot]:
    lots: dict[str, GreenLot] = {}
    for number, lot in rows_of(tables, "green_lots"):
        assert isinstance(lot, GreenLot)
        low, high = lot.elevation_low_m, lot.elevation_high_m
        if low is not None and high is not None and high < low:
            sentence = (
                f"{quoted(high)} is not allowed; the high end of the elevation is not below its low end, {low:g} m."
            )
            problems.add("green_lots", sentence, number, "elevation_high_m")
        harvested, arrived = lot.harvested_on, lot.arrived_on
        if harvested is not None and harvested > today:
            sentence = f'"{harvested}" is not allowed; a harvest is not after today, {today}.'
            problems.add("green_lots", sentence, number, "harvested_on")
            harvested = None  # what only follows from this is not told
        else:
            lots[lot.green_lot] = lot
        if arrived is not None and arrived > today:
            sentence = f'"{arrived}" is not allowed; an arrival is not after today, {today}.'
            problems.add("green_lots", sentence, number, "arrived_on")
        elif arrived is not None and harvested is not None and arrived < harvested:
            sentence = f'"{arrived}" is not allowed; the lot was harvested later, on {harvested}.'
            problems.add("green_lots", sentence, number, "arrived_on")
    return lots


def _check_readings(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    for number, reading in rows_of(tables, "green_readings"):
        if reading.read_on > today:
            sentence = f'"{reading.read_on}" is not allowed; a reading is not after today, {today}.'
            problems.add("green_readings", sentence, number, "read_on")
        if reading.moisture_pct is None and reading.water_activity is None:
            problems.add("green_readings", "this row gives neither moisture_pct nor water_activity; give one.", number)
        elif reading.moisture_pct is not None and reading.moisture_method is None:
            sentence = "the cell is empty; name the method of the moisture, or nobody can compare it."
            problems.add("green_readings", sentence, number, "moisture_method")


def _check_batches(tables: Mapping[str, ReadTable], lots: Mapping[str, GreenLot], problems: Problems) -> None:
    """Refuse a batch roasted before its own lot was picked; where only the coffee names the lot, point it out."""
    of_coffee = {coffee.coffee: coffee.green_lot for _, coffee in rows_of(tables, "coffees")}
    too_early: dict[str, int] = {}
    for number, batch in rows_of(tables, "batches"):
        lot = lots.get(batch.green_lot or of_coffee.get(batch.coffee) or "")
        if lot is None or lot.harvested_on is None or batch.roasted_on >= lot.harvested_on:
            continue
        if batch.green_lot:
            sentence = (
                f"{quoted(batch.green_lot)} is not allowed; the batch was roasted on {batch.roasted_on}, before that "
                f"lot was harvested, on {lot.harvested_on}."
            )
            problems.add("batches", sentence, number, "green_lot")
        else:
            too_early[batch.coffee] = too_early.get(batch.coffee, 0) + 1
    for coffee, count in too_early.items():
        named = "1 batch was" if count == 1 else f"{count} batches were"
        problems.warn(
            "batches",
            f"{named} roasted before green lot {quoted(of_coffee[coffee])} of coffee {quoted(coffee)} was harvested; "
            "name their own lot in the column green_lot.",
        )
