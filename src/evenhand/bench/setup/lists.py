"""Set-up of what tasters are asked: the attributes with their scales, the faults, and the words that are offered."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.functional import Promise
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST

from evenhand.bench.forms import BenchForm, NumberField
from evenhand.bench.people.roles import needs, pen_of
from evenhand.bench.setup.pages import answer, press
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import Attribute, Fault, Table, Word


class ScaleForm(BenchForm):
    """An attribute and the ends of its scale."""

    labels = ("name",)

    name = forms.CharField(label=_("Attribute"), max_length=200)
    scale_low = NumberField(label=_("Low end"), initial=0.0)
    scale_high = NumberField(label=_("High end"), initial=10.0)


class NamesForm(BenchForm):
    """One or several names to add to a list."""

    label_lists = ("names",)

    names = forms.CharField(
        label=_("Add"), max_length=2000, help_text=_("One, or several divided by commas."), widget=forms.TextInput()
    )


@dataclass(frozen=True, slots=True)
class Sort:
    """One of the two lists of names."""

    model: type[Fault] | type[Word]
    title: str | Promise
    what: str | Promise


LISTS = {
    "faults": Sort(
        Fault, _("Faults"), _("Tasters are asked about these on every sheet. One that is not asked keeps its answers.")
    ),
    "words": Sort(Word, _("Words"), _("These are offered to tasters as free words; they may write others.")),
}


@needs("lead")
def scales(request: HttpRequest) -> HttpResponse:
    """List the attributes, and add one."""

    def write(form: ScaleForm) -> str:
        pen_of(request).make(Attribute(**form.cleaned_data))
        return _now("Added. It is asked at the table once a coffee has a target for it.")

    rows = [(row, row.is_in_use()) for row in Attribute.objects.order_by("name")]
    form = ScaleForm(request.POST or None)
    return answer(request, form, "bench/setup/scales.html", write, to="setup:scales", rows=rows)


@needs("lead")
def scale(request: HttpRequest, pk: int) -> HttpResponse:
    """Change an attribute's name, and its scale while nothing was scored or aimed at on it."""
    row = get_object_or_404(Attribute, pk=pk)

    def write(form: ScaleForm) -> str:
        with writing():  # no table opens in between
            if form.cleaned_data["name"] != row.name:
                refuse_while_open(row.name)
            pen_of(request).change(row, **form.cleaned_data)
        return _now("Kept.")

    start = {"name": row.name, "scale_low": row.scale_low, "scale_high": row.scale_high}
    form = ScaleForm(request.POST or None, initial=start)
    told: dict[str, Any] = {"attribute": row, "in_use": row.is_in_use()}
    return answer(request, form, "bench/setup/scale.html", write, to=reverse("setup:scale", args=[pk]), **told)


@require_POST
@needs("lead")
def remove_scale(request: HttpRequest, pk: int) -> HttpResponse:
    """Remove an attribute that nothing points at."""
    row = get_object_or_404(Attribute, pk=pk)

    def write() -> str:
        pen_of(request).remove(row)
        return _now("“%(name)s” was removed.") % {"name": row.name}

    return press(request, write, to="setup:scales")


@needs("lead")
def names(request: HttpRequest, sort: str) -> HttpResponse:
    """List the faults or the words, and add some."""
    found = _sort(sort)

    def write(form: NamesForm) -> str:
        added = add_names(pen_of(request), found.model, form.cleaned_data["names"])
        return (
            _now("Added: %(names)s.") % {"names": ", ".join(added)} if added else _now("They were all there already.")
        )

    rows = found.model.objects.order_by("-is_active", "name")
    form = NamesForm(request.POST or None)
    told: dict[str, Any] = {"rows": rows, "sort": sort, "title": found.title, "what": found.what}
    return answer(request, form, "bench/setup/names.html", write, to=reverse("setup:names", args=[sort]), **told)


@require_POST
@needs("lead")
def change_name(request: HttpRequest, sort: str, pk: int) -> HttpResponse:
    """Ask about a fault or offer a word again, stop it, or remove one that nobody used."""
    row: Any = get_object_or_404(_sort(sort).model, pk=pk)
    deed = request.POST.get("deed", "")

    def write() -> str:
        pen, name = pen_of(request), {"name": row.name}
        if deed == "remove":
            with writing():  # no table opens in between
                if isinstance(row, Fault):
                    refuse_while_open(row.name)
                pen.remove(row)
            return _now("“%(name)s” was removed.") % name
        pen.change(row, is_active=deed == "on")
        if sort == "faults":
            said = _now("“%(name)s” is asked again.") if deed == "on" else _now("“%(name)s” is not asked now.")
        else:
            said = _now("“%(name)s” is offered again.") if deed == "on" else _now("“%(name)s” is not offered now.")
        return said % name

    return press(request, write, to=reverse("setup:names", args=[sort]))


def refuse_while_open(name: str) -> None:
    """Refuse to take a name away while a table is open: sheets that wait on a phone hold it.

    Raises
    ------
    RecordError
        When a table is open.
    """
    if tables := list(Table.objects.filter(state="open").order_by("pk").values_list("name", flat=True)):
        raise RecordError(
            _now("Sheets that wait on a phone may hold the name “%(name)s”: close first %(tables)s.")
            % {"name": name, "tables": ", ".join(tables)}
        )


def add_names(pen: Pen, model: type[Fault] | type[Word], text: str) -> list[str]:
    """Add names that are divided by commas; one that is off is on again, one that is there is left.

    Returns
    -------
    list of str
        What was added or is on again.
    """
    added = []
    with writing():
        for name in dict.fromkeys(" ".join(part.split()) for part in text.split(",")):
            if not name:
                continue
            row: Any = model.objects.filter(name__iexact=name).first()
            if row is None:
                pen.make(model(name=name))
            elif not row.is_active:
                pen.change(row, is_active=True)
            else:
                continue
            added.append(name)
    return added


def _sort(name: str) -> Sort:
    if name not in LISTS:
        raise Http404
    return LISTS[name]
