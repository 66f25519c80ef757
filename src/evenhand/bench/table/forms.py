"""The forms of this room: a plan, a seat more, a note."""

from typing import Any, ClassVar

from django import forms
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm
from evenhand.bench.models import TablePlan
from evenhand.bench.once import new_token
from evenhand.bench.table.drawing import SERVICES
from evenhand.records.canonical import digest
from evenhand.records.models import Batch, Person

_MOST_PULLS = 40


class CountField(forms.IntegerField):
    """A small count that is typed; empty is 0."""

    widget = forms.TextInput
    default_error_messages: ClassVar[dict[str, Any]] = {"invalid": _("Write a whole number, such as 2.")}

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=_MOST_PULLS, required=False, **kwargs)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        """Ask for the keypad with digits."""
        return {"inputmode": "numeric", "autocomplete": "off"}

    def clean(self, value: Any) -> int:
        """Return the count."""
        return super().clean(value) or 0


def _batches() -> Any:
    return Batch.objects.select_related("version__coffee", "version__recipe").order_by("-roasted_on", "-pk")


class PlanForm(BenchForm):
    """What is on a table, how it is served, and who sits at it."""

    batches = forms.ModelMultipleChoiceField(
        queryset=Batch.objects.none(),
        label=_("Batches"),
        error_messages={
            "required": _("Choose at least one batch."),
            "invalid_choice": _("A batch that was chosen is not in the records any more; choose again."),
            "invalid_pk_value": _("A batch that was chosen is not in the records any more; choose again."),
        },
    )
    black = CountField(label=_("Black"))
    milk = CountField(label=_("In milk"))
    bowl = CountField(label=_("Bowl"))
    tasters = forms.ModelMultipleChoiceField(
        queryset=Person.objects.none(),
        label=_("Tasters"),
        error_messages={
            "required": _("Choose at least one taster."),
            "invalid_choice": _("Somebody who was chosen does not work here any more; choose again."),
            "invalid_pk_value": _("Somebody who was chosen does not work here any more; choose again."),
        },
    )
    note = forms.CharField(
        label=_("Note"), required=False, max_length=2000, widget=forms.Textarea({"rows": 2, "autocomplete": "off"})
    )

    mark = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    once = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.is_bound:
            self.initial["once"] = self.initial.get("once") or new_token()
        self.fields["batches"].queryset = _batches()  # type: ignore[attr-defined]
        self.fields["tasters"].queryset = Person.objects.filter(is_active=True).order_by("name")  # type: ignore[attr-defined]

    def pulls(self) -> dict[str, int]:
        """Return the pulls of each batch by service; of a form that was checked."""
        return {service: self.cleaned_data.get(service) or 0 for service in SERVICES}

    def chosen(self, name: str) -> set[int]:
        """Return the numbers of the batches or tasters that are ticked, checked or not."""
        found = set()
        for value in self[name].value() or ():
            number = getattr(value, "pk", value)
            if str(number).isascii() and str(number).isdigit() and len(str(number)) < 18:
                found.add(int(number))
        return found


def initial_of(plan: TablePlan) -> dict[str, Any]:
    """Return a plan as the form shows it."""
    slots = list(plan.slots.all())
    batches = {slot.batch_id for slot in slots}
    counts = {service: sum(slot.service == service for slot in slots) // max(len(batches), 1) for service in SERVICES}
    return {
        "mark": mark_of(plan),
        "batches": sorted(batches),
        "tasters": list(plan.seats.values_list("taster", flat=True)),
        "note": plan.note,
        **counts,
    }


def mark_of(plan: TablePlan) -> str:
    """Return what tells one state of a plan from another: when it was drawn, who sits there, its note."""
    seats = sorted(plan.seats.values_list("taster", flat=True))
    return digest([plan.planned_at.isoformat(), seats, plan.note])


class SeatForm(BenchForm):
    """One more taster at a table."""

    taster = forms.ModelChoiceField(
        queryset=Person.objects.none(),
        label=_("Seat one more taster"),
        empty_label=_("Choose a name"),
        error_messages={"required": _("Choose a name."), "invalid_choice": _("Choose a name from the list.")},
    )

    def __init__(self, *args: Any, plan: TablePlan, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        free = Person.objects.filter(is_active=True).exclude(seats__plan=plan).order_by("name")
        self.fields["taster"].queryset = free  # type: ignore[attr-defined]


class NoteForm(BenchForm):
    """Words about a table."""

    note = forms.CharField(label=_("Note"), required=False, max_length=2000, widget=forms.Textarea({"rows": 3}))
