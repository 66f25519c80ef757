"""Joins a phone to a table by the code that its QR code says: names and PINs are then enough on it for half a day."""

import datetime as dt
from urllib.parse import urlencode

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from evenhand.bench.models import FailedLogIn, TablePlan
from evenhand.bench.people.devices import admit
from evenhand.bench.people.throttle import address_of

_LOOPBACK = ("127.0.0.1", "localhost", "::1", "")
TRUSTED_FOR = dt.timedelta(hours=12)
_GUESSES = 20
_WINDOW = dt.timedelta(minutes=15)
_GUESS = "table code"
"""Stands in place of a name among the failed log-ins, so that guessing table codes and passwords adds up."""


@login_not_required
@require_safe
def join(request: HttpRequest, code: str) -> HttpResponse:
    """Open a table to a phone that scanned its code, and lead to its cups; refuse what is no code of a table."""
    address, now = address_of(request)[:64], timezone.now()
    guesses = FailedLogIn.objects.filter(address=address, at__gt=now - _WINDOW).count()
    if guesses >= _GUESSES:
        return _refuse(request, _("Too many codes were tried"), _("Wait a quarter of an hour, then scan again."), 429)
    plan = TablePlan.objects.select_related("table").filter(join_code=code.strip().upper()[:12]).first()
    if plan is None:
        FailedLogIn.objects.create(name=_GUESS, address=address, at=now)
        return _refuse(
            request,
            _("No table has this code"),
            _("Scan the code on the table or on a cup again, or type it as it stands below the square."),
            404,
        )
    if plan.table.state == "closed":
        text = _("Table %(table)s is closed, so no phone can join it. Ask whoever leads which table is open.")
        return _refuse(request, _("This table is closed"), text % {"table": plan.table.name}, 404)
    onward = reverse("taste:table", args=[plan.table.pk])
    if request.user.is_authenticated:
        return redirect(onward)
    response = redirect(f"{reverse('people:sign-in')}?{urlencode({'next': onward})}")
    name = _("Phone at table %(table)s") % {"table": plan.table.name}
    admit(request, response, name=name, by=f"table {plan.table.name}", until=now + TRUSTED_FOR)
    return response


def join_address(request: HttpRequest, plan: TablePlan) -> tuple[str, bool]:
    """Return the address that the QR code of a table says, in capitals, and whether phones can reach it.

    Capitals, digits and a few signs make a smaller code. A lead who opened the bench as localhost would print an
    address that means each phone itself, so another name of the server is taken then, if it has one.
    """
    name, _colon, port = request.get_host().rpartition(":")
    if not port.isdigit():
        name, port = request.get_host(), ""
    reachable = name.strip("[]").lower() not in _LOOPBACK
    if not reachable:
        others = [host for host in settings.ALLOWED_HOSTS if _is_other(host)]
        name, reachable = (others[0], True) if others else (name, False)
    at = f"{name}:{port}" if port else name
    return f"{request.scheme}://{at}/T/{plan.join_code}".upper(), reachable


def _is_other(host: str) -> bool:
    """Say whether a name that the server answers to is one that a phone can ask for."""
    return not host.startswith((".", "*")) and host.strip("[]").lower() not in _LOOPBACK


def _refuse(request: HttpRequest, heading: str, text: str, status: int) -> HttpResponse:
    return render(request, "bench/table/no_table.html", {"heading": heading, "text": text}, status=status)
