"""Views of this room: the list, one verdict, the signature and its withdrawal."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from evenhand.bench import telling
from evenhand.bench.hub import hint
from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.verdict import board, locking, page
from evenhand.bench.verdict.forms import DECISIONS, SignForm, WithdrawForm
from evenhand.bench.verdict.roast import set_beside_usual
from evenhand.bench.verdict.signing import mark_of, sign_what_was_seen
from evenhand.errors import EvenhandError
from evenhand.records.models import Batch
from evenhand.records.signing import standing_verdict, withdraw

_PER_PAGE = 25


@needs("lead")
def verdicts(request: HttpRequest) -> HttpResponse:
    """Show the list of verdicts."""
    return render(request, "bench/verdict/verdicts.html", _list(request))


@needs("lead")
def verdicts_part(request: HttpRequest) -> HttpResponse:
    """Show the inside of the list again."""
    return render(request, "bench/verdict/_verdicts.html", _list(request))


@needs("lead")
def verdict(request: HttpRequest, number: int) -> HttpResponse:
    """Show one batch's verdict."""
    batch = _find(number)
    told = _tell(request, batch)
    if not told["locked"]:
        told |= {
            "roast": set_beside_usual(batch),
            "history": page.history(batch),
            "cups": page.sheets_of(batch) if locking.are_closed(batch) else [],
            "decisions": DECISIONS,
        }
    return render(request, "bench/verdict/verdict.html", told)


@needs("lead")
def verdict_part(request: HttpRequest, number: int) -> HttpResponse:
    """Show the judgement of a batch again, as sheets arrive."""
    return render(request, "bench/verdict/_verdict.html", _tell(request, _find(number)))


@needs("lead")
def sign(request: HttpRequest, number: int) -> HttpResponse:
    """Ask for the signature under a decision, and take it."""
    batch = _find(number)
    _refuse_locked(request, batch)
    found = page.at_hand(batch)
    if found.verdict is None:
        messages.warning(request, _("This batch is not judged yet; wait a moment."))
        return redirect("verdict:verdict", number=batch.pk)
    decision = (request.POST if request.method == "POST" else request.GET).get("decision", "")
    if decision not in dict(DECISIONS):
        return redirect("verdict:verdict", number=batch.pk)
    against = decision != found.verdict.decision
    here = {"decision": decision, "mark": mark_of(found.verdict)}
    form = SignForm(request.POST or None, against=against, initial=here)
    if request.method == "POST" and form.is_valid():
        try:
            sign_what_was_seen(
                pen_of(request),
                account_of(request).person,
                batch,
                found,
                decision=decision,
                note=form.cleaned_data["note"],
                mark=form.cleaned_data["mark"],
            )
        except EvenhandError as error:
            form.refuse(error)
            form.data = {**request.POST.dict(), **here}  # what now stands on the page is what a second press signs
        else:
            hint("judged", "today")
            words = {"release": _("release"), "taste_again": _("taste again"), "hold": _("hold")}
            said = _("Signed: %(decision)s for %(batch)s.") % {"decision": words[decision], "batch": batch.label}
            messages.success(request, said)
            return redirect("verdict:verdict", number=batch.pk)
    told = page.tell(found.verdict) | {"batch": batch, "form": form, "decision": decision, "against": against}
    told |= {"weighed": found.weighed, "standing": standing_verdict(batch)}
    return render(request, "bench/verdict/sign.html", told, status=422 if form.errors else 200)


@needs("lead")
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """Withdraw the standing verdict of a batch; both stay in the records."""
    batch = _find(number)
    _refuse_locked(request, batch)
    standing = standing_verdict(batch)
    if standing is None:
        messages.warning(request, _("No verdict stands on this batch."))
        return redirect("verdict:verdict", number=batch.pk)
    form = WithdrawForm(request.POST or None, initial={"verdict": standing.pk})
    if request.method == "POST" and form.is_valid() and not form.is_overtaken(standing.pk):
        try:
            withdraw(pen_of(request), standing, reason=form.cleaned_data["reason"], by=account_of(request).person)
        except EvenhandError as error:
            form.refuse(error)
        else:
            hint("judged", "today")
            messages.success(request, _("The verdict is withdrawn; it stays in the history below."))
            return redirect("verdict:verdict", number=batch.pk)
    told = {"batch": batch, "form": form, "standing": standing}
    return render(request, "bench/verdict/withdraw.html", told, status=422 if form.errors else 200)


@needs("lead")
def paper(request: HttpRequest, number: int) -> HttpResponse:
    """Give the verdict as a PDF to file."""
    from evenhand.bench.verdict.filing import print_verdict

    batch = _find(number)
    _refuse_locked(request, batch)
    size = request.GET.get("size") or ("us-letter" if account_of(request).units == "us" else "a4")
    try:
        pdf = print_verdict(batch, size=size)
    except EvenhandError as error:
        messages.error(request, telling.told(error))
        return redirect("verdict:verdict", number=batch.pk)
    return HttpResponse(
        pdf,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="verdict-{batch.pk}.pdf"'},
    )


def _find(number: int) -> Batch:
    batch = page.find_batch(number)
    if batch is None:
        raise Http404
    return batch


def _refuse_locked(request: HttpRequest, batch: Batch) -> None:
    if batch.pk in locking.locked_for(account_of(request).person):
        raise PermissionDenied(
            _("You taste this batch on a table that is open; its verdict opens to you when the table closes.")
        )


def _tell(request: HttpRequest, batch: Batch) -> dict[str, Any]:
    """Return what the live part of a verdict shows."""
    tables = locking.on_open_tables().get(batch.pk, [])
    if batch.pk in locking.locked_for(account_of(request).person):
        return {"batch": batch, "locked": True, "tables": ", ".join(tables)}
    found, standing = page.at_hand(batch), standing_verdict(batch)
    told: dict[str, Any] = {
        "batch": batch,
        "locked": False,
        "tables": ", ".join(tables),
        "judged": found.judged,
        "weighed": found.weighed,
        "problem": found.problem,
        "standing": standing,
        "arrived_since": board.pending(batch, standing.seen) if standing is not None else 0,
    }
    return told | page.tell(found.verdict) if found.verdict is not None else told


def _list(request: HttpRequest) -> dict[str, Any]:
    state = request.GET.get("state", "waiting")
    state = state if state in board.STATES else "waiting"
    locked = locking.locked_for(account_of(request).person)
    batches = board.in_state(state)
    if state != "all":  # its place among the others, or the list that it is in, would tell what is locked
        batches = batches.exclude(pk__in=locked)
    numbers = batches.values_list("pk", flat=True)
    paged = Paginator(numbers, _PER_PAGE).get_page(request.GET.get("page"))
    return {
        "states": board.STATES.items(),
        "state": state,
        "paged": paged,
        "rows": board.with_verdicts(list(paged.object_list)),
        "locked": locked,
        "open": locking.on_open_tables(),
        "again": f"{reverse('verdict:verdicts-part')}?state={state}&page={paged.number}",
    }
