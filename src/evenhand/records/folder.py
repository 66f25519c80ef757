"""Reads a folder of CSV files, or one XLSX workbook, into rows that can be trusted, or says all that is wrong.

The files, columns and limits are told in docs/formats.md. Nothing is written, and the clock is an argument.
"""

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from evenhand.errors import FolderError
from evenhand.records._problems import Problems, find_near, quoted
from evenhand.records._reasons import reason_of
from evenhand.records._table import RawTable, build_table, read_csv
from evenhand.records.rows import (
    FILES,
    Attribute,
    Batch,
    BatchLot,
    Coffee,
    Costs,
    Cup,
    FaultReport,
    GreenLot,
    GreenReading,
    GreenStorage,
    Pull,
    Recipe,
    Sheet,
    Target,
)
from evenhand.words import Words, join, say

MAX_FILE_BYTES = 50_000_000
INVENTED = "INVENTED"
"""A file INVENTED.txt, or a sheet of this name, marks the data as invented."""

_MAX_MB = MAX_FILE_BYTES // 1_000_000

R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """All that a roastery wrote down, read and checked; the rows keep the order of the files.

    Attributes
    ----------
    warnings
        Sentences about what was read all the same, such as an unknown column or a decimal comma.
    title
        The name of the folder, or of the workbook without its ending.
    invented
        True when the data are marked as invented.
    """

    recipes: tuple[Recipe, ...]
    coffees: tuple[Coffee, ...]
    targets: tuple[Target, ...]
    attributes: tuple[Attribute, ...]
    batches: tuple[Batch, ...]
    pulls: tuple[Pull, ...]
    cups: tuple[Cup, ...]
    sheets: tuple[Sheet, ...]
    faults: tuple[FaultReport, ...]
    costs: Costs
    warnings: tuple[str, ...]
    title: str
    invented: bool
    green_lots: tuple[GreenLot, ...] = ()
    green_readings: tuple[GreenReading, ...] = ()
    green_storage: tuple[GreenStorage, ...] = ()
    batch_lots: tuple[BatchLot, ...] = ()


def read(path: str | os.PathLike[str], *, today: dt.date) -> Folder:
    """Read a folder of CSV files, one XLSX workbook, or a folder that holds one workbook and no CSV file.

    Parameters
    ----------
    path
        The folder or workbook.
    today
        The day of reading; no roast and no pull may lie after it.

    Returns
    -------
    Folder
        Rows that keep every rule of docs/formats.md.

    Raises
    ------
    FolderError
        When anything is wrong. It holds one sentence for every problem of all files together; of each file at most
        50, and then how many more.
    """
    place = Path(path)
    workbook = _workbook_of(place)
    if workbook is None:
        problems = Problems({stem: f"{stem}.csv" for stem in FILES})
        raw, invented = _read_files(place, problems)
    else:
        name = _shown(workbook.name)
        problems = Problems({stem: say("{workbook}, sheet {sheet}", workbook=name, sheet=stem) for stem in FILES})
        raw, invented = _read_workbook(workbook, problems)

    from evenhand.records._cells import read_rows  # with pydantic, only when there is something to read
    from evenhand.records._checks import check

    tables = {stem: read_rows(table, problems) for stem, table in raw.items()}
    check(tables, today, problems)
    if sentences := problems.sentences():
        raise FolderError(sentences)
    rows: dict[str, Any] = {stem: tables[stem].rows if stem in tables else () for stem in FILES}
    named = place.resolve()
    return Folder(
        **{**rows, "costs": _costs(rows["costs"])},
        warnings=tuple(problems.warnings()),
        title=_shown(named.stem if workbook == place else named.name),
        invented=invented,
    )


def _costs(rows: tuple[Any, ...]) -> Costs:
    return Costs(**{row.name: row.value for row in rows if row.name in Costs.__dataclass_fields__})


def _workbook_of(place: Path) -> Path | None:
    """Return the workbook to read, or None for a folder of CSV files."""
    shown = _shown(str(place))
    try:
        if place.is_dir():
            return _workbook_in(place, sorted(os.listdir(place)))
        exists = place.exists()
    except (OSError, ValueError) as error:
        sentence = say("{place}: cannot be opened ({reason}).", place=shown, reason=reason_of(error))
        raise FolderError([sentence]) from error
    if not exists:
        raise FolderError([say("{place}: there is no such folder or file.", place=shown)])
    if not place.is_file() or place.suffix.lower() != ".xlsx":
        sentence = say("{place}: name a folder of CSV files or an XLSX workbook; this is neither.", place=shown)
        raise FolderError([sentence])
    return place


def _workbook_in(place: Path, names: list[str]) -> Path | None:
    if any(name.lower().endswith(".csv") for name in names):
        return None
    workbooks = [n for n in names if n.lower().endswith(".xlsx") and not n.startswith(("~$", "."))]
    if len(workbooks) == 1:
        return place / workbooks[0]
    shown = _shown(str(place))
    if workbooks:
        sentence = say(
            "{place}: the folder holds {number} workbooks; name the one to read.", place=shown, number=len(workbooks)
        )
        raise FolderError([sentence])
    wanted = ", ".join(f"{stem}.csv" for stem, kind in FILES.items() if kind.required)
    sentence = say(
        "{place}: the folder holds no CSV file and no workbook; needed are {files}.", place=shown, files=wanted
    )
    raise FolderError([sentence])


def _read_files(place: Path, problems: Problems) -> tuple[dict[str, RawTable], bool]:
    names = sorted(os.listdir(place))
    raw: dict[str, RawTable] = {}
    others = [n for n in names if n.lower().endswith(".csv") and n.removesuffix(".csv") not in FILES]
    for stem, kind in FILES.items():
        name = f"{stem}.csv"
        if name not in names:
            if kind.required:
                problems.add(stem, _missing_file(find_near(name, others)))
            continue
        content = _load(place / name, stem, problems)
        if content is not None and (table := read_csv(stem, content, problems)) is not None:
            raw[stem] = table
    users = _users_of_lots([stem for stem in FILES if f"{stem}.csv" in names], problems)
    if users is not None:
        problems.add("green_lots", _missing_lots_file(users, find_near("green_lots.csv", others)))
    if others:
        listed = ", ".join(map(_shown, others))
        problems.warn(None, say("not read, because no such file is known: {names}.", names=listed))
    return raw, f"{INVENTED}.txt" in names


def _load(path: Path, stem: str, problems: Problems) -> bytes | None:
    """Return the file's bytes; its size is looked at before anything is read."""
    try:
        if not path.is_file():
            problems.add(stem, say("this is not a file that can be read."))
            return None
        if path.stat().st_size > MAX_FILE_BYTES:
            sentence = say("the file is larger than {most} MB; a season of tastings takes far less.", most=_MAX_MB)
            problems.add(stem, sentence)
            return None
        return path.read_bytes()
    except OSError as error:
        problems.add(stem, say("the file cannot be read ({reason}).", reason=reason_of(error)))
        return None


def _read_workbook(path: Path, problems: Problems) -> tuple[dict[str, RawTable], bool]:
    from evenhand.records._workbook import WorkbookError, read_workbook

    shown = _shown(path.name)
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise FolderError([_large_workbook(shown)])
        names, sheets, error_cells = read_workbook(path.read_bytes(), tuple(FILES))
    except OSError as error:
        sentence = say("{workbook}: the workbook cannot be read ({reason}).", workbook=shown, reason=reason_of(error))
        raise FolderError([sentence]) from error
    except WorkbookError as error:
        sentence = say("{workbook}: the workbook cannot be read; {reason}.", workbook=shown, reason=error.args[0])
        raise FolderError([sentence]) from error
    raw: dict[str, RawTable] = {}
    others = [name for name in names if name not in FILES and name != INVENTED]
    for stem, kind in FILES.items():
        if stem not in sheets:
            if kind.required:
                problems.add(stem, _missing_sheet(find_near(stem, others)))
            continue
        for cell in error_cells.get(stem, ()):
            sentence = say(
                "cell {cell} holds a spreadsheet error; mend its formula or leave the cell empty.", cell=cell
            )
            problems.add(stem, sentence)
        if (table := build_table(stem, sheets[stem], problems, comma_is_free=True)) is not None:
            raw[stem] = table
    users = _users_of_lots(list(sheets), problems)
    if users is not None:
        problems.add("green_lots", _missing_lots_sheet(users, find_near("green_lots", others)))
    if others:
        named = ", ".join(quoted(name) for name in others)
        sentence = say("{workbook}: not read, because no such sheet is known: {names}.", workbook=shown, names=named)
        problems.warn(None, sentence)
    return raw, INVENTED in names


def _users_of_lots(present: list[str], problems: Problems) -> Words | None:
    """Name the readings and spells of storage that need the list of lots, where it is not there."""
    users = [stem for stem in ("green_readings", "green_storage") if stem in present]
    if not users or "green_lots" in present:
        return None
    return join((problems.places[stem] for stem in users), " and ")


def _missing_file(near: str) -> Words:
    if near:
        return say("this file is missing from the folder; is it {near}?", near=near)
    return say("this file is missing from the folder.")


def _missing_sheet(near: str) -> Words:
    if near:
        return say("this sheet is missing from the workbook; is it {near}?", near=near)
    return say("this sheet is missing from the workbook.")


def _missing_lots_file(users: Words, near: str) -> Words:
    if near:
        return say(
            "this file is missing; {users} need it, for it lists the lots; is it {near}?", users=users, near=near
        )
    return say("this file is missing; {users} need it, for it lists the lots.", users=users)


def _missing_lots_sheet(users: Words, near: str) -> Words:
    if near:
        return say(
            "this sheet is missing; {users} need it, for it lists the lots; is it {near}?", users=users, near=near
        )
    return say("this sheet is missing; {users} need it, for it lists the lots.", users=users)


def _large_workbook(name: str) -> Words:
    return say(
        "{workbook}: the workbook is larger than {most} MB; a season of tastings takes far less.",
        workbook=name,
        most=_MAX_MB,
    )


def _shown(name: str) -> str:
    """Return a name that can be printed, whatever bytes the file system holds."""
    text = name.encode("utf-8", "replace").decode("utf-8")
    return "".join(c if c.isprintable() else "?" for c in text)
