"""Finds pulls: a coffee's last ones with their readings, and today's."""

import datetime as dt
from dataclasses import dataclass

from django.db.models import QuerySet

from evenhand.bench.models import Account
from evenhand.bench.pull.reading import Reading, columns_of, read
from evenhand.bench.pull.recipes import Aim, aim_of
from evenhand.bench.pull.sight import hidden_batches
from evenhand.bench.quantities import units_of
from evenhand.records.models import Coffee, Pull

REMEMBERED = 60
"""How many of a coffee's last pulls teach the next grind step and stand in its history."""


@dataclass(frozen=True, slots=True)
class Told:
    """A pull of the records and its reading."""

    pull: Pull
    reading: Reading

    @property
    def clock(self) -> dt.datetime | None:
        """When it was pulled, where the time of day is known."""
        return self.pull.pulled_at if isinstance(self.pull.pulled_at, dt.datetime) else None

    @property
    def day(self) -> dt.date:
        """The day on which it was pulled."""
        at = self.pull.pulled_at
        return at.date() if isinstance(at, dt.datetime) else at


def last_pulls(coffee: Coffee, account: Account, limit: int = REMEMBERED) -> list[Pull]:
    """Return a coffee's last pulls that somebody may see, the latest first."""
    found = _seen(account).filter(batch__version__coffee=coffee)
    return list(found.order_by("-pulled_at", "-pk")[:limit])


def pulls_of_day(day: dt.date, account: Account) -> list[Pull]:
    """Return the pulls of one day that somebody may see, the latest first."""
    return list(_seen(account).filter(pulled_at__startswith=day.isoformat()).order_by("-pulled_at", "-pk"))


def tell(pulls: list[Pull], account: Account) -> list[Told]:
    """Read each pull against the recipe of its coffee as it stands now."""
    aims: dict[int, Aim] = {}
    told = []
    for pull in pulls:
        coffee = pull.batch.version.coffee
        if coffee.pk not in aims:
            aims[coffee.pk] = aim_of(coffee)
        told.append(Told(pull, reading_of(pull, aims[coffee.pk], account)))
    return told


def reading_of(pull: Pull, aim: Aim, account: Account) -> Reading:
    """Read one pull against an aim."""
    moisture_pct = pull.batch.roasted_moisture_pct
    return read(columns_of(pull), aim.recipe, moisture_pct=moisture_pct, units=units_of(account))


def _seen(account: Account) -> "QuerySet[Pull]":
    return Pull.objects.exclude(batch__in=hidden_batches(account)).select_related("batch__version__coffee")
