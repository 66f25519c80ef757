"""What the records refuse to do, as one kind of error."""

from evenhand.errors import EvenhandError


class RecordError(EvenhandError):
    """A record cannot be written, changed or read as asked; the sentence says why and how to mend it."""
