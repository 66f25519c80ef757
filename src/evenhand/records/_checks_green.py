"""Checks of the green lots: days in their order, readings that can be compared, batches that can be of their lots."""

import datetime as dt
from collections.abc import Mapping

from evenhand.records._cells import ReadTable, rows_of
from evenhand.records._problems import Problems, quoted
from evenhand.records.rows import Batch, BatchLot, GreenLot
from evenhand.words import Words, say, say_many

_SCALES_ROUND = 0.005
"""The lots of a batch may weigh more together than the batch by this share, since each of them was rounded."""


def check_green(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    """Run every check on the lots, their readings and spells of storage, and the batches made of them."""
    lots = _check_lots(tables, today, problems)
    _check_readings(tables, today, problems)
    for number, spell in rows_of(tables, "green_storage"):
        if spell.stored_from > today:
            sentence = say(
                "{day} is not allowed; a spell of storage does not begin after today, {today}.",
                day=quoted(spell.stored_from),
                today=today,
            )
            problems.add("green_storage", sentence, number, "stored_from")
    named = _named_lots(tables)
    _check_batches(tables, lots, named, problems)
    _check_batch_lots(tables, lots, problems)
    _check_named_once(tables, named, problems)
    _warn_of_masses(tables, problems)


def _check_lots(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> dict[str, GreenLot]:
    lots: dict[str, GreenLot] = {}
    for number, lot in rows_of(tables, "green_lots"):
        assert isinstance(lot, GreenLot)
        low, high = lot.elevation_low_m, lot.elevation_high_m
        if low is not None and high is not None and high < low:
            sentence = say(
                "{high} is not allowed; the high end of the elevation is not below its low end, {low:g} m.",
                high=quoted(high),
                low=low,
            )
            problems.add("green_lots", sentence, number, "elevation_high_m")
        harvested, arrived = lot.harvested_on, lot.arrived_on
        if harvested is not None and harvested > today:
            sentence = say(
                "{day} is not allowed; a harvest is not after today, {today}.", day=quoted(harvested), today=today
            )
            problems.add("green_lots", sentence, number, "harvested_on")
            harvested = None  # what only follows from this is not told
        else:
            lots[lot.green_lot] = lot
        if arrived is not None and arrived > today:
            sentence = say(
                "{day} is not allowed; an arrival is not after today, {today}.", day=quoted(arrived), today=today
            )
            problems.add("green_lots", sentence, number, "arrived_on")
        elif arrived is not None and harvested is not None and arrived < harvested:
            sentence = say(
                "{day} is not allowed; the lot was harvested later, on {harvested}.",
                day=quoted(arrived),
                harvested=harvested,
            )
            problems.add("green_lots", sentence, number, "arrived_on")
    return lots


def _check_readings(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    for number, reading in rows_of(tables, "green_readings"):
        if reading.read_on > today:
            sentence = say(
                "{day} is not allowed; a reading is not after today, {today}.", day=quoted(reading.read_on), today=today
            )
            problems.add("green_readings", sentence, number, "read_on")
        if reading.moisture_pct is None and reading.water_activity is None:
            sentence = say("this row gives neither moisture_pct nor water_activity; give one.")
            problems.add("green_readings", sentence, number)
        elif reading.moisture_pct is not None and reading.moisture_method is None:
            sentence = say("the cell is empty; name the method of the moisture, or nobody can compare it.")
            problems.add("green_readings", sentence, number, "moisture_method")


def _named_lots(tables: Mapping[str, ReadTable]) -> dict[str, list[str]]:
    """Return the lots that batch_lots names, by batch, also those of rows that are wrong elsewhere."""
    named: dict[str, list[str]] = {}
    if "batch_lots" in tables and tables["batch_lots"].row_numbers:
        columns = tables["batch_lots"].columns
        for batch, lot in zip(columns["batch"], columns["green_lot"], strict=True):
            if batch is not None and lot is not None:
                named.setdefault(batch, []).append(lot)
    return named


def _check_batches(
    tables: Mapping[str, ReadTable],
    lots: Mapping[str, GreenLot],
    named: Mapping[str, list[str]],
    problems: Problems,
) -> None:
    """Refuse a batch roasted before its own lot was picked; where only the coffee names the lot, point it out."""
    of_coffee = {coffee.coffee: coffee.green_lot for _, coffee in rows_of(tables, "coffees")}
    too_early: dict[str, int] = {}
    for number, batch in rows_of(tables, "batches"):
        lot = lots.get(batch.green_lot or of_coffee.get(batch.coffee) or "")
        if lot is None or not _is_too_early(batch, lot):
            continue
        if batch.green_lot:
            problems.add("batches", _too_early(batch, lot), number, "green_lot")
        elif batch.batch not in named:
            too_early[batch.coffee] = too_early.get(batch.coffee, 0) + 1
    for coffee, count in too_early.items():
        sentence = say_many(
            "{count} batch was roasted before green lot {lot} of coffee {coffee} was harvested; name their own lot in "
            "the column green_lot.",
            "{count} batches were roasted before green lot {lot} of coffee {coffee} was harvested; name their own lot "
            "in the column green_lot.",
            count=count,
            lot=quoted(of_coffee[coffee]),
            coffee=quoted(coffee),
        )
        problems.warn("batches", sentence)


def _is_too_early(batch: Batch, lot: GreenLot) -> bool:
    return lot.harvested_on is not None and batch.roasted_on < lot.harvested_on


def _too_early(batch: Batch, lot: GreenLot) -> Words:
    return say(
        "{lot} is not allowed; the batch was roasted on {roasted}, before that lot was harvested, on {harvested}.",
        lot=quoted(lot.green_lot),
        roasted=batch.roasted_on,
        harvested=lot.harvested_on,
    )


def _check_batch_lots(tables: Mapping[str, ReadTable], lots: Mapping[str, GreenLot], problems: Problems) -> None:
    """Refuse a lot that was picked after the roast; what the batch's own column names is looked at there."""
    batches = {batch.batch: batch for _, batch in rows_of(tables, "batches")}
    for number, row in rows_of(tables, "batch_lots"):
        assert isinstance(row, BatchLot)
        batch, lot = batches.get(row.batch), lots.get(row.green_lot)
        if batch is None or lot is None or batch.green_lot == row.green_lot:
            continue
        if _is_too_early(batch, lot):
            problems.add("batch_lots", _too_early(batch, lot), number, "green_lot")


def _check_named_once(tables: Mapping[str, ReadTable], named: Mapping[str, list[str]], problems: Problems) -> None:
    """Refuse a batch whose own column names one lot while batch_lots names another, or more than that one."""
    for number, batch in rows_of(tables, "batches"):
        other = next((lot for lot in named.get(batch.batch, ()) if lot != batch.green_lot), None)
        if batch.green_lot and other is not None:
            sentence = say(
                "{lot} is not allowed; {file} names {other} for this batch: leave the cell empty, or mend {file}.",
                lot=quoted(batch.green_lot),
                file=problems.places["batch_lots"],
                other=quoted(other),
            )
            problems.add("batches", sentence, number, "green_lot")


def _warn_of_masses(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    """Point out batches whose lots weigh more together than the green that went in."""
    together: dict[str, float] = {}
    for _, row in rows_of(tables, "batch_lots"):
        if row.green_kg is not None:
            together[row.batch] = together.get(row.batch, 0.0) + row.green_kg
    over = [
        (batch, together[batch.batch])
        for _, batch in rows_of(tables, "batches")
        if batch.green_in_kg is not None and together.get(batch.batch, 0.0) > batch.green_in_kg * (1.0 + _SCALES_ROUND)
    ]
    if over:
        first, mass = over[0]
        sentence = say_many(
            "the lots of {count} batch weigh more together than its green_in_kg in {file}: {batch} with {mass:.10g} kg "
            "of lots and {green:.10g} kg of green in.",
            "the lots of {count} batches weigh more together than their green_in_kg in {file}; the first is {batch}, "
            "with {mass:.10g} kg of lots and {green:.10g} kg of green in.",
            count=len(over),
            file=problems.places["batches"],
            batch=quoted(first.batch),
            mass=mass,
            green=first.green_in_kg,
        )
        problems.warn("batch_lots", sentence)
