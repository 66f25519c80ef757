"""Forms of this room: a batch, a green lot, a reading of a lot, a spell of storage."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from evenhand.bench.coffee.fields import DayField, NamesField, RoastTimeField
from evenhand.bench.forms import NumberField
from evenhand.bench.quantities import UnitField, UnitForm
from evenhand.records.models import GreenLot


def _text(label: Any, **kwargs: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=200, **kwargs)


class BatchForm(UnitForm):
    """One roast and what was measured of it."""

    labels = ("label", "colour_scale")

    label = _text(_("Label"), help_text=_("As it stands on the bag."))
    roasted_on = DayField(label=_("Roasted on"))
    green_in_kg = UnitField(label=_("Green in"), kind="green", required=False)
    roasted_out_kg = UnitField(label=_("Roasted out"), kind="green", required=False)
    green_moisture_pct = NumberField(label=_("Moisture of the green"), unit="%", required=False)
    roasted_moisture_pct = NumberField(label=_("Moisture of the roast"), unit="%", required=False)
    colour = NumberField(label=_("Colour"), required=False)
    colour_scale = _text(
        _("Scale of the colour"),
        required=False,
        help_text=_("What the meter reads in; batches on different scales are never compared."),
    )
    roast_time_s = RoastTimeField(label=_("Roast time"), required=False)
    lots = forms.TypedMultipleChoiceField(
        label=_("Green lots"), coerce=int, required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, lots: Sequence[GreenLot] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if lots:
            self.fields["lots"].choices = [(lot.pk, lot.name) for lot in lots]  # type: ignore[attr-defined]
        else:
            del self.fields["lots"]


class LotForm(UnitForm):
    """One delivery of green coffee."""

    labels = ("name", "origin", "producers", "varieties", "process", "harvest")

    name = _text(_("Name of the lot"))
    origin = _text(_("Origin"), required=False)
    producers = NamesField(label=_("Producers"), required=False, help_text=_("One a line."))
    varieties = NamesField(label=_("Varieties"), required=False, help_text=_("One a line."))
    process = _text(_("Process"), required=False)
    elevation_low_m = NumberField(label=_("Elevation, from"), unit="m", required=False)
    elevation_high_m = NumberField(label=_("Elevation, to"), unit="m", required=False)
    harvest = _text(_("Harvest"), required=False, help_text=_("As the trade writes it, such as 2025/26."))
    harvested_on = DayField(
        label=_("Middle of the picking"), required=False, help_text=_("Its age is counted from this day.")
    )
    arrived_on = DayField(label=_("Arrived on"), required=False)
    green_kg = UnitField(label=_("Delivered"), kind="green", required=False)
    bag_kg = UnitField(label=_("One bag"), kind="green", required=False)
    note = forms.CharField(label=_("Note"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 2}))


class ReadingForm(UnitForm):
    """Moisture and water activity of a lot on one day."""

    read_on = DayField(label=_("Read on"))
    moisture_pct = NumberField(label=_("Moisture"), unit="%", required=False)
    moisture_method = _text(
        _("Method of the moisture"),
        required=False,
        help_text=_("Such as “oven, 105 °C, 16 h” or the meter’s name: moistures by different methods differ."),
    )
    water_activity = NumberField(label=_("Water activity"), required=False, help_text=_("Between 0 and 1."))
    water_activity_c = UnitField(label=_("Temperature of that reading"), kind="temperature", required=False)


class StorageForm(UnitForm):
    """How a lot is stored from a day on."""

    stored_from = DayField(label=_("From"))
    temperature_c = UnitField(label=_("Temperature of the store"), kind="temperature", required=False)
    water_activity = NumberField(
        label=_("Relative humidity as water activity"), required=False, help_text=_("60 % is written 0.60.")
    )
    packaging = forms.ChoiceField(
        label=_("Packaging"),
        required=False,
        choices=(("", "–"), ("breathing", _("breathing")), ("airtight", _("airtight"))),
    )


def known(form: forms.Form, *left_out: str) -> dict[str, Any]:
    """Return what was typed, empty texts as unknown."""
    return {name: None if value == "" else value for name, value in form.cleaned_data.items() if name not in left_out}
