"""Errors are one tree; each says what is wrong, where, and how to mend it.

Every message is one plain sentence that can stand on a terminal, a page or in an import report as it is. It is the
error's first argument, as words: `evenhand.words.tell` says it in the language of a page.
"""

from collections.abc import Sequence
from typing import Final

from evenhand.words import join

_LINE_END: Final = "\n"  # no language: a name keeps it out of the catalogues


class EvenhandError(Exception):
    """The root of every error that Evenhand raises on purpose."""


class QuantityError(EvenhandError, ValueError):
    """A number cannot be what it is said to be: a mass of 0 g, a share above 1, a time that is not finite."""


class DesignError(EvenhandError, ValueError):
    """Arrays that describe tastings do not fit together, or ask for what the data cannot tell."""


class FolderError(EvenhandError):
    """What was read from a folder or workbook is wrong; holds every problem found, not only the first.

    Parameters
    ----------
    problems
        One sentence a problem: file, row, column, value and what is allowed.
    """

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems: tuple[str, ...] = tuple(problems)
        super().__init__(join(self.problems, _LINE_END))


class OutputError(EvenhandError):
    """A file cannot be written where it was asked for; nothing is left half written."""
