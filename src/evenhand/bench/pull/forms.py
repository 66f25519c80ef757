"""The form of a pull: typed with wet hands, by keypad, or by a scale that ends each weight with Enter."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import NumberField
from evenhand.bench.once import new_token
from evenhand.bench.quantities import US, UnitField, UnitForm, show
from evenhand.bench.telling import told
from evenhand.espresso.extraction import HAND_SD_S
from evenhand.records._refusals import FieldError
from evenhand.records.models import Pull
from evenhand.records.models._fields import check_text
from evenhand.records.models._limits import check_number

MEASURED = ("dose_g", "beverage_g", "time_s", "water_c", "pressure_bar", "tds_pct", "time_sd_s")
_WATER_C = (0.0, 130.0)  # as in records.rows.Pull


class PullForm(UnitForm):
    """What was measured of one shot; what was not is left empty, never filled with the recipe's value.

    Parameters
    ----------
    last_setting
        What the grinder showed last: shown in grey as a reminder, never as a value.
    """

    labels = ("grind_setting",)

    dose_g = NumberField(label=_("Dose"), unit="g")
    beverage_g = NumberField(label=_("Beverage"), unit="g")
    time_s = NumberField(label=_("Time"), unit="s")
    grind_setting = forms.CharField(
        label=_("Grind setting"), required=False, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    water_c = UnitField(kind="temperature", label=_("Water temperature"), required=False)
    pressure_bar = NumberField(label=_("Pressure"), unit="bar", required=False)
    tds_pct = NumberField(label=_("Dissolved solids (TDS)"), unit="%", required=False)
    time_sd_s = NumberField(
        label=_("Uncertainty of the time"),
        unit="s",
        required=False,
        help_text=_("One standard deviation, for a time that this page did not take."),
    )
    watched_s = NumberField(required=False, widget=forms.HiddenInput)
    once = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def __init__(self, *args: Any, last_setting: str | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if last_setting:
            self.fields["grind_setting"].widget.attrs["placeholder"] = _now("last: %(setting)s") % {
                "setting": last_setting
            }
        if not self.is_bound:
            self.initial.setdefault("once", new_token())

    def clean(self) -> dict[str, Any]:
        """Hold each field to the limits of the records, so that the error stands beside its input."""
        found = super().clean() or {}
        for name in (*MEASURED, "grind_setting"):
            column: Any = Pull._meta.get_field(name)
            value = found.get(name)
            try:
                check_number(column, value, Pull.row)
                check_text(column, value or None)
            except FieldError as error:
                self.add_error(name, self._say(name, error))
        return found

    def _say(self, name: str, error: FieldError) -> str:
        """Say what a record refuses, in the units in which it was typed."""
        field = self.fields[name]
        if isinstance(field, UnitField) and field.units == US:
            low, high = (show(bound, "temperature", US) for bound in _WATER_C)
            return _now("Water lies between %(low)s and %(high)s.") % {"low": low, "high": high}
        return told(error.reason)

    def known(self) -> dict[str, float | None]:
        """Return what reads as a number so far, by column; call `is_valid` or `full_clean` first."""
        return {name: self.cleaned_data.get(name) for name in MEASURED} | {"time_sd_s": self.time_sd()}

    def values(self) -> dict[str, Any]:
        """Return the columns of the pull as the records take them."""
        return {**self.known(), "grind_setting": self.cleaned_data.get("grind_setting") or None}

    def time_sd(self) -> float | None:
        """Return the standard deviation of the time: as given, that of a hand on this page's watch, or None.

        A time that was typed says nothing of how it was taken.
        """
        given, watched = self.cleaned_data.get("time_sd_s"), self.cleaned_data.get("watched_s")
        if given is not None:
            return float(given)
        return HAND_SD_S if watched is not None and watched == self.cleaned_data.get("time_s") else None


class CorrectionForm(PullForm):
    """The same for a pull that stands in the records already.

    Its mark is the digest of the pull as the page showed it, so that nobody overwrites what another added meanwhile.
    """

    mark = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)

    def is_overtaken(self) -> bool:
        """Say whether the pull has changed since the page was made; what stands is then told, and the mark renewed."""
        if self.cleaned_data["mark"] in ("", self.initial["mark"]):
            return False
        told = []
        for name in (*MEASURED, "grind_setting"):
            if self.cleaned_data.get(name) != (standing := self.initial[name]):
                value = self.fields[name].prepare_value(standing)
                shown = _now("empty") if value in (None, "") else value
                told.append(f"{self.fields[name].label} {shown}")
        self.add_error(
            None,
            _now(
                "Somebody corrected this pull after you opened it. Now it says: %(values)s. Type that in where it is "
                "right, and save again."
            )
            % {"values": "; ".join(told) or _now("the same as you typed")},
        )
        self.renew("mark", self.initial["mark"])
        return True

    def time_sd(self) -> float | None:
        """Return the standard deviation as it stands; a time typed anew loses one that nobody gave for it."""
        given: float | None = self.cleaned_data.get("time_sd_s")
        anew = self.cleaned_data.get("time_s") != self.initial.get("time_s")
        return None if anew and given == self.initial.get("time_sd_s") else given


class SolidsForm(UnitForm):
    """Dissolved solids alone, read when the shot has cooled."""

    tds_pct = NumberField(label=_("Dissolved solids (TDS)"), unit="%")

    def clean_tds_pct(self) -> float | None:
        """Hold it to the limits of the records."""
        value: float | None = self.cleaned_data["tds_pct"]
        try:
            check_number(Pull._meta.get_field("tds_pct"), value, Pull.row)
        except FieldError as error:
            raise forms.ValidationError(told(error.reason)) from error
        return value
