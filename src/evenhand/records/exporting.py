"""Writes a folder of rows to the disk: as CSV files or as one XLSX workbook, each whole or not at all.

Both read back equal: labels letter for letter, numbers to the last bit, moments as they were written.
"""

import contextlib
import csv
import datetime as dt
import io
import os
import secrets
import shutil
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records._reasons import reason_of
from evenhand.records._refusals import RecordError
from evenhand.records.canonical import number
from evenhand.records.collecting import collect, collect_recent
from evenhand.records.folder import INVENTED, Folder
from evenhand.words import Words, say, say_many

__all__ = ["collect", "collect_recent", "find_formulas", "write_folder", "write_workbook"]

_INVENTED_TEXT = "The data in this folder are invented.\n"
_FORMULA_SIGNS = ("=", "+", "-", "@", "\t", "\r")
_FIRST_YEAR = 1901
"""Days before it are written to a workbook as text: spreadsheets count from 1900, and count a day that never was."""


def write_folder(folder: Folder, place: str | os.PathLike[str]) -> Path:
    """Write a folder of CSV files; it appears whole or not at all.

    Files that a folder may lack are left out where they would hold no row.

    Parameters
    ----------
    folder
        What to write.
    place
        The folder to make; it must not be there yet.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        When the place is taken or cannot be written.
    """

    def write(draft: Path) -> None:
        draft.mkdir(parents=True)
        for stem, columns, lines in _tables(folder):
            (draft / f"{stem}.csv").write_text(_as_csv(columns, lines), encoding="utf-8", newline="")
        if folder.invented:
            (draft / f"{INVENTED}.txt").write_text(_INVENTED_TEXT, encoding="utf-8")

    return _appear(Path(place), say("folder"), write)


def write_workbook(folder: Folder, place: str | os.PathLike[str]) -> Path:
    """Write one XLSX workbook with the same sheets and columns; it appears whole or not at all.

    Labels and moments are text, days are date cells, numbers are numbers: nothing is left for a spreadsheet to guess.

    Parameters
    ----------
    folder
        What to write.
    place
        The file to make, with the ending .xlsx; it must not be there yet.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    RecordError
        When the place has another ending, is taken or cannot be written, or a table has more rows than a sheet.
    """
    place = Path(place)
    if place.suffix.lower() != ".xlsx":
        raise RecordError(
            say("{place}: a workbook's name ends in .xlsx; name it so, or it is not read back.", place=place)
        )

    def write(draft: Path) -> None:
        from evenhand.records._workbook_writer import save

        tables = ((stem, columns, map(_typed_line, lines)) for stem, columns, lines in _tables(folder))
        save(tables, draft, empty_sheet=INVENTED if folder.invented else None)

    return _appear(place, say("workbook"), write)


def find_formulas(folder: Folder) -> tuple[Words, ...]:
    """Warn of text that a spreadsheet would run as a formula when it opens the CSV files.

    Such a cell is written all the same, since the folder has to come back byte for byte.

    Parameters
    ----------
    folder
        What is written.

    Returns
    -------
    tuple of Words
        One sentence for each column that holds such a cell, with the first one; none where there is nothing to fear.
    """
    warnings = []
    for stem, columns, lines in _tables(folder):
        rows_of_stem = list(lines)
        for at, column in enumerate(columns):
            texts = [_cell(line[at]) for line in rows_of_stem if isinstance(line[at], str | tuple)]
            found = [text for text in texts if text.startswith(_FORMULA_SIGNS) and not _is_number(text)]
            if found:
                sentence = say_many(
                    "{file}, {column}: {count:,} cell begins with =, +, -, @ or a tab (the first is {first}), which a "
                    "spreadsheet may run as a formula. Open the file there with its columns as text, or export a "
                    "workbook.",
                    "{file}, {column}: {count:,} cells begin with =, +, -, @ or a tab (the first is {first}), which a "
                    "spreadsheet may run as a formula. Open the file there with its columns as text, or export a "
                    "workbook.",
                    count=len(found),
                    file=f"{stem}.csv",
                    column=column,
                    first=quoted(found[0]),
                )
                warnings.append(sentence)
    return tuple(warnings)


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return True


def _appear(place: Path, noun: Words, write: Callable[[Path], None]) -> Path:
    """Let something be written under a draft name, and rename it when it is whole."""
    if place.exists():
        raise RecordError(
            say("{place}: this is there already; give the export a {noun} of its own.", place=place, noun=noun)
        )
    draft = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        write(draft)
        draft.rename(place)
    except OSError as error:
        sentence = say(
            "{place}: the {noun} cannot be written ({reason}).", place=place, noun=noun, reason=reason_of(error)
        )
        raise RecordError(sentence) from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
        with contextlib.suppress(OSError):
            draft.unlink()
    return place


def _tables(folder: Folder) -> Iterable[tuple[str, Sequence[str], Iterable[Sequence[Any]]]]:
    """Yield each file's stem, columns and rows; a file or column that came later is left out where it holds nothing."""
    for stem, kind in rows.FILES.items():
        found = _rows_of(folder, stem)
        if not found and not kind.required:
            continue
        columns = [f.name for f in fields(kind.row)]
        if stem == "batches" and all(row.green_lot is None for row in found):
            columns.remove("green_lot")
        yield stem, columns, ([getattr(row, name) for name in columns] for row in found)


def _rows_of(folder: Folder, stem: str) -> Sequence[Any]:
    if stem == "costs":
        return [rows.Cost(name=f.name, value=getattr(folder.costs, f.name)) for f in fields(rows.Costs)]
    found: Sequence[Any] = getattr(folder, stem)
    return found


def _as_csv(columns: Sequence[str], lines: Iterable[Sequence[Any]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(value) for value in line] for line in lines)
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, tuple):
        return "; ".join(value)
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="auto" if value.second or value.microsecond else "minutes")
    if isinstance(value, dt.date):
        return value.isoformat()
    return number(value) if isinstance(value, float) else str(value)


def _typed_line(line: Sequence[Any]) -> list[Any]:
    return [_typed(value) for value in line]


def _typed(value: Any) -> Any:
    """Return a value as a workbook's cell holds it: a number, a day, or text."""
    if value is None or value == ():
        return None
    if isinstance(value, float | int):
        return value
    is_day = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    return value if is_day and value.year >= _FIRST_YEAR else _cell(value)
