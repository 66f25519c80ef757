"""Which languages the bench speaks: English as several countries write it, and every catalogue that lies at hand."""

import logging
from collections.abc import Iterable
from gettext import GNUTranslations
from pathlib import Path

from django.conf.locale import LANG_INFO

ENGLISH = [
    ("en", "English"),
    ("en-gb", "English (United Kingdom)"),
    ("en-us", "English (United States)"),
    ("en-au", "English (Australia)"),
    ("en-ca", "English (Canada)"),
    ("en-ie", "English (Ireland)"),
]
"""Codes and names of the languages in which everything is written."""


def find_languages(places: Iterable[Path]) -> list[tuple[str, str]]:
    """List the languages, English first.

    Parameters
    ----------
    places
        Directories with a catalogue in ``LANGUAGE/LC_MESSAGES/django.mo``; one that is not there holds none. One
        that cannot be read is left out, with a line in the log: its language would fail on every page.

    Returns
    -------
    list of tuple
        Code, such as "pt-br" for ``pt_BR``, and the language's name for itself, or the code where Django has no name.
    """
    found = {
        file.parent.parent.name.replace("_", "-").lower()
        for place in places
        for file in sorted(place.glob("*/LC_MESSAGES/django.mo"))
        if _is_readable(file)
    }
    others = sorted(found - {code for code, _ in ENGLISH})
    return [*ENGLISH, *((code, str(LANG_INFO.get(code, {}).get("name_local", code))) for code in others)]


def _is_readable(file: Path) -> bool:
    try:
        with file.open("rb") as read:
            GNUTranslations(read)
    except Exception as error:  # a damaged file makes the reader stumble in many ways
        logging.getLogger(__name__).warning(
            "The catalogue %s is left out (%s); compile it anew with make messages.", file, error
        )
        return False
    return True
