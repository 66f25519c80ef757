"""Writes tables into one XLSX workbook, sheet by sheet; a text stays a text, even where it looks like a formula."""

import datetime as dt
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

from evenhand.records._refusals import RecordError
from evenhand.records._table import MAX_ROWS
from evenhand.words import say

Table = tuple[str, Sequence[str], Iterable[Sequence[Any]]]
"""The name of a sheet, its columns, and its rows of numbers, days, texts and None."""

_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)")
"""The format writes a character as _x0041_, so a text that holds such letters must write its first mark so too."""


def save(tables: Iterable[Table], path: Path, *, empty_sheet: str | None) -> None:
    """Write a workbook.

    Parameters
    ----------
    tables
        What its sheets hold; each begins with the names of the columns.
    path
        The file.
    empty_sheet
        The name of one more sheet without a cell; None for no such sheet.

    Raises
    ------
    RecordError
        When a table has more rows than a sheet can hold.
    OSError
        When the file cannot be written.
    """
    from openpyxl import Workbook  # type: ignore[import-untyped]
    from openpyxl.cell import WriteOnlyCell  # type: ignore[import-untyped]

    whole = [(name, columns, list(lines)) for name, columns, lines in tables]
    for name, _, lines in whole:
        if len(lines) >= MAX_ROWS:
            sentence = say(
                "{sheet}: there are more rows than the {most:,} of a sheet; export CSV files.",
                sheet=name,
                most=MAX_ROWS,
            )
            raise RecordError(sentence)
    with path.open("xb") as file:  # opened before the sheets are begun, since a book that cannot be saved lingers
        book = Workbook(write_only=True)
        for name, columns, lines in whole:
            sheet = book.create_sheet(name)
            sheet.freeze_panes = "A2"
            for line in (columns, *lines):
                sheet.append([_cell_of(WriteOnlyCell, sheet, value) for value in line])
        if empty_sheet is not None:
            book.create_sheet(empty_sheet)
        book.save(file)


def _cell_of(make: Callable[..., Any], sheet: Any, value: Any) -> Any:
    """Return a cell: a text that nothing can take for a formula, a number to its last bit, or a day."""
    is_day = isinstance(value, dt.date)
    cell = make(sheet, value=value if is_day else None)
    if is_day:
        cell.number_format = "yyyy-mm-dd"
    elif value is not None:  # set past the library's own guesses, and past its 16 digits of a number
        cell._value = _ESCAPE.sub("_x005F_", value) if isinstance(value, str) else repr(value)
        cell.data_type = "s" if isinstance(value, str) else "n"
    return cell
