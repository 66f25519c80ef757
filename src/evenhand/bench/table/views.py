"""Pages of the tables: the list, one table in each of its states, its labels, and the steps from one to the next."""

from typing import Any

import numpy as np
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Prefetch
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import NoReverseMatch, reverse
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from evenhand.bench.models import Seat, TablePlan
from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.table import planning
from evenhand.bench.table.answers import see_other
from evenhand.bench.table.forms import NoteForm, SeatForm
from evenhand.bench.table.joining import join, join_address
from evenhand.bench.table.revealing import reveal, who_read_the_labels, who_was_sighted
from evenhand.bench.telling import told
from evenhand.errors import EvenhandError
from evenhand.output.cautions import CAFFEINE_BOUNDS
from evenhand.records.models import Batch, Person, Sheet, Shop, Table

__all__ = [
    "back_to_plan",
    "close_it",
    "join",
    "note",
    "open_it",
    "print_labels",
    "remove_it",
    "seat",
    "table",
    "tables",
    "unseat",
    "watch",
]

_ON_A_PAGE = 24


@needs("lead")
@require_safe
def tables(request: HttpRequest) -> HttpResponse:
    """List the tables: open, planned, closed. No batch and no code stands here."""
    under_way = list(Table.objects.exclude(state="closed").select_related("plan").order_by("-pk"))
    counts = planning.progress_counts(under_way)
    closed = Table.objects.filter(state="closed").order_by("-closed_at", "-pk").annotate(cup_count=Count("cups"))
    context = {
        "open": [(row, *counts[row.pk]) for row in under_way if row.state == "open"],
        "planned": [(row, *counts[row.pk]) for row in under_way if row.state == "planned"],
        "closed": Paginator(closed, _ON_A_PAGE).get_page(request.GET.get("page")),
        "has_batches": Batch.objects.exists(),
    }
    return render(request, "bench/table/tables.html", context)


@needs("lead")
@require_safe
def table(request: HttpRequest, pk: int) -> HttpResponse:
    """Show one table as its state asks: to be prepared, watched, or read."""
    return _show(request, get_object_or_404(Table, pk=pk))


@needs("lead")
@require_safe
def watch(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the grid of cups and tasters of an open table; a fragment. A closed one makes the page load again."""
    watched = get_object_or_404(Table, pk=pk)
    if watched.state != "open":
        return HttpResponse(status=204, headers={"HX-Refresh": "true"})
    return render(request, "bench/table/watch.html", {"table": watched, "progress": planning.progress(watched)})


@needs("lead")
@require_safe
def print_labels(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the labels of a table as PDF: slot numbers and codes, no batch."""
    from evenhand.output.labels import CupLabel, labels

    plan = _plan_of(pk)
    shop = Shop.objects.order_by("pk").first()
    address, _reachable = join_address(request, plan)
    try:
        made = labels(
            plan.table.name,
            [CupLabel(slot.number, slot.code, slot.service) for slot in plan.slots.order_by("number")],
            address=address,
            join_code=plan.join_code,
            size=request.GET.get("paper", "a4"),
            is_invented=bool(shop and shop.is_invented),
            words=_label_words(),
        )
    except EvenhandError as error:
        messages.error(request, told(error))
        return see_other("table:table", pk)
    plan.read_labels.add(account_of(request).person)
    name = "".join(sign if sign.isalnum() and sign.isascii() else "-" for sign in plan.table.name)
    disposition = f'inline; filename="labels-{name}.pdf"'
    return HttpResponse(made, content_type="application/pdf", headers={"Content-Disposition": disposition})


@needs("lead")
@require_POST
def open_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Open a planned table."""
    return _step(request, pk, planning.open_table, _("Table %(table)s is open."))


@needs("lead")
@require_POST
def back_to_plan(request: HttpRequest, pk: int) -> HttpResponse:
    """Take the opening back while no sheet came."""
    return _step(request, pk, planning.reopen_plan, _("Table %(table)s is back in its plan."))


@needs("lead")
def close_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask once more, and say who is still awaited; close the table when that is sent."""
    if request.method == "POST":
        return _step(request, pk, planning.close_table, _("Table %(table)s is closed. Here is what each code was."))
    closing = get_object_or_404(Table, pk=pk)
    if closing.state != "open":
        return see_other("table:table", pk)
    return render(request, "bench/table/close.html", {"table": closing, "progress": planning.progress(closing)})


@needs("lead")
@require_POST
def remove_it(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove a planned table for which nothing was pulled."""
    removed = get_object_or_404(Table, pk=pk)
    try:
        planning.remove_table(pen_of(request), removed)
    except EvenhandError as error:
        return _show(request, removed, problem=error)
    messages.success(request, _("Table %(table)s is removed.") % {"table": removed.name})
    return see_other("table:tables")


@needs("lead")
@require_POST
def seat(request: HttpRequest, pk: int) -> HttpResponse:
    """Seat one more taster."""
    plan = _plan_of(pk)
    form = SeatForm(request.POST, plan=plan)
    if form.is_valid():
        taster = form.cleaned_data["taster"]
        try:
            planning.add_taster(pen_of(request), plan, taster, np.random.default_rng())
        except EvenhandError as error:
            form.refuse(error)
        else:
            messages.success(request, _("%(name)s sits at the table now.") % {"name": taster.name})
            return see_other("table:table", pk)
    return _show(request, plan.table, seat_form=form)


@needs("lead")
@require_POST
def unseat(request: HttpRequest, pk: int, person: int) -> HttpResponse:
    """Take a seat away again while no sheet of that taster is in."""
    plan, taster = _plan_of(pk), get_object_or_404(Person, pk=person)
    try:
        planning.remove_taster(pen_of(request), plan, taster)
    except EvenhandError as error:
        return _show(request, plan.table, problem=error)
    messages.success(request, _("%(name)s does not sit at the table any more.") % {"name": taster.name})
    return see_other("table:table", pk)


@needs("lead")
@require_POST
def note(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep words about a table."""
    plan, form = _plan_of(pk), NoteForm(request.POST)
    if not form.is_valid():
        return _show(request, plan.table, note_form=form)
    plan.note = form.cleaned_data["note"]
    plan.save(update_fields=["note"])
    messages.success(request, _("The note is kept."))
    return see_other("table:table", pk)


def _step(request: HttpRequest, pk: int, step: Any, done: str) -> HttpResponse:
    """Take a table from one state to the next, or say on its page why not."""
    moved = get_object_or_404(Table, pk=pk)
    try:
        step(pen_of(request), moved)
    except EvenhandError as error:
        return _show(request, Table.objects.get(pk=pk), problem=error)
    messages.success(request, done % {"table": moved.name})
    return see_other("table:table", pk)


def _plan_of(pk: int) -> TablePlan:
    return get_object_or_404(TablePlan.objects.select_related("table"), table=pk)


def _show(
    request: HttpRequest,
    shown: Table,
    *,
    problem: EvenhandError | None = None,
    seat_form: SeatForm | None = None,
    note_form: NoteForm | None = None,
) -> HttpResponse:
    """Show one table; batches stand on the page of a planned one, codes on that of an open one, both when closed."""
    seats = Prefetch("seats", Seat.objects.select_related("taster").order_by("taster__name"))
    plans = TablePlan.objects.select_related("table").prefetch_related(seats)
    plan = plans.filter(table=shown).first()
    if shown.state != "closed" and plan is None:
        raise Http404(f"Table {shown.name} has no plan.")
    context: dict[str, Any] = {"table": shown, "plan": plan, "problem": problem}
    if plan is not None:
        context["note_form"] = note_form or NoteForm(initial={"note": plan.note})
        context["seat_form"] = seat_form or SeatForm(plan=plan)
    if shown.state == "planned":
        assert plan is not None
        context |= _planned(plan)
    elif shown.state == "open":
        context["progress"] = planning.progress(shown)
        context["can_go_back"] = not Sheet.objects.filter(cup__table=shown).exists()
    else:
        context["sighted"] = who_was_sighted(shown)
        context["readers"] = who_read_the_labels(shown)
        context["revealed"] = [(row, _verdict_address(row.batch)) for row in reveal(shown)]
    if plan is not None and shown.state != "closed":
        context |= _way_in(request, plan)
        person = account_of(request).person
        context["sits_here"] = plan.seats.filter(taster=person).exists()
    refused = problem is not None or any(form is not None and form.errors for form in (seat_form, note_form))
    return render(request, f"bench/table/{shown.state}.html", context, status=422 if refused else 200)


def _planned(plan: TablePlan) -> dict[str, Any]:
    rows = planning.offered(plan)
    by_service: dict[str, int] = {}
    poured = 0
    for service, pull in plan.slots.order_by("number").values_list("service", "pull"):
        by_service[service] = by_service.get(service, 0) + 1
        poured += pull is not None
    batches = Batch.objects.filter(slots__plan=plan).select_related("version__coffee").distinct().order_by("label")
    return {
        "batches": batches,
        "rows": rows,
        "said": list(dict.fromkeys(sentence for row in rows for sentence in row.sentences)),
        "by_service": by_service,
        "cups": sum(by_service.values()),
        "poured": poured,
        "flights": [flight for flight in planning.flights(by_service) if flight.flights > 1],
        "bounds": CAFFEINE_BOUNDS,
    }


def _way_in(request: HttpRequest, plan: TablePlan) -> dict[str, Any]:
    from evenhand.output.labels import draw_qr

    address, reachable = join_address(request, plan)
    host, slash, path = address.partition("/T/")
    return {"qr": draw_qr(address)[0], "host": host, "path": slash + path, "is_reachable": reachable}


def _verdict_address(batch: Batch) -> str:
    """Return where the verdict of a batch is, empty if that room has no page for it."""
    try:
        return reverse("verdict:verdict", args=[batch.pk])
    except NoReverseMatch:
        return ""


def _label_words() -> Any:
    from evenhand.output.labels import LabelWords

    return LabelWords(
        language=get_language() or "en",
        title=_("Labels of table {table}"),
        slot=_("Pull {number}"),
        scan=_("QR code that leads to the table: {address}"),
        how=_("Cut along the lines; stick each on its cup"),
        black=_("Black"),
        bowl=_("Bowl"),
        milk=_("In milk"),
        hot=_("Hot: let it cool before you taste."),
        allergen=_("Contains milk, an allergen."),
        invented=_("Invented data"),
        caution=_("Coffee holds caffeine. Coffee, water and steam scald."),
    )
