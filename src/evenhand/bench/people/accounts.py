"""Makes accounts and checks passwords and PINs; the shop's own devices are known by a cookie."""

import datetime as dt
import hashlib
import itertools
import secrets
from typing import Any

from django.conf import settings
from django.contrib.auth.backends import BaseBackend
from django.contrib.auth.hashers import check_password, make_password
from django.db import transaction
from django.db.models import Q
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _now

from evenhand.bench.models import Account, Device
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen
from evenhand.records.models import Person

DEVICE_COOKIE = "evenhand_device"
_YEAR_S = 365 * 24 * 3600
PIN_LENGTHS = range(4, 9)


class ByName(BaseBackend):
    """Lets a person in by name and password, or by name and PIN on one of the shop's devices."""

    def authenticate(
        self,
        request: HttpRequest | None,
        name: str = "",
        password: str = "",
        pin: str = "",
        **_: Any,
    ) -> Account | None:
        """Return the account that name and secret open, or None."""
        account = Account.objects.select_related("person").filter(person__name__iexact=name.strip()).first()
        if account is None or not account.is_active:
            make_password(password or pin)  # takes as long as a real check: names cannot be guessed by the clock
            return None
        if pin:
            if request is None or not is_shop_device(request) or not account.pin:
                make_password(pin)
                return None
            return account if check_password(pin, account.pin) else None
        return account if password and account.check_password(password) else None

    def get_user(self, user_id: Any) -> Account | None:
        """Return an account by its number, if its person still works here."""
        account = Account.objects.select_related("person").filter(pk=user_id).first()
        return account if account is not None and account.is_active else None


@transaction.atomic
def make_account(pen: Pen, name: str, role: str, *, password: str = "", pin: str = "") -> Account:
    """Give a person a way in; the person is written into the records if they are not there yet.

    Raises
    ------
    RecordError
        When neither a password nor a PIN is given, the PIN is not 4 to 8 digits, or the person has an account.
    """
    if not (password or pin):
        raise RecordError(_now("Give a password or a PIN, or nobody can log in with this name."))
    person = Person.objects.filter(name__iexact=name).first()
    if person is None:
        person = pen.make(Person(name=name, role=role))
    elif Account.objects.filter(person=person).exists():
        raise RecordError(
            _now("%(name)s has an account already; change it instead of making another.") % {"name": person.name}
        )
    else:
        pen.change(person, role=role, is_active=True)
    account = Account(person=person)
    if password:
        account.set_password(password)
    else:
        account.set_unusable_password()
    if pin:
        set_pin(account, pin)
    account.save()
    return account


def set_pin(account: Account, pin: str) -> None:
    """Set the PIN of an account, not yet saved.

    Raises
    ------
    RecordError
        When it is not allowed: see `check_pin`.
    """
    check_pin(pin)
    account.pin = make_password(pin)


def check_pin(pin: str) -> None:
    """Refuse a PIN that is not 4 to 8 digits, or that everybody tries first.

    Raises
    ------
    RecordError
        When it is no PIN, one digit alone, or digits that count up or down.
    """
    if not (pin.isascii() and pin.isdigit() and len(pin) in PIN_LENGTHS):
        bounds = {"least": PIN_LENGTHS[0], "most": PIN_LENGTHS[-1]}
        raise RecordError(_now("A PIN is %(least)s to %(most)s digits.") % bounds)
    steps = {int(after) - int(before) for before, after in itertools.pairwise(pin)}
    if len(steps) == 1 and steps <= {-1, 0, 1}:
        raise RecordError(_now("A PIN of one digit alone, or of digits in a row, is guessed at once; mix them."))


def add_device(response: HttpResponseBase, *, name: str, by: str, until: dt.datetime | None = None) -> Device:
    """Make the device that gets this response one of the shop's, so that names and PINs are enough on it."""
    token = secrets.token_urlsafe(32)
    device = Device.objects.create(
        token_hash=_hash(token), name=name, added_by=by, added_at=timezone.now(), until=until
    )
    response.set_cookie(DEVICE_COOKIE, token, max_age=_YEAR_S, httponly=True, samesite="Lax", secure=settings.IS_TLS)
    return device


def is_shop_device(request: HttpRequest) -> bool:
    """Say whether the device that asks is one of the shop's, still trusted."""
    return find_device(request) is not None


def find_device(request: HttpRequest) -> Device | None:
    """Return the shop's device that asks, if it is one and still trusted."""
    token = request.COOKIES.get(DEVICE_COOKIE, "")
    if not token:
        return None
    standing = Q(until__isnull=True) | Q(until__gt=timezone.now())
    return Device.objects.filter(standing, token_hash=_hash(token)).first()


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
