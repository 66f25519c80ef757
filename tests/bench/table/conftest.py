"""A planned table of the small shop, and a way to pull for it."""

import numpy as np
import pytest
from django.utils import timezone

from evenhand.bench.models import TablePlan
from evenhand.records.models import Batch, Cup, Person, Pull


@pytest.fixture
def plan(shop, pen) -> TablePlan:
    """Plan T03: both new batches, two black pulls and one in milk of each, for Wim (the lead), Ida and Bo."""
    from evenhand.bench.table.planning import plan_table

    return plan_table(
        pen,
        batches=list(Batch.objects.filter(label__in=("H-02", "F-02"))),
        pulls={"black": 2, "milk": 1},
        tasters=list(Person.objects.filter(name__in=("Wim", "Ida", "Bo"))),
        rng=np.random.default_rng(7),
    )


@pytest.fixture
def pour(pen):
    """Return a function that makes the pull of a slot by its number and puts it on the table."""
    from evenhand.bench.table.planning import fill_slot

    def make(plan: TablePlan, number: int) -> Cup:
        slot = plan.slots.select_related("plan__table", "batch").get(number=number)
        moment = timezone.localtime().replace(tzinfo=None)
        label = f"{slot.batch.label}-{plan.table.name}-{number}"
        pull = Pull(label=label, batch=slot.batch, pulled_at=moment, dose_g=18.0, beverage_g=36.0, time_s=28.5)
        return fill_slot(pen, slot, pen.make(pull))

    return make


@pytest.fixture
def hand_in(pen):
    """Return a function that hands in one sheet."""
    from evenhand.records.sheets import take_sheet

    def take(cup: Cup, name: str):
        taster = Person.objects.get(name=name)
        client_id = f"{cup.pk}-{taster.pk}"
        return take_sheet(
            pen, client_id=client_id, cup=cup, taster=taster, scores={"acidity": 4.321}, faults={}, words="hidden plum"
        ).sheet

    return take
