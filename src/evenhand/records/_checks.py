"""Checks what no single row can tell: labels that repeat or point nowhere, scores off their scale, dates that clash.

A file that could not be read is left out of these checks, so that one broken file is one problem and not a thousand.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from evenhand.records._cells import ReadTable, rows_of
from evenhand.records._checks_green import check_green
from evenhand.records._problems import Problems, alike, find_near, list_unknown, quoted
from evenhand.records.rows import FILES, Attribute, Batch, Costs, Pull, Recipe, Sheet, Target
from evenhand.words import Words, join, say

COST_NAMES = tuple(Costs.__dataclass_fields__)

# (file, column, file that must list the label)
_REFERENCES = (
    ("coffees", "recipe", "recipes"),
    ("targets", "coffee", "coffees"),
    ("targets", "attribute", "attributes"),
    ("batches", "coffee", "coffees"),
    ("pulls", "batch", "batches"),
    ("cups", "pull", "pulls"),
    ("sheets", "cup", "cups"),
    ("sheets", "attribute", "attributes"),
    ("faults", "cup", "cups"),
    ("green_readings", "green_lot", "green_lots"),
    ("green_storage", "green_lot", "green_lots"),
    ("batch_lots", "batch", "batches"),
)


def check(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    """Run every check between rows and between files; problems go to the pad."""
    for table in tables.values():
        _check_keys(table, problems)
    for stem, column, listed_in in _REFERENCES:
        if stem in tables and listed_in in tables and tables[listed_in].is_whole:
            _check_reference(tables[stem], column, tables[listed_in], problems)
    _check_scales(tables, problems)
    _check_dates(tables, today, problems)
    _check_batches(tables, problems)
    _check_costs(tables, problems)
    check_green(tables, today, problems)
    _warn_of_recipes(tables, problems)
    _warn_of_likeness(tables, problems)


def _column(tables: Mapping[str, ReadTable], stem: str, name: str) -> list[Any]:
    return tables[stem].columns.get(name, []) if stem in tables else []


def _check_keys(table: ReadTable, problems: Problems) -> None:
    kind = FILES[table.stem]
    first: dict[tuple[Any, ...], int] = {}
    if not table.row_numbers:
        return
    keys = zip(*(table.columns[name] for name in kind.key), strict=True)
    for number, key in zip(table.row_numbers, keys, strict=True):
        if None in key:
            continue
        if key in first:
            named = ", ".join(f"{name} {quoted(label)}" for name, label in zip(kind.key, key, strict=True))
            sentence = say(
                "{named} stands in row {row} already; each {sort} is listed once.",
                named=named,
                row=first[key],
                sort=kind.one,
            )
            problems.add(table.stem, sentence, number)
        else:
            first[key] = number


def _check_reference(table: ReadTable, column: str, listed_in: ReadTable, problems: Problems) -> None:
    known = {label for label in listed_in.columns[FILES[listed_in.stem].key[0]] if label is not None}
    for number, label in zip(table.row_numbers, table.columns[column], strict=True):
        if label is not None and label not in known:
            near = "" if problems.is_full(table.stem) else find_near(label, sorted(known))
            problems.add(table.stem, _unlisted(label, problems.places[listed_in.stem], near), number, column)


def _unlisted(label: str, place: str, near: str) -> Words:
    if near:
        return say(
            "{label} is not listed in {place}; did you mean {near}?", label=quoted(label), place=place, near=near
        )
    return say("{label} is not listed in {place}.", label=quoted(label), place=place)


def _check_scales(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    scales: dict[str, Attribute] = {}
    for number, attribute in rows_of(tables, "attributes"):
        if attribute.scale_low < attribute.scale_high:
            scales[attribute.attribute] = attribute
        else:
            sentence = say(
                "{high} is not allowed; the high end of the scale is above its low end, {low:.10g}.",
                high=quoted(attribute.scale_high),
                low=attribute.scale_low,
            )
            problems.add("attributes", sentence, number, "scale_high")

    def off_scale(name: str, value: float) -> Words | None:
        scale = scales.get(name)
        if scale is None or scale.scale_low <= value <= scale.scale_high:
            return None
        return say(
            "{value} is not allowed; {attribute} is scored from {low:.10g} to {high:.10g}.",
            value=quoted(value),
            attribute=name,
            low=scale.scale_low,
            high=scale.scale_high,
        )

    for number, target in rows_of(tables, "targets"):
        assert isinstance(target, Target)
        if off := off_scale(target.attribute, target.target):
            problems.add("targets", off, number, "target")
    for number, sheet in rows_of(tables, "sheets"):
        assert isinstance(sheet, Sheet)
        if off := off_scale(sheet.attribute, sheet.score):
            problems.add("sheets", off, number, "score")


def _check_dates(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    roasted: dict[str, dt.date] = {}
    for number, batch in rows_of(tables, "batches"):
        assert isinstance(batch, Batch)
        roasted[batch.batch] = batch.roasted_on
        if batch.roasted_on > today:
            sentence = say(
                "{day} is not allowed; a roast date is not after today, {today}.",
                day=quoted(batch.roasted_on),
                today=today,
            )
            problems.add("batches", sentence, number, "roasted_on")
    for number, pull in rows_of(tables, "pulls"):
        assert isinstance(pull, Pull)
        day = _day(pull.pulled_at)
        shown = quoted(pull.pulled_at.isoformat())
        if day > today:
            sentence = say("{moment} is not allowed; a pull is not after today, {today}.", moment=shown, today=today)
            problems.add("pulls", sentence, number, "pulled_at")
        elif pull.batch in roasted and day < roasted[pull.batch] <= today:
            sentence = say(
                "{moment} is not allowed; batch {batch} was roasted later, on {day}.",
                moment=shown,
                batch=quoted(pull.batch),
                day=roasted[pull.batch],
            )
            problems.add("pulls", sentence, number, "pulled_at")


def _day(moment: dt.datetime | dt.date) -> dt.date:
    return moment.date() if isinstance(moment, dt.datetime) else moment


def _check_batches(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    for number, batch in rows_of(tables, "batches"):
        if None not in (batch.green_in_kg, batch.roasted_out_kg) and batch.roasted_out_kg > batch.green_in_kg:
            sentence = say(
                "{roasted} is not allowed; a roast cannot weigh more than the {green:.10g} kg of green that went in.",
                roasted=quoted(batch.roasted_out_kg),
                green=batch.green_in_kg,
            )
            problems.add("batches", sentence, number, "roasted_out_kg")


def _check_costs(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    if "costs" not in tables or not tables["costs"].is_whole:
        return
    names: Sequence[str] = [n for n in tables["costs"].columns["name"] if n is not None]
    unknown = [n for n in names if n not in COST_NAMES]
    for name in COST_NAMES:
        if name not in names:
            sentence = say("the row {name} is missing; the costs are {names}.", name=name, names=", ".join(COST_NAMES))
            problems.add("costs", sentence)
    if unknown:
        listed = list_unknown(unknown, [k for k in COST_NAMES if k not in names])
        problems.warn("costs", say("not read, because no such cost is known: {names}", names=listed))
    for number, cost in rows_of(tables, "costs"):
        if cost.name == "prior_bad" and not 0 < cost.value < 1:
            sentence = say(
                "{value} is not allowed; {name} is a share above 0 and below 1.",
                value=quoted(cost.value),
                name=cost.name,
            )
            problems.add("costs", sentence, number, "value")


def _warn_of_recipes(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    for number, recipe in rows_of(tables, "recipes"):
        assert isinstance(recipe, Recipe)
        pairs = (
            ("water_c", recipe.water_c, "water_tol_c", recipe.water_tol_c),
            ("pressure_bar", recipe.pressure_bar, "pressure_tol_bar", recipe.pressure_tol_bar),
        )
        for name, value, tol_name, tolerance in pairs:
            if (value is None) != (tolerance is None):
                given, empty = (name, tol_name) if tolerance is None else (tol_name, name)
                sentence = say(
                    "row {row} gives {given} but not {empty}, so this deviation cannot be judged.",
                    row=number,
                    given=given,
                    empty=empty,
                )
                problems.warn("recipes", sentence)


def _warn_of_likeness(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    for column, stems in (
        ("taster", ("sheets", "faults")),
        ("fault", ("faults",)),
        ("green_lot", ("batches", "coffees", "green_lots", "batch_lots")),
    ):
        labels = {v for stem in stems for v in _column(tables, stem, column) if v is not None}
        for group in alike(labels):
            named = join((quoted(label) for label in group), " and ")
            stem = stems[0] if stems[0] in tables else stems[-1]
            problems.warn(stem, _read_apart(column, named, len(group)))


def _read_apart(column: str, named: str, number: int) -> Words:
    if column == "taster":
        return say("{names} are read as {number} different tasters.", names=named, number=number)
    if column == "fault":
        return say("{names} are read as {number} different faults.", names=named, number=number)
    return say("{names} are read as {number} different green lots.", names=named, number=number)
