"""Finds the batches that may come onto a table: those that wait for a verdict, the newest first."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from evenhand.bench.models import Slot
from evenhand.records.models import Batch, Verdict

SHOWN = 24


@dataclass(frozen=True, slots=True)
class Choice:
    """One batch in the list.

    Attributes
    ----------
    batch
        The batch, its coffee at hand.
    is_chosen
        Whether it is ticked.
    decision
        What is signed for it; empty if nothing is.
    tables
        Names of the tables under way that it is on.
    """

    batch: Batch
    is_chosen: bool
    decision: str
    tables: str


@dataclass(frozen=True, slots=True)
class Choices:
    """The list of batches to choose from, and how many more there are."""

    rows: tuple[Choice, ...]
    hidden: int
    find: str


def list_choices(chosen: Collection[int], find: str = "") -> Choices:
    """List batches to choose from: those that are ticked, then those that wait for a verdict, the newest first.

    Parameters
    ----------
    chosen
        Numbers of the batches that are ticked; they are always shown.
    find
        Words to be found in label or coffee; they find signed batches too.

    Returns
    -------
    Choices
        At most `SHOWN` besides those that are ticked.
    """
    standing = Verdict.objects.filter(batch=OuterRef("pk"), withdrawal__isnull=True).order_by("-pk")
    every = Batch.objects.annotate(decision=Subquery(standing.values("decision")[:1]))
    every = every.select_related("version__coffee").order_by("-roasted_on", "-pk")
    others: QuerySet[Batch] = every.exclude(pk__in=chosen)
    words = find.split()[:8]
    for word in words:
        others = others.filter(Q(label__icontains=word) | Q(version__coffee__name__icontains=word))
    if not words:
        others = others.exclude(Exists(standing.filter(decision__in=("release", "hold"))))
    picked = list(every.filter(pk__in=chosen))
    shown = list(others[:SHOWN])
    hidden = max(0, others.count() - SHOWN) if len(shown) == SHOWN else 0
    under_way: dict[int, list[str]] = {}
    slots = Slot.objects.exclude(plan__table__state="closed").filter(batch__in=[row.pk for row in picked + shown])
    for batch, name in slots.order_by("plan__table__name").values_list("batch", "plan__table__name").distinct():
        under_way.setdefault(batch, []).append(name)
    rows = tuple(
        Choice(row, row.pk in chosen, getattr(row, "decision", None) or "", ", ".join(under_way.get(row.pk, ())))
        for row in picked + shown
    )
    return Choices(rows, hidden, find)
