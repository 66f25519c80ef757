"""Views of green lots: their list, one lot, its readings and how it is stored."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from evenhand.bench.coffee.forms import LotForm, ReadingForm, StorageForm, known
from evenhand.bench.coffee.writing import correct_lot, write_lot
from evenhand.bench.hub import hint
from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.quantities import UnitForm
from evenhand.bench.telling import told
from evenhand.errors import EvenhandError
from evenhand.records.models import GreenLot, GreenReading, GreenStorage, Kept
from evenhand.records.models._green import LOT_DETAILS, READING_MEASURES, STORAGE_MEASURES

_NAMES = ("producers", "varieties")


@needs("lead")
def lots(request: HttpRequest) -> HttpResponse:
    """Show the list of green lots."""
    rows = GreenLot.objects.prefetch_related("readings").order_by("-arrived_on", "-pk")
    return render(request, "bench/coffee/lots.html", {"rows": rows, "here": "lots"})


@needs("lead")
def add_lot(request: HttpRequest) -> HttpResponse:
    """Write a delivery of green down."""
    form = LotForm(request.POST or None, units=account_of(request).units, initial={"arrived_on": timezone.localdate()})
    if request.method == "POST" and form.is_valid():
        names = [form.cleaned_data[name] for name in _NAMES]
        try:
            lot = write_lot(pen_of(request), known(form, *_NAMES), *names)
        except EvenhandError as error:
            form.refuse(error)
        else:
            messages.success(request, _("Green lot %(lot)s is written down.") % {"lot": lot.name})
            return redirect("coffee:lot", number=lot.pk)
    return render(request, "bench/coffee/add_lot.html", {"form": form}, status=422 if form.errors else 200)


@needs("lead")
def lot(request: HttpRequest, number: int) -> HttpResponse:
    """Show one lot, and correct it."""
    found = get_object_or_404(GreenLot, pk=number)
    initial: dict[str, Any] = {name: getattr(found, name) for name in ("name", *LOT_DETAILS, "note")}
    initial["producers"] = list(found.producers.order_by("pk").values_list("name", flat=True))
    initial["varieties"] = list(found.varieties.order_by("pk").values_list("name", flat=True))
    form = LotForm(request.POST or None, units=account_of(request).units, initial=initial)
    if request.method == "POST" and form.is_valid():
        names = [form.cleaned_data[name] for name in _NAMES]
        try:
            correct_lot(pen_of(request), found, known(form, *_NAMES), *names)
        except EvenhandError as error:
            form.refuse(error)
        else:
            hint("today")
            messages.success(request, _("Green lot %(lot)s is corrected.") % {"lot": found.name})
            return redirect("coffee:lot", number=found.pk)
    shown = {
        "lot": found,
        "form": form,
        "readings": found.readings.order_by("-read_on"),
        "storage": found.storage.order_by("-stored_from"),
    }
    return render(request, "bench/coffee/lot.html", shown, status=422 if form.errors else 200)


@needs("lead")
def add_reading(request: HttpRequest, number: int) -> HttpResponse:
    """Write a reading of a lot down; the method of the last one is offered."""
    last = GreenReading.objects.filter(lot=number, moisture_method__isnull=False).order_by("-read_on").first()
    initial = {"read_on": timezone.localdate(), "moisture_method": last.moisture_method if last is not None else None}
    return _add(request, number, ReadingForm, _("Reading"), initial, lambda **values: GreenReading(**values))


@needs("lead")
def add_storage(request: HttpRequest, number: int) -> HttpResponse:
    """Write down how a lot is stored from a day on."""
    initial = {"stored_from": timezone.localdate()}
    return _add(request, number, StorageForm, _("Storage"), initial, lambda **values: GreenStorage(**values))


@needs("lead")
def reading(request: HttpRequest, number: int) -> HttpResponse:
    """Correct a reading."""
    found = get_object_or_404(GreenReading.objects.select_related("lot"), pk=number)
    return _correct(request, found, found.lot, ReadingForm, _("Reading"), ("read_on", *READING_MEASURES))


@needs("lead")
def storage(request: HttpRequest, number: int) -> HttpResponse:
    """Correct a spell of storage."""
    found = get_object_or_404(GreenStorage.objects.select_related("lot"), pk=number)
    return _correct(request, found, found.lot, StorageForm, _("Storage"), ("stored_from", *STORAGE_MEASURES))


@require_POST
@needs("lead")
def drop_reading(request: HttpRequest, number: int) -> HttpResponse:
    """Take a reading away that was written down by a slip."""
    found = get_object_or_404(GreenReading, pk=number)
    return _drop(request, found, found.lot_id)


@require_POST
@needs("lead")
def drop_storage(request: HttpRequest, number: int) -> HttpResponse:
    """Take a spell of storage away that was written down by a slip."""
    found = get_object_or_404(GreenStorage, pk=number)
    return _drop(request, found, found.lot_id)


def _add(
    request: HttpRequest,
    number: int,
    form_class: type[UnitForm],
    heading: str,
    initial: dict[str, Any],
    make: Callable[..., Kept],
) -> HttpResponse:
    of_lot = get_object_or_404(GreenLot, pk=number)
    form = form_class(request.POST or None, units=account_of(request).units, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            pen_of(request).make(make(lot=of_lot, **known(form)))
        except EvenhandError as error:
            form.refuse(error)
        else:
            hint("today")
            messages.success(request, _("Written down."))
            return redirect("coffee:lot", number=of_lot.pk)
    shown = {"lot": of_lot, "form": form, "heading": heading}
    return render(request, "bench/coffee/of_lot.html", shown, status=422 if form.errors else 200)


def _correct(
    request: HttpRequest,
    found: Kept,
    of_lot: GreenLot,
    form_class: type[UnitForm],
    heading: str,
    fields: tuple[str, ...],
) -> HttpResponse:
    initial = {name: getattr(found, name) for name in fields}
    form = form_class(request.POST or None, units=account_of(request).units, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            pen_of(request).change(found, **known(form))
        except EvenhandError as error:
            form.refuse(error)
        else:
            hint("today")
            messages.success(request, _("Corrected."))
            return redirect("coffee:lot", number=of_lot.pk)
    drop = "coffee:drop-reading" if isinstance(found, GreenReading) else "coffee:drop-storage"
    shown = {"lot": of_lot, "form": form, "heading": heading, "found": found, "drop": drop}
    return render(request, "bench/coffee/of_lot.html", shown, status=422 if form.errors else 200)


def _drop(request: HttpRequest, found: Kept, of_lot: int) -> HttpResponse:
    try:
        pen_of(request).remove(found)
    except EvenhandError as error:
        messages.error(request, told(error))
    else:
        hint("today")
        messages.success(request, _("Taken away; the history keeps what it was."))
    return redirect("coffee:lot", number=of_lot)
