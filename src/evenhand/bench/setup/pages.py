"""What the pages of Set-up share: a form that writes with the pen, and a button that does."""

from collections.abc import Callable
from functools import wraps
from typing import Any, TypeVar

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import render, resolve_url
from django.utils.translation import gettext as _

from evenhand.bench.forms import BenchForm
from evenhand.bench.hub import hint
from evenhand.bench.people.roles import View, account_of, by_password, needs
from evenhand.bench.people.sessions import is_by_pin
from evenhand.bench.people.views import redirect_to
from evenhand.bench.telling import told as in_words
from evenhand.errors import EvenhandError

F = TypeVar("F", bound=BenchForm)


def owner_writes(view: View) -> View:
    """Let a lead see a page whose forms are the owner's alone, and take a log-in by password."""

    @wraps(view)
    @needs("lead")
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if request.method == "POST" and not account_of(request).may("owner"):
            raise PermissionDenied(_("This is for the owner to change. Ask for the role in Set-up."))
        return by_password(view)(request, *args, **kwargs)

    return guarded


def answer(
    request: HttpRequest,
    form: F,
    template: str,
    write: Callable[[F], str],
    *,
    to: str,
    topics: tuple[str, ...] = (),
    **told: Any,
) -> HttpResponse:
    """Show a form, or do what it asks and lead on.

    Parameters
    ----------
    request, form
        The request, and the form bound to it if it was sent.
    template
        The page; it finds the form as `form`, whether an owner looks at it as `is_owner`, and whether the log-in was by
        PIN as `by_pin`.
    write
        Writes, and returns the sentence that says what was kept.
    to
        The address after it, or a name of one.
    topics
        Hints for open pages.
    told
        What the page needs besides.
    """
    if form.is_bound and form.is_valid():
        try:
            said = write(form)
        except EvenhandError as error:
            form.refuse(error)
        else:
            messages.success(request, said)
            hint(*topics)
            return redirect_to(to)
    told |= {"form": form, "is_owner": account_of(request).may("owner"), "by_pin": is_by_pin(request)}
    return render(request, template, told, status=422 if form.errors else 200)


def press(
    request: HttpRequest, write: Callable[[], str], *, to: str, topics: tuple[str, ...] = ()
) -> HttpResponseRedirect:
    """Do what a button asks, and lead back; what is refused is said there."""
    try:
        messages.success(request, write())
    except EvenhandError as error:
        messages.error(request, in_words(error))
    else:
        hint(*topics)
    return redirect_to(resolve_url(to))
