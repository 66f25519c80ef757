"""The first run: shown who may begin, they choose the demo or five questions, and end logged in."""

from collections.abc import Callable

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters

from evenhand.bench.models import Account
from evenhand.bench.people.devices import admit
from evenhand.bench.people.sessions import enter
from evenhand.bench.people.throttle import address_of, clear_tries, reserve_try, say_wait
from evenhand.bench.people.views import redirect_to
from evenhand.bench.start.code import is_first_code
from evenhand.bench.start.demo import bring_demo
from evenhand.bench.start.first import make_owner, write_answers
from evenhand.bench.start.forms import CodeForm, OwnerForm, SetUpForm
from evenhand.bench.start.gate import has_records, is_first_run, let_through, may_start
from evenhand.errors import EvenhandError
from evenhand.records.audit import Pen

_CODE = "code of the first run"


@login_not_required
def start(request: HttpRequest) -> HttpResponse:
    """Offer the demo and the five questions, to whoever may begin."""
    if not is_first_run():
        return redirect("people:sign-in")
    if may_start(request):
        return render(request, "bench/start/start.html", {"has_records": has_records()})
    told = request.POST.get("code") or request.GET.get("code")
    form = CodeForm({"code": told} if told is not None or request.method == "POST" else None)
    if form.is_bound and form.is_valid():
        wait_s, number = reserve_try(_CODE, address_of(request), timezone.now())
        if wait_s:
            form.add_error(None, say_wait(wait_s))
        elif not is_first_code(form.cleaned_data["code"]):
            form.add_error("code", _("This is not the code in the terminal; look again, it may have changed."))
        else:
            clear_tries(_CODE, number)
            let_through(request)
            return redirect_to("start:start")
    return render(request, "bench/start/code.html", {"form": form}, status=422 if form.errors else 200)


@sensitive_post_parameters("password", "again", "pin")
@login_not_required
def demo(request: HttpRequest) -> HttpResponse:
    """Bring the invented roastery in, and make whoever asks its owner."""
    form = OwnerForm(request.POST or None)

    def write(pen: Pen) -> Account:
        with transaction.atomic():
            account = make_owner(pen, form.owner())
            bring_demo(pen)
        return account

    return _run(request, form, "bench/start/demo.html", write, _("The invented roastery is here. Look around."))


@sensitive_post_parameters("password", "again", "pin")
@login_not_required
def questions(request: HttpRequest) -> HttpResponse:
    """Ask the five questions."""
    form = SetUpForm(request.POST or None)
    said = _("The bench is ready. Next: write down a batch under Coffee, then plan a table.")
    return _run(
        request,
        form,
        "bench/start/questions.html",
        lambda pen: write_answers(pen, form.owner(), form.answers()),
        said,
    )


@sensitive_post_parameters("password", "again", "pin")
@login_not_required
def owner(request: HttpRequest) -> HttpResponse:
    """Make whoever asks the owner of records that are here already."""
    form = OwnerForm(request.POST or None)
    return _run(
        request,
        form,
        "bench/start/owner.html",
        lambda pen: make_owner(pen, form.owner()),
        _("You are the owner. Give the others a way in under Set-up, People."),
        fresh=False,
    )


def _run(
    request: HttpRequest,
    form: OwnerForm,
    template: str,
    write: Callable[[Pen], Account],
    said: str,
    *,
    fresh: bool = True,
) -> HttpResponse:
    """Show a form of the first run, or do what it asks and let its owner in."""
    if not is_first_run():
        return redirect("people:sign-in")
    if not may_start(request) or has_records() is fresh:
        return redirect("start:start")
    if request.method == "POST" and form.is_valid():
        try:
            account = write(Pen(who=form.owner().name, at=timezone.localtime()))
        except EvenhandError as error:
            form.refuse(error)
        else:
            enter(request, account)
            messages.success(request, said)
            response = redirect_to("today:today")
            if form.cleaned_data["is_shops"]:
                admit(request, response, name=_("first device"), by=account.person.name)
            return response
    return render(request, template, {"form": form}, status=422 if form.errors else 200)
