"""Set-up of what the shop aims at: recipes, coffees with their targets, costs; each change is a new version."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils.translation import gettext as _

from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.setup.aim_forms import CoffeeForm, CostsForm, RecipeForm, ShopForm
from evenhand.bench.setup.pages import answer, owner_writes
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.coffees import current_coffee, current_costs, current_recipe, revise_coffee, revise_costs
from evenhand.records.coffees import revise_recipe as write_recipe
from evenhand.records.models import Coffee, CoffeeVersion, CostsVersion, Entry, Kept, Recipe, RecipeVersion, Shop
from evenhand.records.models._coffee import COST_NAMES, RECIPE_QUANTITIES


@dataclass(frozen=True, slots=True)
class Version:
    """A version, and who wrote it when."""

    row: Any
    at: dt.datetime | None
    who: str


def versions_of(rows: Iterable[Kept]) -> list[Version]:
    """Return versions with their writers, in the order given, in one query."""
    found = list(rows)
    if not found:
        return []
    entries = Entry.objects.filter(kind=found[0].kind(), action="made", record__in=[row.pk for row in found])
    written = {record: (at, who) for record, at, who in entries.values_list("record", "at", "who")}
    return [Version(row, *written.get(row.pk, (None, ""))) for row in found]


@needs("lead")
def recipes(request: HttpRequest) -> HttpResponse:
    """List the recipes, and write a new one."""

    def write(form: RecipeForm) -> str:
        pen, name = pen_of(request), form.cleaned_data["name"]
        form.refuse_taken(Recipe, None)
        write_recipe(pen, name, **form.quantities())
        return _("Kept: recipe “%(name)s”.") % {"name": name}

    rows = [current_recipe(name) for name in Recipe.objects.order_by("name").values_list("name", flat=True)]
    form = RecipeForm(request.POST or None, units=account_of(request).units)
    return answer(request, form, "bench/setup/recipes.html", write, to="setup:recipes", rows=rows)


@needs("lead")
def recipe(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a recipe's versions, and write the next one."""
    found = get_object_or_404(Recipe, pk=pk)
    standing = current_recipe(found.name)

    def write(form: RecipeForm) -> str:
        pen = pen_of(request)
        form.refuse_taken(Recipe, found.pk)
        with writing():
            pen.change(found, name=form.cleaned_data["name"])
            version = write_recipe(pen, found.name, **form.quantities())
        if version == standing:
            return _("The quantities are as they were; there is no new version.")
        return _("Version %(number)d stands now; what was pulled before keeps its own.") % {"number": version.number}

    start = {"name": found.name, **{name: getattr(standing, name, None) for name in RECIPE_QUANTITIES}}
    form = RecipeForm(request.POST or None, initial=start, units=account_of(request).units)
    told = {
        "recipe": found,
        "versions": versions_of(found.versions.order_by("-number")),
        "coffees": Coffee.objects.filter(versions__recipe=standing).distinct(),
    }
    to = reverse("setup:recipe", args=[pk])
    return answer(request, form, "bench/setup/recipe.html", write, to=to, topics=("today",), **told)


@needs("lead")
def coffees(request: HttpRequest) -> HttpResponse:
    """List the coffees, and write a new one."""

    def write(form: CoffeeForm) -> str:
        form.refuse_taken(Coffee, None)
        _revise(pen_of(request), form.cleaned_data["name"], form)
        return _("Kept: coffee “%(name)s”.") % {"name": form.cleaned_data["name"]}

    rows = [current_coffee(name) for name in Coffee.objects.order_by("name").values_list("name", flat=True)]
    form = CoffeeForm(None, request.POST or None)
    return answer(request, form, "bench/setup/coffees.html", write, to="setup:coffees", topics=("today",), rows=rows)


@needs("lead")
def coffee(request: HttpRequest, pk: int) -> HttpResponse:
    """Show a coffee's versions, and write the next one."""
    found = get_object_or_404(Coffee, pk=pk)
    standing = current_coffee(found.name)

    def write(form: CoffeeForm) -> str:
        pen = pen_of(request)
        form.refuse_taken(Coffee, found.pk)
        with writing():
            pen.change(found, name=form.cleaned_data["name"])
            version = _revise(pen, found.name, form)
        if version == standing:
            return _("Recipe, lot and targets are as they were; there is no new version.")
        return _("Version %(number)d stands now; batches written down before keep theirs.") % {"number": version.number}

    form = CoffeeForm(standing, request.POST or None)
    rows = found.versions.select_related("recipe__recipe", "green_lot").prefetch_related("targets__attribute")
    told: dict[str, Any] = {"coffee": found, "versions": versions_of(rows.order_by("-number"))}
    topics = ("today", f"coffee-{pk}")
    to = reverse("setup:coffee", args=[pk])
    return answer(request, form, "bench/setup/coffee.html", write, to=to, topics=topics, **told)


@owner_writes
def costs(request: HttpRequest) -> HttpResponse:
    """Show what mistakes cost, and write it anew."""
    standing = current_costs()

    def write(form: CostsForm) -> str:
        version = revise_costs(pen_of(request), **form.cleaned_data)
        if version == standing:
            return _("The costs are as they were.")
        return _("Version %(number)d stands now; verdicts that were signed keep theirs.") % {"number": version.number}

    start = {name: getattr(standing, name, None) for name in COST_NAMES}
    form = CostsForm(request.POST or None, initial=start)
    versions = versions_of(CostsVersion.objects.order_by("-number"))
    return answer(
        request, form, "bench/setup/costs.html", write, to="setup:costs", topics=("today",), versions=versions
    )


@owner_writes
def shop(request: HttpRequest) -> HttpResponse:
    """Change the name of the shop."""
    found = Shop.objects.order_by("pk").first()

    def write(form: ShopForm) -> str:
        name = form.cleaned_data["name"]
        if found is None:
            pen_of(request).make(Shop(name=name))
        else:
            pen_of(request).change(found, name=name)
        return _("Kept.")

    form = ShopForm(request.POST or None, initial={"name": found.name if found else ""})
    return answer(request, form, "bench/setup/shop.html", write, to="setup:shop")


def _revise(pen: Pen, name: str, form: CoffeeForm) -> CoffeeVersion:
    told = form.cleaned_data
    recipe: RecipeVersion | None = told["recipe"].versions.order_by("-number").first()
    if recipe is None:
        raise RecordError(_("This recipe has no quantities yet; write them down first."))
    lot = told["green_lot"]
    return revise_coffee(
        pen, name, recipe=recipe.recipe.name, green_lot=lot, no_green_lot=lot is None, targets=form.targets()
    )
