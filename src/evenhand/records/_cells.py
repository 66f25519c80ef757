"""Understands the cells of one table: text becomes numbers, dates and labels, or sentences that say why not.

Spreadsheets write numbers in more than one way. A decimal comma is accepted where it can be nothing else; what
could be read as two numbers (1,234) is refused, because a wrong guess would be a quiet error by a factor of 1000.
"""

import datetime as dt
import functools
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, cast, get_args, get_origin, get_type_hints

from evenhand.records._problems import Problems, quoted
from evenhand.records._table import RawTable
from evenhand.records.rows import FILES, Allowed, Moment, Row
from evenhand.words import Words, say

MAX_LABEL_LENGTH = 200
LARGEST_NUMBER = 1e9
SMALLEST_NUMBER = 1e-6

_POINT = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_COULD_BE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", re.ASCII)
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}.*)?", re.ASCII)
_UNPRINTABLE = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")

_BAD = object()
"""Stands for a cell that could not be understood; its problem is already noted."""

Kind = Literal["label", "names", "number", "whole", "day", "moment", "choice"]


@dataclass(frozen=True, slots=True)
class Column:
    """What is known of one column: how its cells are read, whether one may be empty, what is allowed in words."""

    name: str
    kind: Kind
    optional: bool
    allowed: str


@dataclass(frozen=True, slots=True)
class ReadTable:
    """The rows of one file, understood.

    Attributes
    ----------
    rows
        One for each row number; None where the row had a problem.
    columns
        The understood cells, also of rows that had a problem elsewhere; the cell itself is then `None`.
    is_whole
        False when a row was ragged, so that labels may be missing from `columns`.
    """

    stem: str
    row_numbers: tuple[int, ...]
    rows: tuple[Row | None, ...]
    columns: dict[str, list[Any]]
    is_whole: bool


def rows_of(tables: Mapping[str, ReadTable], stem: str) -> list[tuple[int, Any]]:
    """Return the sound rows of a file with their numbers; none where the file could not be read."""
    if stem not in tables:
        return []
    table = tables[stem]
    return [(n, row) for n, row in zip(table.row_numbers, table.rows, strict=True) if row is not None]


@functools.cache
def columns_known(stem: str) -> dict[str, Column]:
    """Return the columns of a file, read off the annotations of its row type."""
    out = {}
    for name, hint in get_type_hints(FILES[stem].row, include_extras=True).items():
        base, *limits = get_args(hint)
        allowed = next(limit.text for limit in limits if isinstance(limit, Allowed))
        optional = type(None) in get_args(base) or get_origin(base) is tuple
        types = {t for t in (get_args(base) or (base,)) if t is not type(None)}
        out[name] = Column(name, _kind_of(base, types), optional, allowed)
    return out


def _kind_of(base: Any, types: set[Any]) -> Kind:
    if get_origin(base) is tuple:
        return "names"
    if any(get_origin(t) is Literal for t in (base, *types)):
        return "choice"
    if types == set(get_args(Moment)):
        return "moment"
    kinds: dict[Any, Kind] = {str: "label", float: "number", int: "whole", dt.date: "day"}
    return kinds[types.pop()]


def read_rows(raw: RawTable, problems: Problems) -> ReadTable:
    """Turn a table's cells into validated rows; every problem is noted with its row and column."""
    known = columns_known(raw.stem)
    style = _number_style(raw, problems)
    columns: dict[str, list[Any]] = {}
    for name, cells in raw.columns.items():
        columns[name] = _read_column(raw, known[name], cells, style, problems)
    rows = _validate(raw, columns, problems)
    shown = {name: [None if v is _BAD else v for v in values] for name, values in columns.items()}
    ragged = any(cell is None for cells in raw.columns.values() for cell in cells)
    return ReadTable(raw.stem, raw.row_numbers, tuple(rows), shown, not ragged)


def _read_column(
    raw: RawTable, column: Column, cells: list[object], style: "_NumberStyle", problems: Problems
) -> list[Any]:
    """Understand a column's cells; equal texts are read once, for labels repeat thousands of times."""
    reader: Callable[[object], Any] = {
        "label": _read_label,
        "names": _read_names,
        "choice": _read_label,
        "number": style.read,
        "whole": lambda cell: _read_whole(cell, style),
        "day": _read_day,
        "moment": _read_moment,
    }[column.kind]
    seen: dict[object, Any] = {}
    out: list[Any] = []
    for number, cell in zip(raw.row_numbers, cells, strict=True):
        if cell is None:
            out.append(_BAD)
            continue
        if cell == "":
            if not column.optional:
                sentence = say("the cell is empty; {allowed}.", allowed=column.allowed)
                problems.add(raw.stem, sentence, number, column.name)
            out.append(() if column.kind == "names" else None if column.optional else _BAD)
            continue
        token = (type(cell), cell)
        if token not in seen:
            try:
                seen[token] = reader(cell)
            except _CellError as error:
                seen[token] = error
        value = seen[token]
        if isinstance(value, _CellError):
            problems.add(raw.stem, value.tell(quoted(cell), column.allowed), number, column.name)
            value = _BAD
        out.append(value)
    return out


class _CellError(Exception):
    """Why a cell cannot be read.

    Parameters
    ----------
    tell
        Makes the sentence from the cell's content, in quotes, and from what its column allows.
    """

    def __init__(self, tell: Callable[[str, str], Words]) -> None:
        self.tell = tell
        super().__init__()


def _not_allowed(value: str, allowed: str) -> Words:
    return say("{value} is not allowed; {allowed}.", value=value, allowed=allowed)


def _no_number(value: str, allowed: str) -> Words:
    return say("{value} is not a number; {allowed}.", value=value, allowed=allowed)


def _read_label(cell: object) -> str:
    if isinstance(cell, bool):
        raise _CellError(
            lambda value, allowed: say(
                "the cell holds the truth value {value}; {allowed}, as text.", value=value, allowed=allowed
            )
        )
    if isinstance(cell, int | float):
        return str(int(cell)) if float(cell).is_integer() else repr(cell)
    if not isinstance(cell, str):
        raise _CellError(
            lambda value, allowed: say(
                "the cell holds a date or time, {value}; {allowed}, as text: format the cell as text.",
                value=value,
                allowed=allowed,
            )
        )
    if _UNPRINTABLE.search(cell):
        raise _CellError(
            lambda value, _: say(
                "{value} holds a line break or a control character; labels stand on one line.", value=value
            )
        )
    if len(cell) > MAX_LABEL_LENGTH:
        raise _CellError(
            lambda value, _: say(
                "{value} is longer than {most} characters; shorten it.", value=value, most=MAX_LABEL_LENGTH
            )
        )
    return cell if cell.isascii() else unicodedata.normalize("NFC", cell.replace("\xa0", " "))


def _read_names(cell: object) -> tuple[str, ...]:
    """Read names with a semicolon between; the length limit holds for each, and a name given twice counts once."""
    if not isinstance(cell, str):
        return (_read_label(cell),)
    names = [name.strip() for name in cell.split(";")]
    return tuple(dict.fromkeys(_read_label(name) for name in names if name))


def _read_whole(cell: object, style: "_NumberStyle") -> int:
    number = style.read(cell)
    if not number.is_integer():
        raise _CellError(_not_allowed)
    return int(number)


def _read_day(cell: object) -> dt.date:
    if isinstance(cell, dt.datetime) and cell.time() == dt.time(0):
        return cell.date()
    if isinstance(cell, dt.date) and not isinstance(cell, dt.datetime):
        return cell
    if isinstance(cell, str) and _DAY.fullmatch(cell):
        try:
            return dt.date.fromisoformat(cell)
        except ValueError:
            raise _CellError(
                lambda value, allowed: say(
                    "{value} is no day of the calendar; {allowed}.", value=value, allowed=allowed
                )
            ) from None
    raise _CellError(_not_allowed)


def _read_moment(cell: object) -> Moment:
    if isinstance(cell, dt.datetime):  # a workbook stores times as fractions of a day, so seconds come out rounded
        half_second = dt.timedelta(microseconds=500_000)
        return cell if cell.year == dt.MAXYEAR else (cell + half_second).replace(microsecond=0)
    if isinstance(cell, dt.date):
        return cell
    if isinstance(cell, str) and _MOMENT.fullmatch(cell):
        try:
            return dt.date.fromisoformat(cell) if _DAY.fullmatch(cell) else dt.datetime.fromisoformat(cell)
        except ValueError:
            raise _CellError(
                lambda value, allowed: say(
                    "{value} is no day and time of the calendar; {allowed}.", value=value, allowed=allowed
                )
            ) from None
    raise _CellError(_not_allowed)


@dataclass(frozen=True, slots=True)
class _NumberStyle:
    """How a file writes its numbers, seen over all its cells.

    `commas` and `points` say that some number can only be read with a decimal comma, or a decimal point.
    """

    commas: bool
    points: bool
    comma_is_free: bool

    def read(self, cell: object) -> float:
        """Read one number.

        Raises
        ------
        _CellError
            When the cell holds no number, one that could be two, or one out of all reason.
        """
        if isinstance(cell, bool) or not isinstance(cell, str | int | float):
            raise _CellError(_no_number)
        if not isinstance(cell, str):
            return _bounded(float(cell))
        if _POINT.fullmatch(cell):
            if self.commas and _COULD_BE_THOUSANDS.fullmatch(cell):
                raise _two_readings(cell)
            return _bounded(float(cell))
        if _COMMA.fullmatch(cell):
            settled = self.comma_is_free and self.commas and not self.points
            if _COULD_BE_THOUSANDS.fullmatch(cell) and not settled:
                raise _two_readings(cell)
            return _bounded(float(cell.replace(",", ".")))
        if (cell[0].isdigit() and cell[-1:].isalpha()) or cell.endswith("%"):
            raise _CellError(
                lambda value, _: say(
                    "{value} is not a number; write the number alone, the unit is in the column's name.", value=value
                )
            )
        raise _CellError(_no_number)


def _two_readings(cell: str) -> _CellError:
    decimal, whole = cell.replace(",", "."), cell.replace(",", "").replace(".", "")
    return _CellError(
        lambda value, _: say(
            "{value} could be {decimal} or {whole}; write it with a decimal point, or without a thousands sign.",
            value=value,
            decimal=decimal,
            whole=whole,
        )
    )


def _bounded(number: float) -> float:
    if number != number:
        raise _CellError(_no_number)
    if abs(number) > LARGEST_NUMBER:
        raise _CellError(
            lambda value, allowed: say("{value} is too large to be meant; {allowed}.", value=value, allowed=allowed)
        )
    if 0 < abs(number) < SMALLEST_NUMBER:
        raise _CellError(
            lambda value, allowed: say(
                "{value} is too close to 0 to be meant; {allowed}.", value=value, allowed=allowed
            )
        )
    return number


def _number_style(raw: RawTable, problems: Problems) -> _NumberStyle:
    known = columns_known(raw.stem)
    texts = {
        cell
        for name, cells in raw.columns.items()
        if known[name].kind in ("number", "whole")
        for cell in cells
        if isinstance(cell, str)
    }
    clear = [t for t in texts if not _COULD_BE_THOUSANDS.fullmatch(t)]
    commas = any(_COMMA.fullmatch(t) for t in clear)
    points = any("." in t and _POINT.fullmatch(t) is not None for t in clear)
    if commas:
        problems.warn(raw.stem, say("numbers with a decimal comma were read as such (1,5 as 1.5)."))
    return _NumberStyle(commas, points, raw.comma_is_free)


def _validate(raw: RawTable, columns: dict[str, list[Any]], problems: Problems) -> list[Row | None]:
    """Let pydantic check every row against its type; a failed row leaves None in its place."""
    from pydantic import ValidationError

    if not columns or not raw.row_numbers:
        return []
    names = list(columns)
    candidates = [dict(zip(names, cells, strict=True)) for cells in zip(*columns.values(), strict=True)]
    adapter = _adapter(raw.stem)
    try:
        return cast("list[Row | None]", adapter.validate_python(candidates))
    except ValidationError as errors:
        known = columns_known(raw.stem)
        failed: set[int] = set()
        for error in errors.errors(include_url=False, include_context=False, include_input=False):
            index, name = int(error["loc"][0]), str(error["loc"][1])
            failed.add(index)
            if candidates[index][name] is not _BAD:
                value = quoted(raw.columns[name][index])
                sentence = _not_allowed(value, known[name].allowed)
                problems.add(raw.stem, sentence, raw.row_numbers[index], name)
        good = [c for i, c in enumerate(candidates) if i not in failed]
        rows = iter(adapter.validate_python(good))
        return [None if i in failed else next(rows) for i in range(len(candidates))]


@functools.cache
def _adapter(stem: str) -> Any:
    from pydantic import TypeAdapter

    list_of: Any = list
    return TypeAdapter(list_of[FILES[stem].row])
