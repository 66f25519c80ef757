"""Makes guessing slow: tries are counted in the database by name and by address, and too many of them must wait.

A try is written down before the password is looked at and taken back when it was right. So many tries at once cannot
slip past the count, and a try that must wait costs no hashing.
"""

import datetime as dt
import math
from dataclasses import dataclass

from django.db import connection, transaction
from django.http import HttpRequest
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from evenhand.bench.models import FailedLogIn

_LOCK = 0x45564E47
_ADDRESS_LENGTH = 64
_NAME_LENGTH = 200


@dataclass(frozen=True, slots=True)
class Rule:
    """How many tries go free within a window, and how the pause after the last one grows from there.

    Attributes
    ----------
    window, free
        So many failures within so long a time go without a pause.
    first, longest
        The pause after the last free failure; each further one doubles it, up to the longest.
    """

    window: dt.timedelta
    free: int
    first: dt.timedelta
    longest: dt.timedelta

    def pause(self, failures: int) -> dt.timedelta:
        """Return how long to wait after the last of so many failures."""
        if failures < self.free:
            return dt.timedelta(0)
        doublings = min(failures - self.free, 30)
        factor: int = 2**doublings
        return min(self.longest, self.first * factor)


_QUARTER = dt.timedelta(minutes=15)
_DAY = dt.timedelta(days=1)
_START = dt.timedelta(seconds=30)
BY_NAME = (Rule(_QUARTER, 5, _START, _QUARTER), Rule(_DAY, 30, _QUARTER, _QUARTER))
"""Five slips are human; a hundred and twenty tries a day at most, which is little against 10 000 PINs."""
BY_ADDRESS = (Rule(_QUARTER, 20, _START, _QUARTER),)


def reserve_try(name: str, address: str, now: dt.datetime) -> tuple[float, int | None]:
    """Write a try down, unless it must wait.

    Parameters
    ----------
    name
        Whose log-in is tried; whether there is such a person makes no difference.
    address
        Where the try comes from.
    now
        The time, with its zone.

    Returns
    -------
    tuple of float and int
        Seconds to wait and None, or 0 and the number of the try, for `clear_tries` when it was right.
    """
    name, address = _folded(name), address[:_ADDRESS_LENGTH]
    with transaction.atomic():
        if connection.vendor == "postgresql":  # SQLite has one writer at a time anyway
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
        FailedLogIn.objects.filter(at__lt=now - _DAY).delete()
        wait_s = max(_wait_s(BY_NAME, now, name=name), _wait_s(BY_ADDRESS, now, address=address))
        if wait_s > 0:
            return wait_s, None
        return 0.0, FailedLogIn.objects.create(name=name, address=address, at=now).pk


def clear_tries(name: str, number: int | None) -> None:
    """Forget the failures of a name, and the try that was right, after it was right."""
    FailedLogIn.objects.filter(name=_folded(name)).delete()
    if number is not None:
        FailedLogIn.objects.filter(pk=number).delete()


def say_wait(wait_s: float) -> str:
    """Return the sentence for somebody who must wait."""
    seconds = math.ceil(wait_s)
    if seconds < 100:
        text = ngettext("%(number)d second", "%(number)d seconds", seconds) % {"number": seconds}
    else:
        minutes = math.ceil(seconds / 60)
        text = ngettext("%(number)d minute", "%(number)d minutes", minutes) % {"number": minutes}
    return _("There were too many tries. Wait %(time)s, then try again; nothing else is needed.") % {"time": text}


def address_of(request: HttpRequest) -> str:
    """Return the address that a request comes from, as the socket tells it; headers of proxies are not believed."""
    return str(request.META.get("REMOTE_ADDR") or "")


def _wait_s(rules: tuple[Rule, ...], now: dt.datetime, **whose: str) -> float:
    longest = max(rule.window for rule in rules)
    times = list(FailedLogIn.objects.filter(at__gt=now - longest, **whose).order_by("at").values_list("at", flat=True))
    waits = [0.0]
    for rule in rules:
        failures = sum(at > now - rule.window for at in times)
        if failures:
            waits.append((times[-1] + rule.pause(failures) - now).total_seconds())
    return max(waits)


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()[:_NAME_LENGTH]
