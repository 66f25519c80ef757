"""The forms of the first run."""

from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm, NumberField
from evenhand.bench.people.forms import OPTIONAL, SecretsForm, name_field, password_field, pin_field
from evenhand.bench.start import suggestions as suggested
from evenhand.bench.start.first import Answers, Owner

COSTS = {
    "wrong_release": (
        _("A bad batch goes out"),
        _("What it costs on average: coffee taken back, customers lost, all in one currency."),
    ),
    "wrong_hold": (_("A good batch is held"), _("What it costs on average: green, time, and shelves that stay empty.")),
    "one_pull": (_("One more pull"), _("Coffee, and the time of whoever pulls it.")),
    "one_taste": (_("One more cup tasted"), _("The time of one taster for one cup.")),
    "prior_bad": (
        _("Share of bad batches"),
        _("How many of your batches are off before anybody tastes: 0.12 is 12 in 100. A guess will do."),
    ),
}


class CodeForm(BenchForm):
    """The code that stands in the terminal."""

    code = forms.CharField(
        label=_("Code of the first run"),
        max_length=40,
        widget=forms.TextInput({"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
        help_text=_("Twelve letters and digits; they stand in the terminal where the bench was started."),
    )


class OwnerForm(SecretsForm):
    """The first owner: name, password, PIN, and whether this device is the shop's."""

    labels: ClassVar[tuple[str, ...]] = ("name",)

    name = name_field(_("Your name"), help_text=_("As it stands on sheets and verdicts."))
    password = password_field(_("Password"), new=True, help_text=_("At least 10 characters; a few words are best."))
    again = password_field(_("Password again"), new=True)
    pin = pin_field(_("PIN"), required=False, help_text=_("4 to 8 digits, for the shop’s own devices."))
    is_shops = forms.BooleanField(
        label=_("This device belongs to the shop: names and PINs are enough on it"), required=False, initial=True
    )

    def owner(self) -> Owner:
        """Return the owner that was told."""
        told = self.cleaned_data
        return Owner(" ".join(told["name"].split()), told["password"], told["pin"])


class SetUpForm(OwnerForm):
    """The five questions on one page."""

    labels = ("name", "coffee", "recipe_name")
    label_lists = ("faults",)

    shop = forms.CharField(label=_("Name of the shop"), max_length=200)

    coffee = forms.CharField(label=_("Name of your first coffee"), max_length=200)
    recipe_name = forms.CharField(label=_("Name of its recipe"), max_length=200, initial="house")
    dose_g = NumberField(label=_("Dose"), unit="g")
    dose_tol_g = NumberField(label=_("Dose, tolerance ±"), unit="g")
    beverage_g = NumberField(label=_("Beverage"), unit="g")
    beverage_tol_g = NumberField(label=_("Beverage, tolerance ±"), unit="g")
    time_s = NumberField(label=_("Time"), unit="s")
    time_tol_s = NumberField(label=_("Time, tolerance ±"), unit="s")
    milk_drink_ml = NumberField(
        label=_("Milk drink"),
        unit="ml",
        required=False,
        help_text=_("Coffee and milk together; 6 US fl oz are 177 ml."),
    )

    scale_low = NumberField(label=_("Low end of the scale"))
    scale_high = NumberField(label=_("High end of the scale"))
    faults = forms.CharField(
        label=_("Faults that you listen for"),
        widget=forms.Textarea({"rows": 3}),
        required=False,
        help_text=_("Divided by commas."),
    )

    wrong_release = NumberField(label=COSTS["wrong_release"][0], help_text=COSTS["wrong_release"][1])
    wrong_hold = NumberField(label=COSTS["wrong_hold"][0], help_text=COSTS["wrong_hold"][1])
    one_pull = NumberField(label=COSTS["one_pull"][0], help_text=COSTS["one_pull"][1])
    one_taste = NumberField(label=COSTS["one_taste"][0], help_text=COSTS["one_taste"][1])
    prior_bad = NumberField(label=COSTS["prior_bad"][0], help_text=COSTS["prior_bad"][1])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        low, high = suggested.SCALE
        start: Mapping[str, Any] = {
            **suggested.RECIPE,
            **suggested.COSTS,
            "scale_low": low,
            "scale_high": high,
            "faults": ", ".join(suggested.FAULTS),
        }
        super().__init__(*args, initial={**start, **kwargs.pop("initial", {})}, **kwargs)
        self.fields["milk_drink_ml"].optional_word = self.fields["faults"].optional_word = OPTIONAL  # type: ignore[attr-defined]
        for number, one in enumerate(suggested.ATTRIBUTES):
            self.fields[f"asked_{number}"] = forms.BooleanField(label=_(one.name), required=False, initial=True)
            for service, label, target in (("black", _("black"), one.black), ("milk", _("in milk"), one.milk)):
                field = NumberField(label=label, required=False, initial=target)
                self._add(f"{service}_{number}", field)
            field = NumberField(label=_("tolerance ±"), required=False, initial=suggested.TOLERANCE)
            self._add(f"tolerance_{number}", field)

    def _add(self, name: str, field: NumberField) -> None:
        field.optional_word = " "  # type: ignore[attr-defined]  # the sentence above the fields says it once
        self.fields[name] = field

    def _named(self, *names: str) -> list[BoundField]:
        return [self[name] for name in names]

    def shop_fields(self) -> list[BoundField]:
        """Return the fields of the first question."""
        return self._named("shop")

    def owner_fields(self) -> list[BoundField]:
        """Return the fields of the second question."""
        return self._named("name", "password", "again", "pin", "is_shops")

    def coffee_fields(self) -> list[BoundField]:
        """Return the fields of the third question that are names."""
        return self._named("coffee", "recipe_name")

    def recipe_fields(self) -> list[BoundField]:
        """Return the fields of the third question that are quantities."""
        return self._named(*suggested.RECIPE)

    def scale_fields(self) -> list[BoundField]:
        """Return the ends of the scale."""
        return self._named("scale_low", "scale_high")

    def attribute_fields(self) -> list[tuple[str, BoundField, list[BoundField]]]:
        """Return for each attribute its name, its tick, and the fields for its targets."""
        return [
            (one.name, self[f"asked_{n}"], self._named(f"black_{n}", f"milk_{n}", f"tolerance_{n}"))
            for n, one in enumerate(suggested.ATTRIBUTES)
        ]

    def cost_fields(self) -> list[BoundField]:
        """Return the fields of the fifth question."""
        return self._named(*suggested.COSTS)

    def clean(self) -> dict[str, Any]:
        """Hold the targets together."""
        told = super().clean()
        asked = [n for n in range(len(suggested.ATTRIBUTES)) if told.get(f"asked_{n}")]
        if not asked:
            self.add_error("asked_0", _now("Tick at least one attribute, or there is nothing to score."))
        for number in asked:
            targets = [told.get(f"{service}_{number}") for service in ("black", "milk")]
            tolerance = f"tolerance_{number}"
            aimed = any(target is not None for target in targets)
            if aimed and told.get(tolerance) is None and tolerance not in self.errors:
                self.add_error(tolerance, _now("A target needs its tolerance."))
        if asked and not self.errors and not self._targets():
            self.add_error(
                f"black_{asked[0]}", _now("Give at least one target: what has a target is asked at the table.")
            )
        return told

    def _targets(self) -> dict[tuple[str, str], tuple[float, float]]:
        told = self.cleaned_data
        return {
            (service, one.name): (told[f"{service}_{n}"], told[f"tolerance_{n}"])
            for service in ("black", "milk")
            for n, one in enumerate(suggested.ATTRIBUTES)
            if told.get(f"asked_{n}") and told.get(f"{service}_{n}") is not None
        }

    def answers(self) -> Answers:
        """Return what was told."""
        told = self.cleaned_data
        faults = dict.fromkeys(" ".join(part.split()) for part in told["faults"].replace("\n", ",").split(","))
        return Answers(
            shop=told["shop"],
            coffee=told["coffee"],
            recipe_name=told["recipe_name"],
            recipe={name: told[name] for name in suggested.RECIPE if told[name] is not None},
            attributes=[one.name for n, one in enumerate(suggested.ATTRIBUTES) if told[f"asked_{n}"]],
            scale=(told["scale_low"], told["scale_high"]),
            targets=self._targets(),
            faults=[fault for fault in faults if fault],
            costs={name: told[name] for name in suggested.COSTS},
        )
