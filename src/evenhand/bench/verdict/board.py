"""The list of verdicts: which batches are in which state, the riskiest first where a signature is waited for."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.utils.translation import gettext_lazy as _

from evenhand.records.models import Batch, Entry, Sheet, Verdict
from evenhand.records.models._history import MADE

STATES: Mapping[str, Any] = {
    "waiting": _("to sign"),
    "untasted": _("to taste"),
    "release": _("signed: release"),
    "taste_again": _("signed: taste again"),
    "hold": _("signed: hold"),
    "all": _("all"),
}
"""What the list may be narrowed to, by the word in its address."""


def standing() -> QuerySet[Verdict]:
    """Return the standing verdict of the outer batch; there is never more than one."""
    return Verdict.objects.filter(batch=OuterRef("pk"), withdrawal__isnull=True)


def _is_signed(**conditions: str) -> Exists:
    """Ask whether a verdict stands on the outer batch."""
    return Exists(standing().filter(**conditions))


def is_tasted() -> Exists:
    """Ask whether the outer batch has a sheet."""
    return Exists(Sheet.objects.filter(cup__pull__batch=OuterRef("pk")))


def with_verdicts(numbers: Sequence[int]) -> list[Batch]:
    """Return batches in the order of their numbers, with coffee, judgement (without its text) and standing verdict."""
    found = Batch.objects.filter(pk__in=numbers).select_related("version__coffee", "judged").defer("judged__text")
    by_number = found.annotate(
        signed=Subquery(standing().values("decision")[:1]),
        signed_by=Subquery(standing().values("signed_by__name")[:1]),
    ).in_bulk()
    return [by_number[number] for number in numbers if number in by_number]


def in_state(state: str) -> QuerySet[Batch]:
    """Return the batches of one state, those that press first.

    A list asks for the numbers of the few that it shows, and then for those `with_verdicts`: the database would work
    out everything about everyone before it sorts.

    Parameters
    ----------
    state
        A key of `STATES`.
    """
    if state == "waiting":
        waiting = Q(~_is_signed(), is_tasted()) | Q(pk__in=tasted_since())
        return Batch.objects.filter(waiting).order_by(F("judged__p_good").asc(nulls_first=True), "roasted_on", "pk")
    if state == "untasted":
        return Batch.objects.filter(~_is_signed(), ~is_tasted()).order_by(
            F("judged__p_good").asc(nulls_last=True), "roasted_on", "pk"
        )
    if state in ("release", "taste_again", "hold"):
        return Batch.objects.filter(_is_signed(decision=state)).order_by("-roasted_on", "-pk")
    return Batch.objects.order_by("-roasted_on", "-pk")


def to_taste_again() -> QuerySet[Batch]:
    """Return the tasted batches whose advice is to taste again, unsigned or signed so, the most worth it first."""
    left = Q(~_is_signed()) | Q(_is_signed(decision="taste_again"))
    advised = Batch.objects.filter(left, is_tasted(), judged__decision="taste_again")
    return advised.order_by(F("judged__net_worth").desc(nulls_last=True), "roasted_on", "pk")


def tasted_since() -> set[int]:
    """Return the numbers of batches that were signed "taste again" and tasted since: they wait to be signed anew."""
    again = Verdict.objects.filter(decision="taste_again", withdrawal__isnull=True)
    seen = dict(again.order_by("pk").values_list("batch", "seen"))
    of_batch = Sheet.objects.filter(cup__pull__batch__in=list(seen)).values_list("pk", "cup__pull__batch")
    sheets = dict(of_batch) if seen else {}
    arrived = Entry.objects.filter(kind=Sheet.kind(), action=MADE, record__in=list(sheets))
    return {sheets[number] for number, seq in arrived.values_list("record", "seq") if seq > seen[sheets[number]]}


def pending(batch: Batch, seen: int) -> int:
    """Count the sheets on a batch that arrived after an entry of the history."""
    sheets = list(Sheet.objects.filter(cup__pull__batch=batch).values_list("pk", flat=True))
    new = Entry.objects.filter(kind=Sheet.kind(), record__in=sheets, action=MADE, seq__gt=seen)
    return new.count() if sheets else 0
