"""Prints the verdict of one batch: the judgement at hand, put together again for the paper."""

from typing import cast

from django.utils import timezone

from evenhand.bench._judging_text import read_notes, rebuild
from evenhand.bench.models import JudgingRun
from evenhand.bench.verdict.page import at_hand
from evenhand.output.paper import Signed, paper
from evenhand.records._refusals import RecordError
from evenhand.records.models import Batch, Cup, Shop
from evenhand.records.signing import standing_verdict
from evenhand.verdict.judgement import Decision
from evenhand.words import say


def print_verdict(batch: Batch, *, size: str) -> bytes:
    """Return the PDF of a batch's judgement.

    Parameters
    ----------
    batch
        The batch.
    size
        "a4" or "us-letter".

    Raises
    ------
    RecordError
        When the batch is not judged yet.
    OutputError
        When the size is unknown, or the paper cannot be made.
    """
    found = at_hand(batch)
    if found.judged is None or found.verdict is None:
        raise RecordError(say("Batch {batch} is not judged yet; wait a moment and print it then.", batch=batch.label))
    run = JudgingRun.objects.order_by("pk").first()
    shop = Shop.objects.order_by("pk").first()
    tables = Cup.objects.filter(pull__batch=batch, table__isnull=False).values_list("table__name", flat=True)
    judgement = rebuild(
        found.verdict,
        read_notes(run.text if run is not None else ""),
        title=f"{shop.name}: {batch.label}" if shop is not None else batch.label,
        judged_on=timezone.localtime(found.judged.judged_at).date().isoformat(),
        invented=shop is not None and shop.is_invented,
        tables=frozenset(tables),
    )
    standing = standing_verdict(batch)
    if standing is None:
        return paper(judgement, size)
    signed = Signed(
        decision=cast("Decision", standing.decision),
        name=standing.signed_by.name,
        day=timezone.localtime(standing.signed_at).date().isoformat(),
        note=standing.note,
    )
    return paper(judgement, size, signed={batch.label: signed})
