"""Prints the labels of a table: for each cup its blind code, large, and a QR code that leads a phone to the table.

A label names the number of the pull and the code, never the coffee. The same table gives the same bytes.
"""

import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Final

from evenhand.errors import OutputError
from evenhand.output.paper import PAPER_SIZES, _is_about_fonts, _replace_missing, _typeset
from evenhand.words import join, say

LEAST_MODULE_MM: Final = 0.5
"""Width of one module of the printed QR code at least, for a phone at arm's length (common practice, no source)."""

QUIET_MODULES: Final = 4
"""Modules left white around a QR code.

References
----------
ISO/IEC 18004:2015, 5.3.8: the quiet zone is at least four modules wide.
"""

_HEIGHT_MM: Final = {"a4": 43.0, "us-letter": 40.0}  # six rows on a sheet
_QR_MM: Final = 27.0  # room for the QR code; it fills it unless its modules would be needlessly large
_WIDEST_QR_MM: Final = 31.0
_LARGEST_MODULE_MM: Final = 0.8


@dataclass(frozen=True, slots=True)
class CupLabel:
    """What is printed for one cup.

    Attributes
    ----------
    number
        Number of the pull in the order of pulling; small.
    code
        The blind code; large.
    service
        black, bowl or milk.
    """

    number: int
    code: str
    service: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelWords:
    """The words on the labels, so that a caller can give them in another language.

    Attributes
    ----------
    title, slot, scan
        Templates with ``{table}``, ``{number}``, and ``{address}``.
    """

    language: str = "en"
    title: str = "Labels of table {table}"
    slot: str = "Pull {number}"
    scan: str = "QR code that leads to the table: {address}"
    how: str = "Cut along the lines; stick each on its cup"
    black: str = "Black"
    bowl: str = "Bowl"
    milk: str = "In milk"
    hot: str = "Hot: let it cool before you taste."
    allergen: str = "Contains milk, an allergen."
    invented: str = "Invented data"
    caution: str = "Coffee holds caffeine. Coffee, water and steam scald."


def labels(
    table: str,
    cups: Sequence[CupLabel],
    *,
    address: str,
    join_code: str,
    size: str = "a4",
    is_invented: bool = False,
    words: LabelWords | None = None,
) -> bytes:
    """Build the PDF of a table's labels.

    Parameters
    ----------
    table
        The table's name.
    cups
        One label each, in the order given.
    address
        What the QR code says; upper-case letters, digits and ``:/.-`` make the smallest one.
    join_code
        The short code that stands in clear below it.
    size
        "a4" or "us-letter".
    is_invented
        Whether each sheet says that the data are invented.
    words
        The words; English ones if left out.

    Returns
    -------
    bytes
        A PDF that is tagged for screen readers (PDF/UA-1).

    Raises
    ------
    OutputError
        If there is no cup, the size is unknown, the address makes too large a QR code, or the typesetter refuses.
    """
    if size not in PAPER_SIZES:
        raise OutputError(
            say("The paper size {size} is not known; choose {sizes}.", size=repr(size), sizes=join(PAPER_SIZES, " or "))
        )
    if not cups:
        raise OutputError(say("Table {table} has no cup; plan it before printing its labels.", table=table))
    data = _tell(table, cups, address, join_code, size, is_invented, words or LabelWords())
    problem = ""
    for system_fonts, replaced in ((False, False), (True, False), (False, True)):
        if replaced:
            data = _replace_missing(data)
        try:
            return _typeset(_template(), json.dumps(data), None, system_fonts=system_fonts)
        except OutputError as refusal:
            problem = refusal.args[0]
            if not _is_about_fonts(problem):
                break
    raise OutputError(say("The labels could not be made: {problem}.", problem=problem))


def draw_qr(address: str) -> tuple[str, int]:
    """Draw a QR code of error level M with its quiet zone.

    Parameters
    ----------
    address
        What it says.

    Returns
    -------
    svg : str
        The drawing, black on white, without a size of its own.
    modules : int
        Width in modules, quiet zone included.

    Raises
    ------
    OutputError
        If the address is too long for any QR code.
    """
    import segno  # costs 0.03 s, and only labels and the table's page need it

    try:
        code = segno.make(address, error="m", micro=False, boost_error=False)
    except segno.DataOverflowError as error:
        raise OutputError(say("The address is too long for a QR code; give the server a shorter name.")) from error
    drawn = io.BytesIO()
    code.save(
        drawn, kind="svg", border=QUIET_MODULES, xmldecl=False, omitsize=True, dark="#000", light="#fff", nl=False
    )
    return drawn.getvalue().decode(), int(code.symbol_size(border=QUIET_MODULES)[0])


@cache
def _template() -> bytes:
    return files("evenhand.output").joinpath("labels.typ").read_bytes()


def _tell(
    table: str,
    cups: Sequence[CupLabel],
    address: str,
    join_code: str,
    size: str,
    is_invented: bool,
    words: LabelWords,
) -> dict[str, Any]:
    svg, modules = draw_qr(address)
    side_mm = modules * max(LEAST_MODULE_MM, min(_LARGEST_MODULE_MM, _QR_MM / modules))
    if side_mm > _WIDEST_QR_MM:
        raise OutputError(
            say(
                "The address {address} makes a QR code too large for a label; give the server a shorter name.",
                address=address,
            )
        )
    served = {"black": words.black, "bowl": words.bowl, "milk": words.milk}
    return {
        "paper": size,
        "lang": words.language.split("-")[0],
        "title": words.title.format(table=table),
        "how": words.how,
        "caution": words.caution,
        "invented": words.invented if is_invented else "",
        "height_mm": _HEIGHT_MM[size],
        "join": join_code,
        "qr": {"svg": svg, "side_mm": side_mm, "alt": words.scan.format(address=address)},
        "labels": [
            {
                "slot": f"{table} · {words.slot.format(number=cup.number)}",
                "code": cup.code,
                "service": served[cup.service],
                "cautions": [words.hot, words.allergen] if cup.service == "milk" else [words.hot],
            }
            for cup in cups
        ],
    }
