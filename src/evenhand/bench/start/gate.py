"""Who may make the first owner: whoever sits at this machine, or can read the code in its terminal."""

import ipaddress

from django.http import HttpRequest

from evenhand.bench.models import Account
from evenhand.bench.people.throttle import address_of
from evenhand.records.models import Shop

_PASSED = "may_start"
_PROXY_HEADERS = ("HTTP_X_FORWARDED_FOR", "HTTP_FORWARDED", "HTTP_X_REAL_IP", "HTTP_VIA")


def is_first_run() -> bool:
    """Say whether nobody can log in yet."""
    return not Account.objects.exists()


def has_records() -> bool:
    """Say whether a shop's records are here already, such as after an import by command."""
    return Shop.objects.exists()


def may_start(request: HttpRequest) -> bool:
    """Say whether this request may set up the bench: it comes from this machine itself, or gave the code."""
    return is_here(request) or bool(request.session.get(_PASSED))


def let_through(request: HttpRequest) -> None:
    """Remember that the code was given."""
    request.session[_PASSED] = True


def is_here(request: HttpRequest) -> bool:
    """Say whether a request comes from this machine.

    One that a proxy passes on looks as if it did, so such a one does not count, whatever its headers say.
    """
    if any(name in request.META for name in _PROXY_HEADERS):
        return False
    try:
        return ipaddress.ip_address(address_of(request)).is_loopback
    except ValueError:
        return False
