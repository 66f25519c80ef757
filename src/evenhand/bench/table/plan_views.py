"""Pages on which a table is planned: choose batches, pulls and tasters, and see what that asks of everybody."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from evenhand.bench.models import Seat, TablePlan
from evenhand.bench.once import make_once
from evenhand.bench.people.roles import needs, pen_of
from evenhand.bench.table.answers import see_other
from evenhand.bench.table.choosing import list_choices
from evenhand.bench.table.drawing import count_cups
from evenhand.bench.table.forms import PlanForm, initial_of, mark_of
from evenhand.bench.table.planning import flights, offered_by_draft, plan_table, replan
from evenhand.bench.telling import told
from evenhand.errors import EvenhandError
from evenhand.output.cautions import CAFFEINE_BOUNDS
from evenhand.records.audit import Pen
from evenhand.records.models import Batch, Person, Table

_USUAL = {"black": 2, "milk": 1, "bowl": 0}


@needs("lead")
def plan(request: HttpRequest) -> HttpResponse:
    """Plan a new table; ``?batch=7&batch=9`` ticks batches."""
    if request.method != "POST":
        asked = [
            int(text)
            for text in request.GET.getlist("batch")[:40]
            if text.isascii() and text.isdigit() and len(text) < 20
        ]
        known = list(Batch.objects.filter(pk__in=[pk for pk in asked if pk < 2**63]).values_list("pk", flat=True))
        return _page(request, PlanForm(initial={**_USUAL, "batches": known, "tasters": _last_tasters()}), None)
    form = PlanForm(request.POST)
    if request.POST.get("do") == "plan" and form.is_valid():
        try:
            number, is_new = make_once(request, Table, lambda: _plan(pen_of(request), form))
        except EvenhandError as error:
            form.refuse(error)
        else:
            if is_new:
                said = _("Table %(table)s is planned.") % {"table": Table.objects.get(pk=number).name}
                messages.success(request, said)
            return see_other("table:table", number)
    return _page(request, form, None)


@needs("lead")
def plan_anew(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a planned table: it is drawn anew."""
    standing = get_object_or_404(TablePlan.objects.select_related("table"), table=pk)
    if request.method != "POST":
        return _page(request, PlanForm(initial=initial_of(standing)), standing)
    form = PlanForm(request.POST)
    if request.POST.get("do") == "plan" and form.is_valid() and not _is_overtaken(form, standing):
        try:
            replan(
                pen_of(request),
                standing,
                batches=list(form.cleaned_data["batches"]),
                pulls=form.pulls(),
                tasters=list(form.cleaned_data["tasters"]),
                rng=np.random.default_rng(),
            )
        except EvenhandError as error:
            form.refuse(error)
        else:
            TablePlan.objects.filter(pk=standing.pk).update(note=form.cleaned_data["note"])
            messages.success(
                request,
                _("Table %(table)s is planned anew, with new codes. Print its labels again.")
                % {"table": standing.table.name},
            )
            return see_other("table:table", pk)
    return _page(request, form, standing)


@needs("lead")
@require_POST
def choices(request: HttpRequest) -> HttpResponse:
    """Give the list of batches to choose from, for the words that are typed; a fragment."""
    form = PlanForm(request.POST)
    listed = list_choices(form.chosen("batches"), request.POST.get("find", "")[:200])
    return render(request, "bench/table/choices.html", {"choices": listed})


@needs("lead")
@require_POST
def preview(request: HttpRequest) -> HttpResponse:
    """Say what the table would ask of everybody; a fragment. Nothing is written."""
    return render(request, "bench/table/preview.html", {"preview": _preview(PlanForm(request.POST))})


def _plan(pen: Pen, form: PlanForm) -> int:
    """Plan the table that a form asks for, and return its number."""
    made = plan_table(
        pen,
        batches=list(form.cleaned_data["batches"]),
        pulls=form.pulls(),
        tasters=list(form.cleaned_data["tasters"]),
        rng=np.random.default_rng(),
        note=form.cleaned_data["note"],
    )
    return made.table.pk


def _page(request: HttpRequest, form: PlanForm, standing: TablePlan | None) -> HttpResponse:
    """Show the form; with errors only when a plan was asked for, not while somebody looks for a batch."""
    is_asked = request.POST.get("do") == "plan"
    shown = form if is_asked or not form.is_bound else PlanForm(initial=_typed(form))
    context = {
        "form": shown,
        "plan": standing,
        "choices": list_choices(form.chosen("batches"), request.POST.get("find", "")[:200]),
        "people": Person.objects.filter(is_active=True).order_by("name"),
        "seated": form.chosen("tasters"),
        "services": [shown[name] for name in ("black", "milk", "bowl")],
        "preview": _preview(form),
    }
    return render(request, "bench/table/plan.html", context, status=422 if form.is_bound and is_asked else 200)


def _is_overtaken(form: PlanForm, standing: TablePlan) -> bool:
    """Say whether somebody changed the plan after this page was opened; the form then asks for a second press."""
    if form.cleaned_data["mark"] in ("", mark_of(standing)):
        return False
    said = _(
        "%(table)s was drawn anew, or its seats or its note changed, after you opened this page. Look at it first: "
        "labels may be printed already. A second press draws it as it stands here."
    )
    form.add_error(None, said % {"table": standing.table.name})
    form.renew("mark", mark_of(standing))
    return True


def _typed(form: PlanForm) -> dict[str, Any]:
    return {name: form[name].value() for name in form.fields}


def _preview(form: PlanForm) -> dict[str, Any]:
    """Work out the preview from what is ticked and typed so far, even if it is no whole plan yet."""
    batches = list(Batch.objects.filter(pk__in=form.chosen("batches")).select_related("version__recipe").order_by("pk"))
    tasters = list(Person.objects.filter(pk__in=form.chosen("tasters"), is_active=True).order_by("name"))
    pulls = {name: _count(form[name].value()) for name in ("black", "bowl", "milk")}
    try:
        cups = count_cups(len(batches), pulls, len(tasters))
    except EvenhandError as error:
        return {"problem": told(error)}
    rows = offered_by_draft(batches, pulls, tasters, day=timezone.localdate())
    return {
        "cups": cups,
        "rows": rows,
        "said": _say(rows),
        "by_service": {service: len(batches) * count for service, count in pulls.items() if count},
        "flights": [
            flight for flight in flights({s: len(batches) * n for s, n in pulls.items()}) if flight.flights > 1
        ],
        "bounds": CAFFEINE_BOUNDS,
    }


def _say(rows: Sequence[Any]) -> list[str]:
    """Return each sentence once, in the order in which it comes up."""
    return list(dict.fromkeys(sentence for row in rows for sentence in row.sentences))


def _count(value: Any) -> int:
    text = str(value or 0).strip()
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else 0


def _last_tasters() -> list[int]:
    """Return who sat at the table planned last: often the same people taste again."""
    last = TablePlan.objects.order_by("-planned_at", "-pk").first()
    if last is None:
        return []
    return list(Seat.objects.filter(plan=last, taster__is_active=True).values_list("taster", flat=True))
