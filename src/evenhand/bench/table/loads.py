"""What a table asks of each taster: cups, caffeine against the published bounds, milk, and flights for the palate."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db.models import Q

from evenhand.bench.models import Seat, Slot, TablePlan
from evenhand.espresso.caffeine import pull_caffeine_mg
from evenhand.output.cautions import note_caffeine
from evenhand.panel.design import LoadFlag, most_cups, taster_load
from evenhand.records.models import Batch, Person


@dataclass(frozen=True, slots=True)
class Offered:
    """What one taster is offered at a table, if every cup is shared out evenly and swallowed.

    Attributes
    ----------
    taster
        Who.
    cups, milk_cups
        Number of cups, and of those that hold milk.
    caffeine_mg
        Caffeine at this table.
    day_caffeine_mg
        The same with the other tables of that day at which the taster sits.
    note
        Which published bound the table passes, in words; empty if none.
    sentences
        What to say before the first cup.
    """

    taster: Person
    cups: int
    milk_cups: int
    caffeine_mg: float
    day_caffeine_mg: float
    note: str
    sentences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Flight:
    """How often a palate needs a pause in one service.

    Attributes
    ----------
    service
        black, bowl or milk.
    cups
        Cups of this service on the table.
    most
        Cups that a palate stands in one flight.
    flights
        Into how many flights, with a pause and water between them, the service falls.
    """

    service: str
    cups: int
    most: int
    flights: int


def offered(plan: TablePlan) -> list[Offered]:
    """Return what a planned table offers to each taster, in the order of their names.

    Parameters
    ----------
    plan
        The plan; a cup that was poured counts with the dose of its pull, the others with that of the recipe.

    Returns
    -------
    list of Offered
        One row a taster.
    """
    tasters = [seat.taster for seat in plan.seats.select_related("taster").order_by("taster__name")]
    slots = list(plan.slots.select_related("pull", "batch__version__recipe"))
    return _offer([(slot.service, _dose_g(slot)) for slot in slots], tasters, _earlier(tasters, _today(plan), plan))


def offered_by_draft(
    batches: Sequence[Batch], pulls: Mapping[str, int], tasters: Sequence[Person], *, day: dt.date
) -> list[Offered]:
    """Return what a table would offer that is not planned yet.

    Parameters
    ----------
    batches
        Its batches, with their version and recipe at hand.
    pulls
        Pulls of each batch by service.
    tasters
        Who would sit at it.
    day
        The day whose other tables count as earlier caffeine.
    """
    cups = [
        (service, batch.version.recipe.dose_g)
        for batch in batches
        for service, count in pulls.items()
        for _ in range(count)
    ]
    return _offer(cups, tasters, _earlier(tasters, day, None))


def flights(cups_by_service: Mapping[str, int]) -> list[Flight]:
    """Return for each service how many flights a palate needs."""
    found = []
    for service, cups in cups_by_service.items():
        if cups:
            most = most_cups(service)
            found.append(Flight(service, cups, most, -(-cups // most)))
    return found


def _offer(cups: Sequence[tuple[str, float]], tasters: Sequence[Person], earlier: Mapping[int, float]) -> list[Offered]:
    if not tasters:
        return []
    caffeine = [pull_caffeine_mg(dose) / len(tasters) for _, dose in cups]
    milk = sum(service == "milk" for service, _ in cups)
    rows = []
    for taster in tasters:
        before = earlier.get(taster.pk, 0.0)
        # how much milk is in a cup is nobody's question here: that there is any is said below
        load = taster_load(caffeine, [0.0] * len(cups), 1.0, earlier_caffeine_mg=before)
        said = [flag.value for flag in load.flags] + ([LoadFlag.MILK.value] if milk else [])
        rows.append(
            Offered(
                taster, len(cups), milk, load.caffeine_mg, load.day_caffeine_mg, note_caffeine(load.caffeine_mg),
                tuple(said),
            )
        )  # fmt: skip
    return rows


def _dose_g(slot: Slot) -> float:
    return slot.pull.dose_g if slot.pull is not None else slot.batch.version.recipe.dose_g


def _today(plan: TablePlan) -> dt.date:
    from django.utils import timezone

    return timezone.localdate(plan.table.opened_at) if plan.table.opened_at else timezone.localdate()


def _earlier(tasters: Sequence[Person], day: dt.date, but: TablePlan | None) -> dict[int, float]:
    """Caffeine of the other tables of a day, by taster: those that were opened on it or are open now."""
    same_day = Q(plan__table__opened_at__date=day) | Q(plan__table__state="open")
    seats = Seat.objects.filter(same_day, taster__in=tasters)
    if but is not None:
        seats = seats.exclude(plan=but)
    at: dict[int, list[int]] = {}
    for plan, taster in seats.values_list("plan", "taster"):
        at.setdefault(plan, []).append(taster)
    if not at:
        return {}
    seated: dict[int, int] = {}
    for plan in Seat.objects.filter(plan__in=at).values_list("plan", flat=True):
        seated[plan] = seated.get(plan, 0) + 1
    poured: dict[int, float] = {}
    for slot in Slot.objects.filter(plan__in=at).select_related("pull", "batch__version__recipe"):
        poured[slot.plan_id] = poured.get(slot.plan_id, 0.0) + pull_caffeine_mg(_dose_g(slot))
    found: dict[int, float] = {}
    for plan, members in at.items():
        for taster in members:
            found[taster] = found.get(taster, 0.0) + poured.get(plan, 0.0) / seated[plan]
    return found
