"""In which language a page is written: English, another one, or none yet, with holes to be filled when it is shown.

What is read beside the server, such as the season, is written once and shown to readers of any language. It is written
with a hole for each sentence, which holds the sentence as data; `fill_holes` tells it to the one who reads.
"""

import json
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import partial
from html import escape, unescape
from typing import Final

from evenhand.output.words import clean_text
from evenhand.words import ENGLISH, Tongue, Words, pack, tell, unpack, unpack_and_tell

# Control signs, which `clean_text` takes out of every text of a shop: nobody can write a hole into a name.
_OPEN, _SHUT = "\x02", "\x03"
_HOLE: Final = re.compile(f"{_OPEN}([^{_OPEN}{_SHUT}]*){_SHUT}")

_BROKEN: Final = (KeyError, TypeError, ValueError, AttributeError, OverflowError, RecursionError)
"""What reading a hole can stumble over, where a row of the database is damaged."""


def _told(text: str, tongue: Tongue = ENGLISH) -> str:
    return clean_text(tell(text, tongue))


_way: ContextVar[Callable[[str], str]] = ContextVar("evenhand_way", default=_told)


@contextmanager
def speaking(tongue: Tongue) -> Iterator[None]:
    """Write what is built in this context in a language."""
    token = _way.set(partial(_told, tongue=tongue))
    try:
        yield
    finally:
        _way.reset(token)


@contextmanager
def leaving_holes() -> Iterator[None]:
    """Write what is built in this context with a hole for each sentence; see `fill_holes`."""
    token = _way.set(hold)
    try:
        yield
    finally:
        _way.reset(token)


def write(text: str) -> str:
    """Write a text of a shop, or words, as is asked for in this context, with control signs made visible."""
    return _way.get()(text)


def hold(text: str) -> str:
    """Return words as a hole, and plain text with control signs made visible."""
    if not isinstance(text, Words):
        return clean_text(text)
    return f"{_OPEN}{json.dumps(pack(text))}{_SHUT}"


def fill_holes(html: str, tongue: Tongue) -> str:
    """Tell the sentences of a piece of HTML that was built while leaving holes.

    Parameters
    ----------
    html
        From `leaving_holes`; without holes it comes back as it is.
    tongue
        The reader's language.
    """
    return _HOLE.sub(lambda hole: escape(_open(unescape(hole.group(1)), tongue), quote=True), html)


def read_held(text: str) -> str:
    """Return words again where a text as a whole is one hole, and the text as it is otherwise."""
    hole = _HOLE.fullmatch(text)
    if hole is None:
        return text
    try:
        return unpack(json.loads(hole.group(1)))
    except _BROKEN:
        return clean_text(text)


def _open(packed: str, tongue: Tongue) -> str:
    try:
        return clean_text(unpack_and_tell(json.loads(packed), tongue))
    except _BROKEN:
        return clean_text(packed)
