"""How long a log-in lasts, and how it ends early.

A password lasts a working day (12 hours from log-in). A PIN on the tablet of the shop, which passes from hand to hand,
ends after 15 minutes in which nobody did anything; a PIN on a phone that joined a table ends with its admission,
at most 12 hours later. What a page asks for by itself while it lies open is not somebody doing something.
"""

from collections.abc import Callable

from django.conf import settings
from django.contrib.auth import SESSION_KEY, login
from django.contrib.sessions.exceptions import SessionInterrupted
from django.contrib.sessions.middleware import SessionMiddleware
from django.contrib.sessions.models import Session
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils import timezone

from evenhand.bench.models import Account, Device

IDLE_S = 15 * 60
_RENEW_S = 60
HINT_HEADER = "Evenhand-Hint"
"""What live.js sends along when a part of a page asks again by itself."""
_AWAKE, _DEVICE = "awake_at", "device"


def enter(request: HttpRequest, account: Account, device: Device | None = None) -> None:
    """Log somebody in under a fresh session.

    Parameters
    ----------
    request
        The request that proved who it is.
    account
        Who it is.
    device
        The shop's device, if a PIN was the proof.
    """
    request.session.clear_expired()
    login(request, account, backend="evenhand.bench.people.accounts.ByName")
    for key in (_DEVICE, _AWAKE):  # whoever logs in anew by another proof keeps nothing of the one before
        request.session.pop(key, None)
    if device is None:
        request.session.set_expiry(settings.SESSION_COOKIE_AGE)
        return
    request.session[_DEVICE] = device.pk
    if device.until is None:
        request.session[_AWAKE] = timezone.now().timestamp()
        request.session.set_expiry(IDLE_S)
    else:
        left_s = (device.until - timezone.now()).total_seconds()
        request.session.set_expiry(max(1, min(settings.SESSION_COOKIE_AGE, int(left_s))))


def is_by_pin(request: HttpRequest) -> bool:
    """Say whether this log-in was proved by a PIN."""
    return _DEVICE in request.session


def end_sessions(account: Account, *, but: str | None = None) -> int:
    """End every log-in of an account, save the one with this key; return how many ended."""
    return _end(lambda told: told.get(SESSION_KEY) == str(account.pk), but)


def end_sessions_on(device: Device) -> int:
    """End every log-in that a PIN opened on a device; return how many ended."""
    return _end(lambda told: told.get(_DEVICE) == device.pk, None)


def _end(fits: Callable[[dict[str, object]], bool], but: str | None) -> int:
    ended = 0
    for session in Session.objects.filter(expire_date__gt=timezone.now()).exclude(session_key=but or ""):
        if fits(session.get_decoded()):
            session.delete()
            ended += 1
    return ended


class PatientSessions(SessionMiddleware):
    """Lets an answer stand where what belongs to the log-in cannot be written down beside it.

    A page that is only looked at puts off the end of a PIN's log-in, and takes messages off it once they are shown;
    while something long holds the database, neither can be written. The page is right all the same, and a sheet that
    was taken is taken: the next request puts the end off again. A log-in that has just begun must be written.
    """

    def process_response(self, request: HttpRequest, response: HttpResponse) -> HttpResponse:
        """Write the session down, if it can be."""
        try:
            return super().process_response(request, response)
        except SessionInterrupted:
            if request.session.session_key != request.COOKIES.get(settings.SESSION_COOKIE_NAME):
                raise
            return response


class StayAwake:
    """Puts off the end of a PIN's log-in while somebody is doing something: one write a minute at most."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer; a part that asks again by itself does not count."""
        if _is_deed(request) and _AWAKE in request.session:
            now = timezone.now().timestamp()
            if now - request.session[_AWAKE] > _RENEW_S:
                request.session[_AWAKE] = now
        return self.get_response(request)


def _is_deed(request: HttpRequest) -> bool:
    """Say whether a person asked: not for the stream of hints, and not for a part that asks again on a hint."""
    return HINT_HEADER not in request.headers and request.path != reverse("live")
