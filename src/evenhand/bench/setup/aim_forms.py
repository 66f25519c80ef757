"""The forms of recipes, coffees, costs and the shop."""

from typing import Any

from django import forms
from django.forms.boundfield import BoundField
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm, NumberField
from evenhand.bench.people.forms import OPTIONAL
from evenhand.bench.quantities import UnitField, UnitForm
from evenhand.bench.start.forms import COSTS
from evenhand.records._refusals import RecordError
from evenhand.records.coffees import Targets, targets_of
from evenhand.records.models import Attribute, Coffee, CoffeeVersion, GreenLot, Recipe
from evenhand.records.models._coffee import COST_NAMES, RECIPE_QUANTITIES, SERVICES

SERVICE_WORDS = {"black": _("black"), "milk": _("in milk"), "bowl": _("bowl")}


class NamedForm(BenchForm):
    """A form for something that has a name of its own."""

    labels = ("name",)

    def refuse_taken(self, model: type[Recipe] | type[Coffee], number: int | None) -> None:
        """Refuse a name that another one bears, whatever its capitals.

        Raises
        ------
        RecordError
            When it is taken: writing to it would revise the other one.
        """
        name = self.cleaned_data["name"]
        if model.objects.filter(name__iexact=name).exclude(pk=number or 0).exists():
            raise RecordError(
                _now("The name %(name)s is taken; open that one to revise it, or choose another name.") % {"name": name}
            )


class RecipeForm(UnitForm, NamedForm):
    """A house recipe: each quantity with its tolerance."""

    name = forms.CharField(label=_("Name of the recipe"), max_length=200)
    dose_g = NumberField(label=_("Dose"), unit="g")
    dose_tol_g = NumberField(label=_("Dose, tolerance ±"), unit="g")
    beverage_g = NumberField(label=_("Beverage"), unit="g")
    beverage_tol_g = NumberField(label=_("Beverage, tolerance ±"), unit="g")
    time_s = NumberField(label=_("Time"), unit="s")
    time_tol_s = NumberField(label=_("Time, tolerance ±"), unit="s")
    water_c = UnitField(kind="temperature", label=_("Water temperature"), required=False)
    water_tol_c = UnitField(kind="temperature_span", label=_("Water, tolerance ±"), required=False)
    pressure_bar = NumberField(label=_("Pressure"), unit="bar", required=False)
    pressure_tol_bar = NumberField(label=_("Pressure, tolerance ±"), unit="bar", required=False)
    basket_rated_g = NumberField(label=_("Basket is rated for"), unit="g", required=False)
    milk_drink_ml = UnitField(kind="volume", label=_("Milk drink"), required=False)

    def heads(self) -> list[BoundField]:
        """Return the fields above the quantities."""
        return [self["name"]]

    def quantity_fields(self) -> list[BoundField]:
        """Return the fields of the quantities, each beside its tolerance."""
        return [self[name] for name in self.fields if name != "name"]

    def quantities(self) -> dict[str, float | None]:
        """Return the quantities by column of recipes.csv."""
        return {name: self.cleaned_data[name] for name in RECIPE_QUANTITIES}

    def clean(self) -> dict[str, Any]:
        """Ask for the tolerance of what is aimed at."""
        told = super().clean() or self.cleaned_data
        for name, tolerance in (("water_c", "water_tol_c"), ("pressure_bar", "pressure_tol_bar")):
            if told.get(name) is not None and told.get(tolerance) is None and tolerance not in self.errors:
                self.add_error(tolerance, _now("What is aimed at needs its tolerance."))
        return told


class CoffeeForm(NamedForm):
    """A coffee: recipe, green lot, and a target with tolerance for each attribute that is asked in a service."""

    name = forms.CharField(label=_("Name of the coffee"), max_length=200)
    recipe = forms.ModelChoiceField(Recipe.objects.none(), label=_("Recipe"), empty_label=None)
    green_lot = forms.ModelChoiceField(
        GreenLot.objects.none(), label=_("Green lot"), required=False, empty_label=_("none, or a blend")
    )

    def __init__(self, standing: CoffeeVersion | None, *args: Any, **kwargs: Any) -> None:
        start: dict[str, Any] = {}
        aims: Targets = {}
        if standing is not None:
            start = {
                "name": standing.coffee.name,
                "recipe": standing.recipe.recipe_id,
                "green_lot": standing.green_lot_id,
            }
            aims = targets_of(standing)
        super().__init__(*args, initial=start, **kwargs)
        self.fields["recipe"].queryset = Recipe.objects.order_by("name")  # type: ignore[attr-defined]
        self.fields["green_lot"].queryset = GreenLot.objects.order_by("name")  # type: ignore[attr-defined]
        self.fields["green_lot"].optional_word = OPTIONAL  # type: ignore[attr-defined]
        self._attributes = list(Attribute.objects.order_by("pk"))
        for service, _word in SERVICES:
            for row in self._attributes:
                target, tolerance = aims.get((service, row.name), (None, None))
                told = {"attribute": row.name, "low": f"{row.scale_low:g}", "high": f"{row.scale_high:g}"}
                for part, label, value in (
                    ("target", _now("%(attribute)s, %(low)s to %(high)s") % told, target),
                    ("tolerance", _now("%(attribute)s, tolerance ±") % told, tolerance),
                ):
                    field = NumberField(label=label, required=False, initial=value)
                    field.optional_word = " "  # type: ignore[attr-defined]  # the sentence above the fields says it once
                    self.fields[f"{part}_{service}_{row.pk}"] = field

    def heads(self) -> list[BoundField]:
        """Return the fields above the targets."""
        return [self["name"], self["recipe"], self["green_lot"]]

    def services(self) -> list[tuple[str, Any, list[tuple[BoundField, BoundField]], bool]]:
        """Return for each service its name, its word, its pairs of fields, and whether any of them is filled."""
        found = []
        for service, _word in SERVICES:
            pairs = [
                (self[f"target_{service}_{row.pk}"], self[f"tolerance_{service}_{row.pk}"]) for row in self._attributes
            ]
            filled = any(field.value() not in (None, "") for pair in pairs for field in pair)
            found.append((service, SERVICE_WORDS[service], pairs, filled))
        return found

    def clean(self) -> dict[str, Any]:
        """Ask for the other half of a pair."""
        told = super().clean() or self.cleaned_data
        for service, _word in SERVICES:
            for row in self._attributes:
                names = [f"{part}_{service}_{row.pk}" for part in ("target", "tolerance")]
                if any(name in self.errors for name in names):
                    continue
                target, tolerance = (told.get(name) for name in names)
                if target is not None and tolerance is None:
                    self.add_error(names[1], _now("A target needs its tolerance."))
                if target is None and tolerance is not None:
                    self.add_error(names[0], _now("A tolerance needs its target; empty both if it is not asked."))
        return told

    def targets(self) -> dict[tuple[str, str], tuple[float, float]]:
        """Return target and tolerance by service and attribute."""
        told = self.cleaned_data
        return {
            (service, row.name): (told[f"target_{service}_{row.pk}"], told[f"tolerance_{service}_{row.pk}"])
            for service, _word in SERVICES
            for row in self._attributes
            if told.get(f"target_{service}_{row.pk}") is not None
        }


class CostsForm(BenchForm):
    """What each choice costs."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in COST_NAMES:
            label, hint = COSTS[name]
            self.fields[name] = NumberField(label=label, help_text=hint)


class ShopForm(BenchForm):
    """The shop's name."""

    name = forms.CharField(label=_("Name of the shop"), max_length=200)
