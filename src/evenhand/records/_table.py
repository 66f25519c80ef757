"""Turns the bytes of one CSV file into a header and numbered rows of cells, or into sentences that say why not."""

import csv
import io
from collections.abc import Sequence
from dataclasses import MISSING, dataclass, fields

from evenhand.records._problems import Problems, find_near, list_unknown, quoted
from evenhand.records.rows import FILES
from evenhand.words import Words, say

MAX_ROWS = 1_048_576

_DELIMITERS = {",": say("commas"), ";": say("semicolons"), "\t": say("tabs")}


@dataclass(frozen=True, slots=True)
class RawTable:
    """A file's cells by column, before any is understood.

    Attributes
    ----------
    row_numbers
        The row of each record as a spreadsheet shows it; the header is row 1.
    columns
        The cells of each known column that the file has: text, or what a workbook stores; None in a ragged row.
    comma_is_free
        True where a comma in a number cannot be the separator of cells.
    """

    stem: str
    row_numbers: tuple[int, ...]
    columns: dict[str, list[object]]
    comma_is_free: bool


def columns_of(stem: str) -> tuple[str, ...]:
    """Return the names of all columns that a file may have."""
    return tuple(f.name for f in fields(FILES[stem].row))


def required_columns(stem: str) -> tuple[str, ...]:
    """Return the names of the columns that a file must have."""
    return tuple(f.name for f in fields(FILES[stem].row) if f.default is MISSING)


def read_csv(stem: str, content: bytes, problems: Problems) -> RawTable | None:
    """Read one CSV file.

    Parameters
    ----------
    stem
        Which file of the folder this is, such as "pulls".
    content
        Its bytes.
    problems
        Takes what is wrong, and what was accepted with a remark.

    Returns
    -------
    RawTable or None
        None when the file is too broken to look at its cells.
    """
    text = _decode(stem, content, problems)
    if text is None:
        return None
    delimiter = _find_delimiter(stem, text)
    if delimiter != ",":
        sentence = say(
            "the cells are separated by {signs} instead of commas; read as such.", signs=_DELIMITERS[delimiter]
        )
        problems.warn(stem, sentence)
    records: list[list[str]] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for record in reader:
            if len(records) == MAX_ROWS:
                problems.add(
                    stem, say("the file has more than {most:,} rows, as many as a spreadsheet shows.", most=MAX_ROWS)
                )
                return None
            records.append(record)
    except csv.Error as error:
        row = len(records) + 1
        if "unexpected end" in str(error):
            problems.add(stem, say("a quotation mark is opened in this row and never closed."), row)
        elif "field larger" in str(error):
            problems.add(stem, say("a cell is longer than 130,000 characters; is a quotation mark left open?"), row)
        else:
            sentence = say("the quotation marks do not pair up; put a cell in quotes as a whole or not at all.")
            problems.add(stem, sentence, row)
        return None
    return build_table(stem, records, problems, comma_is_free=delimiter != ",")


def build_table(
    stem: str, records: Sequence[Sequence[object]], problems: Problems, *, comma_is_free: bool
) -> RawTable | None:
    """Check header and shape of the records, row by row as a spreadsheet shows them; blank rows are skipped."""
    stripped = [[c.strip() if isinstance(c, str) else c for c in record] for record in records]
    rows = [(number, cells) for number, cells in enumerate(stripped, start=1) if any(c != "" for c in cells)]
    if not rows:
        problems.add(stem, _empty(stem))
        return None
    (header_row, header), body = rows[0], rows[1:]
    names = [str(cell) for cell in header]
    while names and names[-1] == "":
        names.pop()
    if not _header_is_sound(stem, names, header_row, problems):
        return None
    if not body and FILES[stem].required:
        problems.add(stem, say("the file has a header and no rows; at least one {row} is needed.", row=FILES[stem].one))
        return None
    numbers: list[int] = []
    kept: list[list[object]] = []
    for number, cells in body:
        width = len(cells)
        while width > len(names) and cells[width - 1] == "":
            width -= 1
        if width != len(names):
            problems.add(stem, _ragged(width, len(names), by_comma=not comma_is_free), number)
        numbers.append(number)
        kept.append(cells[:width] if width == len(names) else [None] * len(names))
    known = set(columns_of(stem))
    columns = {name: [row[i] for row in kept] for i, name in enumerate(names) if name in known}
    return RawTable(stem, tuple(numbers), columns, comma_is_free)


def _empty(stem: str) -> Words:
    first = ", ".join(columns_of(stem)[:3])
    return say("the file is empty; its first row must name the columns ({columns}, ...).", columns=first)


def _ragged(cells: int, columns: int, *, by_comma: bool) -> Words:
    if cells > columns and by_comma:
        return say(
            "this row has {cells} cells, but the header names {columns} columns; put a cell that holds a comma in "
            "quotes.",
            cells=cells,
            columns=columns,
        )
    return say("this row has {cells} cells, but the header names {columns} columns.", cells=cells, columns=columns)


def _header_is_sound(stem: str, names: list[str], row: int, problems: Problems) -> bool:
    known, required = columns_of(stem), required_columns(stem)
    repeated = sorted({n for n in names if n and names.count(n) > 1})
    for name in repeated:
        sentence = say("the header names the column {name} twice; every column has its own name.", name=quoted(name))
        problems.add(stem, sentence, row)
    unknown = [n for n in names if n and n not in known]
    missing = [n for n in required if n not in names]
    if missing and len(missing) == len(required):
        sentence = say(
            "the first row does not name the columns; it must name at least {columns}.", columns=", ".join(required)
        )
        problems.add(stem, sentence, row)
        return False
    for name in missing:
        problems.add(stem, _missing(name, find_near(name, unknown)), row)
    if missing or repeated:
        return False
    if unknown:
        listed = list_unknown(unknown, [k for k in known if k not in names])
        problems.warn(stem, say("not read, because no such column is known: {names}", names=listed))
    if "" in names:
        problems.warn(stem, say("a column without a name in the header was not read."))
    return True


def _missing(column: str, near: str) -> Words:
    if near:
        return say("the column {column} is missing; is it the column that is named {near}?", column=column, near=near)
    return say("the column {column} is missing.", column=column)


def _decode(stem: str, content: bytes, problems: Problems) -> str | None:
    if not content.strip():
        problems.add(stem, _empty(stem))
        return None
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        problems.add(stem, say("the file is written in UTF-16; save it as CSV in UTF-8."))
        return None
    if b"\0" in content:
        row = content[: content.index(b"\0")].count(b"\n") + 1
        problems.add(stem, say("the file holds a NUL byte, so it is no text in UTF-8; save it as CSV in UTF-8."), row)
        return None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = content[: error.start].count(b"\n") + 1
        byte = content[error.start]
        sentence = say("the file is not written in UTF-8 (byte {byte:#04x}); save it as CSV in UTF-8.", byte=byte)
        problems.add(stem, sentence, row)
        return None
    if content.startswith(b"\xef\xbb\xbf"):
        problems.warn(stem, say("a byte order mark stands before the header; skipped."))
    return text


def _find_delimiter(stem: str, text: str) -> str:
    header = next((line for line in text.splitlines() if line.strip()), "")
    known = set(columns_of(stem))

    def hits(delimiter: str) -> int:
        return sum(cell.strip().strip('"').strip() in known for cell in header.split(delimiter))

    return max(_DELIMITERS, key=hits)
