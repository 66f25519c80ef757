"""Reads a folder of CSV files, or one XLSX workbook, into rows that can be trusted, or says all that is wrong.

The files, columns and limits are told in docs/formats.md. Nothing is written, and the clock is an argument.
"""

import datetime as dt
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from evenhand.errors import FolderError
from evenhand.records._problems import Problems, did_you_mean, ended, quoted
from evenhand.records._table import RawTable, build_table, read_csv
from evenhand.records.rows import (
    FILES,
    Attribute,
    Batch,
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

MAX_FILE_BYTES = 50_000_000
INVENTED = "INVENTED"
"""A file INVENTED.txt, or a sheet of this name, marks the data as invented."""

_TOO_LARGE = f"is larger than {MAX_FILE_BYTES // 1_000_000} MB; a season of tastings takes far less"

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
        problems = Problems({stem: f"{_shown(workbook.name)}, sheet {stem}" for stem in FILES})
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
        raise FolderError([f"{shown}: cannot be opened ({_reason(error)})."]) from error
    if not exists:
        raise FolderError([f"{shown}: there is no such folder or file."])
    if not place.is_file() or place.suffix.lower() != ".xlsx":
        raise FolderError([f"{shown}: name a folder of CSV files or an XLSX workbook; this is neither."])
    return place


def _workbook_in(place: Path, names: list[str]) -> Path | None:
    if any(name.lower().endswith(".csv") for name in names):
        return None
    workbooks = [n for n in names if n.lower().endswith(".xlsx") and not n.startswith(("~$", "."))]
    if len(workbooks) == 1:
        return place / workbooks[0]
    if workbooks:
        raise FolderError([f"{_shown(str(place))}: the folder holds {len(workbooks)} workbooks; name the one to read."])
    wanted = ", ".join(f"{stem}.csv" for stem, kind in FILES.items() if kind.required)
    raise FolderError([f"{_shown(str(place))}: the folder holds no CSV file and no workbook; needed are {wanted}."])


def _read_files(place: Path, problems: Problems) -> tuple[dict[str, RawTable], bool]:
    names = sorted(os.listdir(place))
    raw: dict[str, RawTable] = {}
    others = [n for n in names if n.lower().endswith(".csv") and n.removesuffix(".csv") not in FILES]
    for stem, kind in FILES.items():
        name = f"{stem}.csv"
        if name not in names:
            if kind.required:
                hint = did_you_mean(name, others, "is it")
                problems.add(stem, ended(f"this file is missing from the folder{hint}"))
            continue
        content = _load(place / name, stem, problems)
        if content is not None and (table := read_csv(stem, content, problems)) is not None:
            raw[stem] = table
    _demand_lots("file", [stem for stem in FILES if f"{stem}.csv" in names], others, problems)
    if others:
        problems.warn(None, "not read, because no such file is known: " + ", ".join(map(_shown, others)) + ".")
    return raw, f"{INVENTED}.txt" in names


def _load(path: Path, stem: str, problems: Problems) -> bytes | None:
    """Return the file's bytes; its size is looked at before anything is read."""
    try:
        if not path.is_file():
            problems.add(stem, "this is not a file that can be read.")
            return None
        if path.stat().st_size > MAX_FILE_BYTES:
            problems.add(stem, f"the file {_TOO_LARGE}.")
            return None
        return path.read_bytes()
    except OSError as error:
        problems.add(stem, f"the file cannot be read ({_reason(error)}).")
        return None


def _read_workbook(path: Path, problems: Problems) -> tuple[dict[str, RawTable], bool]:
    from evenhand.records._workbook import WorkbookError, read_workbook

    shown = _shown(path.name)
    try:
        if path.stat().st_size > MAX_FILE_BYTES:
            raise FolderError([f"{shown}: the workbook {_TOO_LARGE}."])
        names, sheets, error_cells = read_workbook(path.read_bytes(), tuple(FILES))
    except OSError as error:
        raise FolderError([f"{shown}: the workbook cannot be read ({_reason(error)})."]) from error
    except WorkbookError as error:
        raise FolderError([f"{shown}: the workbook cannot be read; {error}."]) from error
    raw: dict[str, RawTable] = {}
    others = [name for name in names if name not in FILES and name != INVENTED]
    for stem, kind in FILES.items():
        if stem not in sheets:
            if kind.required:
                hint = did_you_mean(stem, others, "is it")
                problems.add(stem, ended(f"this sheet is missing from the workbook{hint}"))
            continue
        for cell in error_cells.get(stem, ()):
            problems.add(stem, f"cell {cell} holds a spreadsheet error; mend its formula or leave the cell empty.")
        if (table := build_table(stem, sheets[stem], problems, comma_is_free=True)) is not None:
            raw[stem] = table
    _demand_lots("sheet", list(sheets), others, problems)
    if others:
        named = ", ".join(quoted(name) for name in others)
        problems.warn(None, f"{shown}: not read, because no such sheet is known: {named}.")
    return raw, INVENTED in names


def _demand_lots(kind: str, present: list[str], others: list[str], problems: Problems) -> None:
    """Ask for the list of lots where readings or spells of storage name some."""
    users = [stem for stem in ("green_readings", "green_storage") if stem in present]
    if users and "green_lots" not in present:
        name = "green_lots.csv" if kind == "file" else "green_lots"
        hint = did_you_mean(name, others, "is it")
        named = " and ".join(problems.places[stem] for stem in users)
        problems.add("green_lots", ended(f"this {kind} is missing; {named} need it, for it lists the lots{hint}"))


def _reason(error: Exception) -> str:
    return (getattr(error, "strerror", None) or str(error)).lower()


def _shown(name: str) -> str:
    """Return a name that can be printed, whatever bytes the file system holds."""
    text = name.encode("utf-8", "replace").decode("utf-8")
    return "".join(c if c.isprintable() else "?" for c in text)
