"""Signs verdicts and withdraws them; neither is ever changed or deleted.

That nobody did so behind the pen's back is what `evenhand.records.chain.verify_chain` looks for.
"""

from collections.abc import Mapping
from typing import Any

from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.canonical import canonical
from evenhand.records.coffees import current_costs
from evenhand.records.models import Batch, Entry, Person, Verdict, Withdrawal
from evenhand.records.models._history import MADE
from evenhand.words import say, say_many


def standing_verdict(batch: Batch) -> Verdict | None:
    """Return the signed verdict of a batch that was not withdrawn, or None."""
    return Verdict.objects.filter(batch=batch, withdrawal__isnull=True).order_by("-pk").first()


def sheets_since(batch: Batch, seq: int) -> int:
    """Return how many sheets on a batch arrived after an entry of the history."""
    numbers = set(Entry.objects.filter(kind="sheet", action=MADE, seq__gt=seq).values_list("record", flat=True))
    return batch.pulls.filter(cups__sheets__pk__in=numbers).values("cups__sheets").distinct().count() if numbers else 0


def sign(
    pen: Pen,
    batch: Batch,
    *,
    decision: str,
    judgement: Mapping[str, Any],
    seen: int,
    signer: Person,
    note: str = "",
) -> Verdict:
    """Sign a verdict for a batch.

    Parameters
    ----------
    pen
        Who writes, and when; the signer must be that person.
    batch
        The batch.
    decision
        ``release``, ``taste_again`` or ``hold``.
    judgement
        The batch's block of the judgement file; its ``decision`` is what was advised.
    seen
        The number of the last entry of the history when the judgement was made (`evenhand.records.audit.head`).
    signer
        Who signs.
    note
        Free words; needed where the decision is not the advised one.

    Raises
    ------
    RecordError
        When a verdict stands already, sheets arrived since the judgement, the judgement is of another batch, no costs
        are written, the signer does not hold the pen, or a decision against the advice has no note.
    """
    if pen.who != signer.name:
        sentence = say("Only {signer} can sign as {signer}; {writer} holds the pen.", signer=signer, writer=pen.who)
        raise RecordError(sentence)
    if judgement.get("batch") != batch.label:
        raise RecordError(
            say("This judgement is not of batch {batch}; judge it again and sign what you see.", batch=batch)
        )
    advised = str(judgement.get("decision"))
    if decision != advised and not note.strip():
        raise RecordError(say("The decision is not the advised one; say in a note why."))
    with writing():
        if standing_verdict(batch) is not None:
            raise RecordError(
                say("A verdict on batch {batch} is signed already; withdraw it before signing another.", batch=batch)
            )
        if new := sheets_since(batch, seen):
            sentence = say_many(
                "Since batch {batch} was judged, one sheet has arrived; judge it again before signing.",
                "Since batch {batch} was judged, {count} sheets have arrived; judge it again before signing.",
                count=new,
                batch=batch,
            )
            raise RecordError(sentence)
        costs = current_costs()
        if costs is None:
            raise RecordError(say("No costs are written yet; a verdict rests on them, so write them first."))
        return pen.make(
            Verdict(
                batch=batch,
                version=batch.version,
                costs=costs,
                decision=decision,
                advised=advised,
                signed_by=signer,
                signed_at=pen.at,
                note=note,
                seen=seen,
                judgement_text=canonical(judgement).decode(),
            )
        )


def withdraw(pen: Pen, verdict: Verdict, *, reason: str, by: Person) -> Withdrawal:
    """Take a signed verdict back; it stays in the records, with the withdrawal beside it.

    Raises
    ------
    RecordError
        When it was withdrawn already, no reason is given, or another person holds the pen.
    """
    if pen.who != by.name:
        sentence = say("Only {signer} can withdraw as {signer}; {writer} holds the pen.", signer=by, writer=pen.who)
        raise RecordError(sentence)
    if not reason.strip():
        raise RecordError(say("Say why the verdict is withdrawn."))
    with writing():
        if Withdrawal.objects.filter(verdict=verdict).exists():
            raise RecordError(say("{verdict} was withdrawn already.", verdict=verdict))
        return pen.make(Withdrawal(verdict=verdict, withdrawn_by=by, withdrawn_at=pen.at, reason=reason))
