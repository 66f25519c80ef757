"""Tells the sentences of the engine and of the records in the language of the person who reads the page."""

from django.utils.formats import get_format
from django.utils.translation import gettext, ngettext

from evenhand.errors import EvenhandError
from evenhand.output.telling import fill_holes, read_held
from evenhand.words import Tongue, tell


def tongue() -> Tongue:
    """Return the language of the answer that is being written."""
    decimal, group = (str(get_format(name)) for name in ("DECIMAL_SEPARATOR", "THOUSAND_SEPARATOR"))
    return Tongue(one=gettext, many=ngettext, decimal=decimal, group=group)


def told(said: object) -> str:
    """Tell words, kept words or an error in the language of the page; any other text comes back as it is.

    Parameters
    ----------
    said
        A text of the engine or of the records, fresh or as it was kept, or the error that holds one.
    """
    text = said.args[0] if isinstance(said, EvenhandError) and said.args else said
    return tell(read_held(text), tongue()) if isinstance(text, str) else str(text)


def told_html(html: str) -> str:
    """Tell the sentences of a piece of HTML that was kept with holes in it."""
    return fill_holes(html, tongue())
