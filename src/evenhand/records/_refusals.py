"""What the records refuse to do, as one kind of error."""

from evenhand.errors import EvenhandError
from evenhand.words import say


class RecordError(EvenhandError):
    """A record cannot be written, changed or read as asked; the sentence says why and how to mend it."""


class FieldError(RecordError):
    """One field of a record cannot hold what was given for it.

    Parameters
    ----------
    field
        The name of its column.
    reason
        The sentence alone, for whoever shows it beside the field.
    noun
        What people call this sort of record, where it is known.
    """

    def __init__(self, field: str, reason: str, *, noun: str = "") -> None:
        self.field = field
        self.reason = reason
        where = say("{noun}, {field}", noun=noun, field=field) if noun else field
        super().__init__(say("{where}: {reason}", where=where, reason=reason))
