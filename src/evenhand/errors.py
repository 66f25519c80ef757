"""Errors are one tree; each says what is wrong, where, and how to mend it.

Every message is one plain sentence that can stand on a terminal, a page or in an import report as it is.
"""

from collections.abc import Sequence


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
        super().__init__("\n".join(self.problems))


class OutputError(EvenhandError):
    """A file cannot be written where it was asked for; nothing is left half written."""
