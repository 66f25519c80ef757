"""The history: one entry for every change of every record, each bound to the one before it by its digest."""

from typing import Any, ClassVar, NoReturn, Self

from django.db import models

from evenhand.records._refusals import RecordError
from evenhand.records.models._kept import KeptManager
from evenhand.words import say

MADE, CHANGED, REMOVED = "made", "changed", "removed"

_DONE = {MADE: say("made"), CHANGED: say("changed"), REMOVED: say("removed")}


class Entry(models.Model):
    """Who did what to which record, when, from what and to what.

    Attributes
    ----------
    seq
        1, 2, 3 and so on without a gap.
    at
        The time as told by the writer, in UTC.
    kind, record, title
        Which record: its sort, its number in the database, and what people call it.
    changes
        Canonical JSON: for each field that changed, the value before and the value after.
    before, state
        Digests of the whole record before and after; empty where there was none, or is none any more.
    previous, digest
        The digest of the entry before, and of this one with that in it.
    key_name, seal
        Which key sealed the digest, and the seal.
    """

    seq = models.BigIntegerField(primary_key=True)
    at = models.DateTimeField()
    who = models.CharField(max_length=200)
    action = models.CharField(max_length=8, choices=[(MADE, MADE), (CHANGED, CHANGED), (REMOVED, REMOVED)])
    kind = models.CharField(max_length=40)
    record = models.BigIntegerField()
    title = models.TextField()
    changes = models.TextField()
    before = models.CharField(max_length=64, blank=True)
    state = models.CharField(max_length=64, blank=True)
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64)
    key_name = models.CharField(max_length=16)
    seal = models.CharField(max_length=64)

    objects: ClassVar[KeptManager[Self]] = KeptManager()

    class Meta:
        ordering = ("seq",)
        indexes = (models.Index(fields=("kind", "record", "seq"), name="entry_of_record"),)
        constraints = (models.UniqueConstraint(fields=("previous",), name="entry_one_chain"),)

    def __str__(self) -> str:
        return say(
            "{number}: {kind} {title} {done} by {who}",
            number=self.seq,
            kind=self.kind,
            title=self.title,
            done=_DONE.get(self.action, self.action),
            who=self.who,
        )

    def save(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the history is written by a pen alone."""
        raise RecordError(say("The history is written by a pen alone (evenhand.records.audit.Pen)."))

    def delete(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse: the history is never shortened."""
        raise RecordError(say("The history is never shortened."))
