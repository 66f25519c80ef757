"""Makes a record once for a form that is sent twice, as by a slow double press: the second answer leads to the first.

Each form holds a token of its own in a hidden field named `once`. What was made for a token is noted in the log-in's
session within the same writing that makes it, so that a request that runs beside it waits and then finds the note.
"""

import contextlib
import string
from collections.abc import Callable
from typing import Any

from django.contrib.sessions.backends.base import UpdateError
from django.db.models import Model
from django.http import HttpRequest
from django.utils.crypto import get_random_string

from evenhand.records.audit import writing

_SHELF = "made_once"
_KEPT = 30
_LENGTH = 24


def new_token() -> str:
    """Draw a token for a form: letters alone, so that no page seems to hold a cup's code by chance."""
    return get_random_string(_LENGTH, string.ascii_letters)


def made_before(request: HttpRequest, model: type[Model]) -> int | None:
    """Return the number of what this very form made already, None if it made nothing or that was taken away since."""
    return _find(request.session, model, _token(request))


def make_once(request: HttpRequest, model: type[Model], make: Callable[[], int]) -> tuple[int, bool]:
    """Make a record for a form, or find the one that the same form made.

    Parameters
    ----------
    request
        What was sent; without a token each one makes a record.
    model
        What is made.
    make
        Makes it and returns its number; what it raises is handed on, and nothing is written then.

    Returns
    -------
    tuple of int and bool
        The number of the record, and whether it was made now.
    """
    token = _token(request)
    with writing():
        # The request's own session was read before it waited for its turn to write.
        standing = type(request.session)(request.session.session_key)
        if (found := _find(standing, model, token)) is not None:
            return found, False
        made = make()
        if token:
            shelf: dict[str, Any] = standing.get(_SHELF, {})
            request.session[_SHELF] = {**dict(list(shelf.items())[-_KEPT:]), _name(model, token): made}
            with contextlib.suppress(UpdateError):  # logged out meanwhile: then there is nobody to send it again
                request.session.save()
    return made, True


def _token(request: HttpRequest) -> str:
    return request.POST.get("once", "")[:64]


def _find(session: Any, model: type[Model], token: str) -> int | None:
    found: int | None = session.get(_SHELF, {}).get(_name(model, token)) if token else None
    return found if found is not None and model._default_manager.filter(pk=found).exists() else None


def _name(model: type[Model], token: str) -> str:
    return f"{model._meta.model_name} {token}"
