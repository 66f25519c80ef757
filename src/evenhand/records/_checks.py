"""Checks what no single row can tell: labels that repeat or point nowhere, scores off their scale, dates that clash.

A file that could not be read is left out of these checks, so that one broken file is one problem and not a thousand.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from evenhand.records._cells import ReadTable, rows_of
from evenhand.records._checks_green import check_green
from evenhand.records._problems import Problems, alike, did_you_mean, ended, quoted
from evenhand.records.rows import FILES, Attribute, Batch, Costs, Pull, Recipe, Sheet, Target

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
            sentence = f"{named} stands in row {first[key]} already; each {kind.one} is listed once."
            problems.add(table.stem, sentence, number)
        else:
            first[key] = number


def _check_reference(table: ReadTable, column: str, listed_in: ReadTable, problems: Problems) -> None:
    known = {label for label in listed_in.columns[FILES[listed_in.stem].key[0]] if label is not None}
    for number, label in zip(table.row_numbers, table.columns[column], strict=True):
        if label is not None and label not in known:
            hint = "" if problems.is_full(table.stem) else did_you_mean(label, sorted(known))
            place = problems.places[listed_in.stem]
            problems.add(table.stem, ended(f"{quoted(label)} is not listed in {place}{hint}"), number, column)


def _check_scales(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    scales: dict[str, Attribute] = {}
    for number, attribute in rows_of(tables, "attributes"):
        if attribute.scale_low < attribute.scale_high:
            scales[attribute.attribute] = attribute
        else:
            sentence = (
                f"{quoted(_plain(attribute.scale_high))} is not allowed; the high end of the scale is above its low "
                f"end, {_plain(attribute.scale_low)}."
            )
            problems.add("attributes", sentence, number, "scale_high")

    def off_scale(name: str, value: float) -> str:
        scale = scales.get(name)
        if scale is None or scale.scale_low <= value <= scale.scale_high:
            return ""
        span = f"{_plain(scale.scale_low)} to {_plain(scale.scale_high)}"
        return f"{quoted(_plain(value))} is not allowed; {name} is scored from {span}."

    for number, target in rows_of(tables, "targets"):
        assert isinstance(target, Target)
        if sentence := off_scale(target.attribute, target.target):
            problems.add("targets", sentence, number, "target")
    for number, sheet in rows_of(tables, "sheets"):
        assert isinstance(sheet, Sheet)
        if sentence := off_scale(sheet.attribute, sheet.score):
            problems.add("sheets", sentence, number, "score")


def _check_dates(tables: Mapping[str, ReadTable], today: dt.date, problems: Problems) -> None:
    roasted: dict[str, dt.date] = {}
    for number, batch in rows_of(tables, "batches"):
        assert isinstance(batch, Batch)
        roasted[batch.batch] = batch.roasted_on
        if batch.roasted_on > today:
            sentence = f'"{batch.roasted_on}" is not allowed; a roast date is not after today, {today}.'
            problems.add("batches", sentence, number, "roasted_on")
    for number, pull in rows_of(tables, "pulls"):
        assert isinstance(pull, Pull)
        day = _day(pull.pulled_at)
        shown = quoted(pull.pulled_at.isoformat())
        if day > today:
            problems.add("pulls", f"{shown} is not allowed; a pull is not after today, {today}.", number, "pulled_at")
        elif pull.batch in roasted and day < roasted[pull.batch] <= today:
            when = roasted[pull.batch]
            sentence = f"{shown} is not allowed; batch {quoted(pull.batch)} was roasted later, on {when}."
            problems.add("pulls", sentence, number, "pulled_at")


def _day(moment: dt.datetime | dt.date) -> dt.date:
    return moment.date() if isinstance(moment, dt.datetime) else moment


def _check_batches(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    for number, batch in rows_of(tables, "batches"):
        if None not in (batch.green_in_kg, batch.roasted_out_kg) and batch.roasted_out_kg > batch.green_in_kg:
            sentence = (
                f"{quoted(_plain(batch.roasted_out_kg))} is not allowed; a roast cannot weigh more than the "
                f"{_plain(batch.green_in_kg)} kg of green that went in."
            )
            problems.add("batches", sentence, number, "roasted_out_kg")


def _check_costs(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    if "costs" not in tables or not tables["costs"].is_whole:
        return
    names: Sequence[str] = [n for n in tables["costs"].columns["name"] if n is not None]
    unknown = [n for n in names if n not in COST_NAMES]
    for name in COST_NAMES:
        if name not in names:
            problems.add("costs", f"the row {name} is missing; the costs are {', '.join(COST_NAMES)}.")
    if unknown:
        hints = [quoted(n) + did_you_mean(n, [k for k in COST_NAMES if k not in names]) for n in unknown]
        problems.warn("costs", ended("not read, because no such cost is known: " + ", ".join(hints)))
    for number, cost in rows_of(tables, "costs"):
        if cost.name == "prior_bad" and not 0 < cost.value < 1:
            share = "prior_bad is a share above 0 and below 1"
            problems.add("costs", f"{quoted(_plain(cost.value))} is not allowed; {share}.", number, "value")


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
                problems.warn(
                    "recipes", f"row {number} gives {given} but not {empty}, so this deviation cannot be judged."
                )


def _warn_of_likeness(tables: Mapping[str, ReadTable], problems: Problems) -> None:
    for column, stems in (
        ("taster", ("sheets", "faults")),
        ("fault", ("faults",)),
        ("green_lot", ("batches", "coffees", "green_lots")),
    ):
        labels = {v for stem in stems for v in _column(tables, stem, column) if v is not None}
        for group in alike(labels):
            named = " and ".join(quoted(label) for label in group)
            stem = stems[0] if stems[0] in tables else stems[-1]
            problems.warn(stem, f"{named} are read as {len(group)} different {column.replace('_', ' ')}s.")


def _plain(number: float) -> str:
    return f"{number:.10g}"
