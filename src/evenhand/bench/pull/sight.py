"""Which batches somebody may see in this room: who pulls for a table knows what is on it, so its tasters do not."""

from django.db.models import QuerySet

from evenhand.bench.models import Account, Seat, Slot
from evenhand.bench.table.watching import blind_batches
from evenhand.records.models import Batch


def may_pull_for_tables(account: Account) -> bool:
    """Say whether somebody sees the slots of tables: the lead and the owner do.

    A taster may be seated at any table, and a page that names what is on one that is not closed would unblind them.
    """
    return account.may("lead")


def hidden_batches(account: Account) -> set[int]:
    """Return the numbers of the batches that somebody may not see before their table closes."""
    return set() if may_pull_for_tables(account) else blind_batches()


def seen_batches(account: Account) -> "QuerySet[Batch]":
    """Return the batches that somebody may see, each with its coffee at hand."""
    return Batch.objects.exclude(pk__in=hidden_batches(account)).select_related("version__coffee", "version__recipe")


def sits_at(account: Account, slot: Slot) -> bool:
    """Say whether somebody has a seat at the table of a slot: pulling for it, they will know what they taste."""
    return Seat.objects.filter(plan=slot.plan_id, taster=account.person_id).exists()
