"""Takes the cells out of one XLSX workbook, sheet by sheet, or says in a sentence why that cannot be done."""

import io
import re
import zipfile
from collections.abc import Sequence
from xml.etree import ElementTree

from evenhand.words import say

MAX_UNPACKED_BYTES = 500_000_000
MAX_CELLS = 20_000_000

_CELL = re.compile(rb'<c\b[^>]*?\br="([A-Z]{1,3})([0-9]{1,7})"[^>]*>')


class WorkbookError(Exception):
    """The workbook cannot be read; the message is a clause, as words, that says why."""


def read_workbook(
    content: bytes, wanted: Sequence[str]
) -> tuple[list[str], dict[str, list[list[object]]], dict[str, list[str]]]:
    """Read the wanted sheets of a workbook.

    Parameters
    ----------
    content
        The bytes of the XLSX file.
    wanted
        The names of the sheets to read, where they exist.

    Returns
    -------
    names, sheets, error_cells
        The names of all sheets; rows of cells by name of sheet, from the sheet's first row on; and the places of
        cells that hold a spreadsheet error such as #DIV/0!, which the reader of cells passes over as empty.

    Raises
    ------
    WorkbookError
        When the bytes are no workbook, or unpack to more than MAX_UNPACKED_BYTES, or when a sheet's used area is
        larger than MAX_CELLS (one forgotten cell far down and right is enough).
    """
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        unpacked = sum(entry.file_size for entry in archive.infolist())
    except Exception as error:
        raise WorkbookError(say("it is no XLSX workbook; open it in a spreadsheet and save it as XLSX")) from error
    if unpacked > MAX_UNPACKED_BYTES:
        raise WorkbookError(say("it unpacks to more than {most} MB", most=MAX_UNPACKED_BYTES // 1_000_000))
    try:
        error_cells = {name: _look(name, archive.read(part)) for name, part in _parts(archive) if name in wanted}
        from python_calamine import CalamineWorkbook

        workbook = CalamineWorkbook.from_filelike(io.BytesIO(content))
        sheets: dict[str, list[list[object]]] = {
            name: [list(row) for row in workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)]
            for name in workbook.sheet_names
            if name in wanted
        }
        if not workbook.sheet_names:
            raise ValueError("no sheet")
        return list(workbook.sheet_names), sheets, error_cells
    except BaseException as error:  # a panic of the compiled reader is no Exception
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError | WorkbookError):
            raise
        raise WorkbookError(say("it is damaged; open it in a spreadsheet and save it again as XLSX")) from error


def _parts(archive: zipfile.ZipFile) -> list[tuple[str, str]]:
    """Return the name of each sheet and the part of the archive that holds it, as the workbook's relations tell."""
    present = set(archive.namelist())
    if not {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= present:
        return []
    target = {
        relation.get("Id", ""): relation.get("Target", "").lstrip("/")
        for relation in ElementTree.fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    }
    found = []
    for element in ElementTree.fromstring(archive.read("xl/workbook.xml")).iter():
        if element.tag.endswith("}sheet"):
            relation_id = next((value for name, value in element.items() if name.endswith("}id")), "")
            part = target.get(relation_id, "")
            part = part if part.startswith("xl/") else f"xl/{part}"
            if part in present:
                found.append((element.get("name", ""), part))
    return found


def _look(name: str, sheet: bytes) -> list[str]:
    """Return the places of error cells, once it is sure that the sheet's area can be held in memory."""
    last_row, last_column, errors = 1, 1, []
    for cell in _CELL.finditer(sheet):
        letters, digits = cell.group(1), int(cell.group(2))
        column = 0
        for letter in letters:
            column = 26 * column + letter - 64
        last_row, last_column = max(last_row, digits), max(last_column, column)
        if b' t="e"' in cell.group(0):
            errors.append(f"{letters.decode()}{digits}")
    if last_row * last_column > MAX_CELLS:
        raise WorkbookError(
            say(
                "sheet {name} spreads over {rows:,} rows and {columns:,} columns; delete what stands far outside",
                name=name,
                rows=last_row,
                columns=last_column,
            )
        )
    return errors
