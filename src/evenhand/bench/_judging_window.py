"""Chooses which batches are judged, and reads them as they stood at one moment without holding anybody up."""

import contextlib
from collections.abc import Iterable, Iterator

from django.db import connection, transaction
from django.db.models import Exists, OuterRef

from evenhand.records.audit import head
from evenhand.records.collecting import collect_recent
from evenhand.records.folder import Folder
from evenhand.records.models import Batch, Entry, Sheet, Verdict
from evenhand.records.models._history import MADE

WINDOW = 100
"""So many batches, the latest roasts, are judged together: they tell each other what is usual."""

MOST_BESIDES = 60
"""So many older batches are judged with them at most: unsigned ones that were tasted, the latest roasts first."""

SEASON_WINDOW = 240
"""So many batches, the latest roasts, make the season."""


@contextlib.contextmanager
def one_moment() -> Iterator[None]:
    """Read the records as they stand at one moment, while others go on writing.

    Django's own transactions on SQLite take the writer's place from the start, and every sheet would wait for it.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
            try:
                yield
            finally:
                cursor.execute("COMMIT")
    else:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield


def collect_to_judge(known: int) -> tuple[int, Folder]:
    """Collect the batches to judge: the latest roasts, older unsigned ones, and whatever was tasted since.

    Parameters
    ----------
    known
        Number of the last entry that the judging before this one knew.

    Returns
    -------
    tuple
        Number of the last entry of the history that the folder holds, and the folder.

    Raises
    ------
    RecordError
        When no costs are written yet.
    """
    with one_moment():
        seen = head()[0]
        return seen, collect_recent(WINDOW, {*_unsigned(), *_tasted_since(known)})


def collect_season() -> tuple[int, Folder]:
    """Collect the batches of the season; as `collect_to_judge`, but signed or not."""
    with one_moment():
        seen = head()[0]
        return seen, collect_recent(SEASON_WINDOW)


def _unsigned() -> Iterable[int]:
    """Return the numbers of batches that were tasted and have no standing verdict, the latest roasts first."""
    signed = Verdict.objects.filter(batch=OuterRef("pk"), withdrawal__isnull=True)
    tasted = Sheet.objects.filter(cup__pull__batch=OuterRef("pk"))
    latest = Batch.objects.order_by("-roasted_on", "-pk").values("pk")[:WINDOW]
    waiting = Batch.objects.exclude(pk__in=list(latest.values_list("pk", flat=True))).filter(
        ~Exists(signed), Exists(tasted)
    )
    return waiting.order_by("-roasted_on", "-pk").values_list("pk", flat=True)[:MOST_BESIDES]


def _tasted_since(known: int) -> Iterable[int]:
    """Return the numbers of batches with sheets that arrived after an entry of the history."""
    new = Entry.objects.filter(seq__gt=known, kind=Sheet.kind(), action=MADE).order_by("-seq")
    sheets = list(new.values_list("record", flat=True)[: 20 * MOST_BESIDES])
    found = Batch.objects.filter(pulls__cups__sheets__in=sheets).distinct().order_by("-roasted_on", "-pk")
    return found.values_list("pk", flat=True)[:MOST_BESIDES]
