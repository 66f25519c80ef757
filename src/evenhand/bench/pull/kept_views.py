"""A pull that stands in the records: what it was like, what to do next, and how to mend or undo it."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from evenhand.bench.models import Account, Slot
from evenhand.bench.people.roles import account_of, pen_of
from evenhand.bench.pull.dialling import kept_pull, next_step
from evenhand.bench.pull.forms import MEASURED, CorrectionForm, SolidsForm
from evenhand.bench.pull.pulls import last_pulls, reading_of
from evenhand.bench.pull.recipes import aim_of
from evenhand.bench.pull.recording import (
    can_undo,
    correct_pull,
    may_change,
    slot_of,
    take_off_table,
    undo_pull,
    without_code,
)
from evenhand.bench.pull.sight import hidden_batches, may_pull_for_tables
from evenhand.bench.pull.undone import keep_undone, values_of
from evenhand.bench.pull.views import see_other
from evenhand.bench.quantities import units_of
from evenhand.bench.telling import told
from evenhand.errors import EvenhandError
from evenhand.espresso.recipe import JUDGEABLE_TOLERANCES
from evenhand.records.models import Pull


@require_GET
def kept(request: HttpRequest, pull: int) -> HttpResponse:
    """Show a pull, where its cup goes, and what to do next."""
    return _show(request, _find(request, pull))


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, pull: int) -> HttpResponseBase:
    """Correct what was typed."""
    account = account_of(request)
    found = _find_to_change(request, pull)
    values: dict[str, Any] = {name: getattr(found, name) for name in MEASURED}
    initial = {**values, "grind_setting": found.grind_setting or "", "mark": found.fingerprint()}
    form = CorrectionForm(request.POST or None, initial=initial, units=units_of(account))
    if request.method == "POST" and form.is_valid() and not form.is_overtaken():
        try:
            correct_pull(pen_of(request), found, form.values())
        except EvenhandError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Corrected. The history keeps what it was before."))
            return _back(found)
    status = 422 if form.errors else 200
    return render(request, "bench/pull/correct.html", {"pull": found, "form": form}, status=status)


@require_POST
def add_solids(request: HttpRequest, pull: int) -> HttpResponseBase:
    """Add the dissolved solids, read once the shot has cooled."""
    found = _find_to_change(request, pull)
    form = SolidsForm(request.POST, units=units_of(account_of(request)))
    if form.is_valid():
        try:
            correct_pull(pen_of(request), found, {"tds_pct": form.cleaned_data["tds_pct"]})
        except EvenhandError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Dissolved solids added."))
            return _back(found)
    return _show(request, found, form, status=422)


@require_POST
def undo(request: HttpRequest, pull: int) -> HttpResponseBase:
    """Take a pull out of the records, and its cup off the table."""
    found = _find_to_change(request, pull)
    slot, label, number, values = slot_of(found), found.label, found.pk, values_of(found)
    try:
        undo_pull(pen_of(request), found)
    except EvenhandError as error:
        messages.error(request, told(error if slot is None else without_code(error.args[0], slot)))
        return _back(found)
    if slot is None:
        said = _("The pull %(label)s is undone; the history keeps that it was there.") % {"label": label}
    else:  # no label: the next page may be one with codes
        said = _("Pull %(number)s is undone; the history keeps that it was there.") % {"number": slot.number}
    messages.success(request, said)
    query = keep_undone(request, number, found.batch_id, values)
    form = reverse("pull:batch", args=[found.batch_id]) if slot is None else reverse("pull:slot", args=[slot.pk])
    return see_other(f"{form}?{query}")


@require_POST
def pull_again(request: HttpRequest, pull: int) -> HttpResponseBase:
    """Take the cup off the table and keep the pull as a record."""
    found = _find_to_change(request, pull)
    stood = slot_of(found)
    try:
        slot = take_off_table(pen_of(request), found)
    except EvenhandError as error:
        messages.error(request, told(error if stood is None else without_code(error.args[0], stood)))
        return _back(found)
    if slot is None:
        return _back(found)
    said = _("Kept as a record. Pull %(number)s of table %(table)s is to be made again: throw the old cup away.")
    messages.warning(request, said % {"number": slot.number, "table": slot.plan.table.name})
    return see_other(reverse("pull:slot", args=[slot.pk]))


def _show(request: HttpRequest, pull: Pull, form: SolidsForm | None = None, *, status: int = 200) -> HttpResponse:
    account = account_of(request)
    aim = aim_of(pull.batch.version.coffee)
    slot = slot_of(pull)
    asked = _asked_slot(request, account, pull) if slot is None else None
    may = may_change(account, pull, timezone.localdate())
    pulls = [kept_pull(one) for one in reversed(last_pulls(pull.batch.version.coffee, account))]
    shown = {
        "pull": pull,
        "coffee": pull.batch.version.coffee,
        "slot": slot,
        "again": asked,
        "next_slot": _next_slot(slot or asked, account),
        "reading": reading_of(pull, aim, account),
        "aim": aim,
        "step": next_step(pulls, aim.recipe),
        "is_after": True,
        "limit": JUDGEABLE_TOLERANCES,
        "may_change": may,
        "can_undo": may and can_undo(pull, slot),
        "solids": form or SolidsForm(units=units_of(account)),
    }
    return render(request, "bench/pull/kept.html", shown, status=status)


def _asked_slot(request: HttpRequest, account: Account, pull: Pull) -> Slot | None:
    """Return the slot that this pull was meant for but does not fill."""
    number = request.GET.get("for", "")
    if not number.isascii() or not number.isdigit() or len(number) > 15 or not may_pull_for_tables(account):
        return None
    waiting = Slot.objects.filter(pk=number, batch=pull.batch_id, pull__isnull=True)
    return waiting.exclude(plan__table__state="closed").select_related("plan__table").first()


def _next_slot(slot: Slot | None, account: Account) -> Slot | None:
    """Return the slot of the same table that is to be pulled next."""
    if slot is None or not may_pull_for_tables(account):
        return None
    waiting = Slot.objects.filter(plan=slot.plan_id, pull__isnull=True).exclude(plan__table__state="closed")
    return waiting.select_related("plan__table", "batch").order_by("number").first()


def _find(request: HttpRequest, pull: int) -> Pull:
    seen = Pull.objects.exclude(batch__in=hidden_batches(account_of(request)))
    found: Pull = get_object_or_404(seen.select_related("batch__version__coffee"), pk=pull)
    return found


def _find_to_change(request: HttpRequest, pull: int) -> Pull:
    found = _find(request, pull)
    if not may_change(account_of(request), found, timezone.localdate()):
        raise PermissionDenied(_("A pull of an earlier day is corrected by the lead or the owner."))
    return found


def _back(pull: Pull) -> HttpResponse:
    return see_other(reverse("pull:kept", args=[pull.pk]))
