"""What every page is held to: nothing from outside, no script in the page, nothing kept by a cache, a first owner."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit, urlunsplit

from django.contrib import messages
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.contrib.auth.views import redirect_to_login
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.defaults import page_not_found

from evenhand.bench.models import Account

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
"""The content security policy of every page: no inline script, no inline style, nothing from elsewhere."""

_NUMBERS = 2**63
"""No database numbers its rows so far."""

Next = Callable[[HttpRequest], HttpResponseBase]


class StrictPages:
    """Sends the content security policy with every answer, and keeps pages out of caches."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer with the policy."""
        response = self.get_response(request)
        response.headers["Content-Security-Policy"] = POLICY
        response.headers.setdefault("Permissions-Policy", "camera=(), microphone=(), geolocation=()")
        if not request.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response


class FirstRun:
    """Leads to the first set-up while nobody can log in yet."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response
        self._started = False

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, or lead to the first set-up."""
        if not self._started:
            self._started = Account.objects.exists()
            if not self._started and not request.path.startswith((reverse("start:start"), "/static/")):
                return redirect("start:start")
        return self.get_response(request)


class LogInFirst(LoginRequiredMiddleware):
    """Leads whoever is not logged in to the log-in, and from there back to the page that they were on.

    A form that is sent after the log-in has ended is not kept. Its own address may take forms alone, so the way back
    leads to the page that held it.
    """

    def handle_no_permission(self, request: HttpRequest, view_func: Callable[..., Any]) -> HttpResponseRedirect:
        """Lead to the log-in."""
        if request.method in ("GET", "HEAD") or "HX-Request" in request.headers:
            return super().handle_no_permission(request, view_func)
        if request.path != reverse("people:sign-out"):
            said = _("Your log-in had ended, so what you sent was not kept. Log in, then send it again.")
            messages.warning(request, said)
        log_in = resolve_url(self.get_login_url(view_func))
        return redirect_to_login(page_left(request), log_in, self.get_redirect_field_name(view_func))


class Patience:
    """Says so where a form cannot be written because something long is being written, such as an import."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer 503 where SQLite waited in vain for its one writer; any other error goes on as it is."""
        if not (isinstance(error, OperationalError) and "database is locked" in str(error)):
            return None
        answer = render(request, "bench/busy.html", status=503)
        answer.headers["Retry-After"] = "30"
        return answer


class KnownNumbers:
    """Answers 404 where an address or a form names a record by a number that no database can hold."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: list[Any], kwargs: dict[str, Any]
    ) -> None:
        """Refuse such a number in the address."""
        if any(isinstance(value, int) and value >= _NUMBERS for value in kwargs.values()):
            raise Http404

    def process_exception(self, request: HttpRequest, error: Exception) -> HttpResponse | None:
        """Answer 404 where SQLite was asked for such a number all the same; any other error goes on as it is."""
        if isinstance(error, OverflowError) and "SQLite INTEGER" in str(error):
            return page_not_found(request, error)
        return None


def page_left(request: HttpRequest) -> str:
    """Return the page of this bench from which a form was sent, the first page if that is not told."""
    try:
        page = urlsplit(request.headers.get("Referer", ""))
    except ValueError:
        return "/"
    return urlunsplit(("", "", page.path, page.query, "")) if page.netloc == request.get_host() else "/"


def refuse_forgery(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form that came without its token: nearly always a page that was open for too long."""
    return render(request, "bench/stale.html", {"reason": reason}, status=403)
