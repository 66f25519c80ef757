"""The stream of hints that an open page listens to (server-sent events)."""

import time
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import partial

from asgiref.sync import sync_to_async
from django.contrib.auth.decorators import login_not_required
from django.contrib.sessions.models import Session
from django.db import close_old_connections
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.utils import timezone

from evenhand.bench.hub import HUB
from evenhand.bench.models import Account

_CHECKED_S = 20.0
"""A stream outlives a log-out by no more than this, and by one hint or beat."""


@login_not_required  # checked below: a redirect to the log-in page would make the stream try for ever
async def hints(request: HttpRequest) -> HttpResponseBase:
    """Stream hints to whoever is logged in; they hold topics alone."""
    account = await request.auser()
    if not account.is_authenticated:
        return HttpResponse(status=204)  # tells an event source to stop asking
    is_in = sync_to_async(partial(_is_in, request.session.session_key or "", account.pk))
    return StreamingHttpResponse(_stream(is_in), content_type="text/event-stream", headers={"X-Accel-Buffering": "no"})


async def _stream(is_in: Callable[[], Awaitable[bool]]) -> AsyncIterator[str]:
    yield "retry: 2000\n\n"
    checked = time.monotonic()
    async for topic in HUB.listen():
        if time.monotonic() - checked >= _CHECKED_S:
            if not await is_in():
                return  # the page asks anew, and is told to stop
            checked = time.monotonic()
        yield f"data: {topic}\n\n" if topic else ": still here\n\n"


def _is_in(key: str, number: int) -> bool:
    """Say whether a log-in still stands, and hold no connection to the database until the next time."""
    try:
        stands = Session.objects.filter(session_key=key, expire_date__gt=timezone.now()).exists()
        return stands and Account.objects.filter(pk=number, person__is_active=True).exists()
    finally:
        close_old_connections()
