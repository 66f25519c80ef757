"""Signing on the bench: what is signed is what stood on the page, and nothing else."""

from evenhand.bench.verdict.page import AtHand
from evenhand.output.judgement_file import to_block
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen
from evenhand.records.canonical import digest
from evenhand.records.models import Batch, Person, Verdict
from evenhand.records.signing import sign
from evenhand.verdict.judgement import BatchVerdict
from evenhand.words import say


def mark_of(verdict: BatchVerdict) -> str:
    """Return what tells one judgement from another: the digest of the block that is signed."""
    return digest(to_block(verdict))


def sign_what_was_seen(
    pen: Pen, signer: Person, batch: Batch, found: AtHand, *, decision: str, note: str, mark: str
) -> Verdict:
    """Sign the judgement that stood on the page.

    Parameters
    ----------
    pen, signer
        Who signs.
    batch, found
        The batch, and its judgement at hand.
    decision, note
        What is decided, and why.
    mark
        `mark_of` the judgement that stood on the page.

    Raises
    ------
    RecordError
        When there is no judgement, it is another one by now, or the records refuse (see `records.signing.sign`).
    """
    if found.judged is None or found.verdict is None:
        raise RecordError(
            say("Batch {batch} is not judged yet; wait a moment and sign what you then see.", batch=batch.label)
        )
    if mark_of(found.verdict) != mark:
        raise RecordError(
            say(
                "The judgement of batch {batch} has changed since this page was opened; it now stands above. Read it "
                "and sign what you see.",
                batch=batch.label,
            )
        )
    return sign(
        pen,
        batch,
        decision=decision,
        judgement=to_block(found.verdict),
        seen=found.judged.seen,
        signer=signer,
        note=note,
    )
