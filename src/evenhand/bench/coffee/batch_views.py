"""Views that write batches down, correct them, and take a slip back."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from evenhand.bench.coffee.forms import BatchForm, known
from evenhand.bench.coffee.writing import correct_batch, remove_batch, write_batch
from evenhand.bench.hub import hint
from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.telling import told as in_words
from evenhand.errors import EvenhandError
from evenhand.records.coffees import current_coffee
from evenhand.records.models import Batch, Coffee, GreenLot
from evenhand.records.models._tasting import BATCH_MEASURES

_LOTS_SHOWN = 12


@needs("lead")
def add_batch(request: HttpRequest, number: int) -> HttpResponse:
    """Write a new batch of a coffee down."""
    coffee = get_object_or_404(Coffee, pk=number)
    version = current_coffee(coffee.name)
    lots = _lots(coffee, set())
    last = Batch.objects.filter(version__coffee=coffee).order_by("-roasted_on", "-pk").first()
    initial = {
        "roasted_on": timezone.localdate(),
        "colour_scale": last.colour_scale if last is not None else None,
        "lots": [version.green_lot_id] if version is not None and version.green_lot_id is not None else [],
    }
    form = BatchForm(request.POST or None, units=account_of(request).units, lots=lots, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            batch = write_batch(pen_of(request), coffee, form.cleaned_data.get("lots", ()), known(form, "lots"))
        except EvenhandError as error:
            form.refuse(error)
        else:
            _tell_pages(batch)
            messages.success(request, _("Batch %(batch)s is written down.") % {"batch": batch.label})
            again = "another" in request.POST
            return redirect("coffee:add-batch", number=coffee.pk) if again else redirect("coffee:batch", batch.pk)
    told = {"coffee": coffee, "form": form}
    return render(request, "bench/coffee/add_batch.html", told, status=422 if form.errors else 200)


@needs("lead")
def batch(request: HttpRequest, number: int) -> HttpResponse:
    """Correct a batch."""
    found = get_object_or_404(Batch.objects.select_related("version__coffee"), pk=number)
    chosen = set(found.lots.values_list("lot_id", flat=True))
    initial: dict[str, Any] = {name: getattr(found, name) for name in ("label", "roasted_on", *BATCH_MEASURES)}
    initial["lots"] = sorted(chosen)
    lots = _lots(found.version.coffee, chosen)
    form = BatchForm(request.POST or None, units=account_of(request).units, lots=lots, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            correct_batch(pen_of(request), found, form.cleaned_data.get("lots"), known(form, "lots"))
        except EvenhandError as error:
            form.refuse(error)
        else:
            _tell_pages(found)
            messages.success(request, _("Batch %(batch)s is corrected.") % {"batch": found.label})
            return redirect("coffee:batch", number=found.pk)
    can_go = not found.pulls.exists() and not found.slots.exists() and not found.verdicts.exists()
    told = {"batch": found, "form": form, "can_go": can_go}
    return render(request, "bench/coffee/batch.html", told, status=422 if form.errors else 200)


@require_POST
@needs("lead")
def drop_batch(request: HttpRequest, number: int) -> HttpResponse:
    """Take away a batch that was written down by a slip."""
    found = get_object_or_404(Batch.objects.select_related("version__coffee"), pk=number)
    coffee = found.version.coffee_id
    try:
        remove_batch(pen_of(request), found)
    except EvenhandError as error:
        messages.error(request, in_words(error))
        return redirect("coffee:batch", number=number)
    hint("judged", "today", f"coffee-{coffee}")
    messages.success(request, _("The batch is taken away; the history keeps what it was."))
    return redirect("coffee:coffee", number=coffee)


def _lots(coffee: Coffee, chosen: set[int]) -> list[GreenLot]:
    """Return the lots to choose from: those in use, those of this coffee, and the latest arrivals."""
    of_coffee = GreenLot.objects.filter(coffees__coffee=coffee).values_list("pk", flat=True)
    latest = GreenLot.objects.order_by("-arrived_on", "-pk").values_list("pk", flat=True)[:_LOTS_SHOWN]
    return list(GreenLot.objects.filter(pk__in={*chosen, *of_coffee, *latest}).order_by("name"))


def _tell_pages(batch: Batch) -> None:
    hint("judged", "today", f"coffee-{batch.version.coffee_id}")
