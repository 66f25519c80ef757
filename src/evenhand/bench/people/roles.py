"""What a role may do, what takes a password, and the pen that writes in the name of who is logged in."""

from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.models import Account
from evenhand.bench.people.sessions import is_by_pin
from evenhand.bench.security import page_left
from evenhand.records.audit import Pen

View = Callable[..., HttpResponseBase]

_WHOSE = {
    "taster": _("This page is for the people on the list."),
    "lead": _("This page is for leads and owners."),
    "owner": _("This page is for owners."),
}


def needs(role: str) -> Callable[[View], View]:
    """Let a view answer only those who may do what a role may do: taster, lead or owner.

    Everybody else gets a page that says who may, with status 403.
    """

    def wrap(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not account_of(request).may(role):
                ask = _now("An owner gives roles in Set-up; or log in as somebody who has one of these.")
                raise PermissionDenied(f"{_WHOSE[role]} {ask}")
            return view(request, *args, **kwargs)

        return guarded

    return wrap


def by_password(view: View) -> View:
    """Let a view take forms only from whoever logged in by password; to look is free.

    A PIN is short, and typed on devices that many hands hold or that only scanned a table's code. What gives anybody a
    way in, or moves all the records at once, takes more than that. Others get a page that leads to the log-in by
    password and back, with status 403.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.method not in ("GET", "HEAD") and is_by_pin(request):
            told = {"back": page_left(request), "name": account_of(request).person.name}
            return render(request, "bench/people/by_password.html", told, status=403)
        return view(request, *args, **kwargs)

    return guarded


def account_of(request: HttpRequest) -> Account:
    """Return the account that is logged in; the pages that need one are guarded by the middleware."""
    return cast("Account", request.user)


def pen_of(request: HttpRequest) -> Pen:
    """Return a pen that writes in the name of the person who is logged in, now, in the shop's zone."""
    return Pen(who=account_of(request).person.name, at=timezone.localtime())
