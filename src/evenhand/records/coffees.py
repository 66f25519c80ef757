"""Recipes, coffees and costs in versions: a change makes a new one, and what points at an old one stays as it was."""

from collections.abc import Mapping
from typing import Any

from evenhand.records._problems import quoted
from evenhand.records._refusals import FieldError, RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.models import (
    Attribute,
    Coffee,
    CoffeeVersion,
    CostsVersion,
    GreenLot,
    Recipe,
    RecipeVersion,
    Target,
)
from evenhand.records.models._coffee import COST_NAMES, RECIPE_QUANTITIES
from evenhand.words import say

Targets = Mapping[tuple[str, str], tuple[float, float]]
"""Target and tolerance by service and attribute."""


def current_recipe(name: str) -> RecipeVersion | None:
    """Return the version of a recipe that stands, or None if there is no such recipe."""
    return RecipeVersion.objects.filter(recipe__name=name).select_related("recipe").order_by("-number").first()


def current_coffee(name: str) -> CoffeeVersion | None:
    """Return the version of a coffee that stands, or None if there is no such coffee."""
    found = CoffeeVersion.objects.filter(coffee__name=name).order_by("-number")
    return found.select_related("coffee", "recipe__recipe", "green_lot").first()


def current_costs() -> CostsVersion | None:
    """Return the costs that stand, or None if none were ever written."""
    return CostsVersion.objects.order_by("-number").first()


def targets_of(version: CoffeeVersion) -> dict[tuple[str, str], tuple[float, float]]:
    """Return target and tolerance by service and attribute, in the order in which they were written."""
    rows = version.targets.order_by("pk").values_list("service", "attribute__name", "target", "tolerance")
    return {(service, attribute): (target, tolerance) for service, attribute, target, tolerance in rows}


def revise_recipe(pen: Pen, name: str, **quantities: float | None) -> RecipeVersion:
    """Write a new version of a recipe, or its first; coffees that are pulled to it get a new version with it.

    Parameters
    ----------
    pen
        Who writes, and when.
    name
        The recipe.
    quantities
        What changes, by column of recipes.csv; what is left out stays as it stands.

    Returns
    -------
    RecipeVersion
        The version that stands now: the old one if nothing changed.

    Raises
    ------
    RecordError
        When a quantity is unknown, missing in a first version, or not allowed.
    """
    for unknown in set(quantities) - set(RECIPE_QUANTITIES):
        sentence = say(
            "A recipe has no quantity named {name}; it has {names}.", name=unknown, names=", ".join(RECIPE_QUANTITIES)
        )
        raise RecordError(sentence)
    with writing():
        before = current_recipe(name)
        values: dict[str, Any] = {q: getattr(before, q) if before else None for q in RECIPE_QUANTITIES} | quantities
        if before is not None and all(getattr(before, q) == values[q] for q in RECIPE_QUANTITIES):
            return before
        recipe = before.recipe if before else pen.make(Recipe(name=name))
        version = pen.make(RecipeVersion(recipe=recipe, number=before.number + 1 if before else 1, **values))
        for coffee in Coffee.objects.filter(versions__recipe__recipe=recipe).distinct().order_by("pk"):
            standing = current_coffee(coffee.name)
            if standing is not None and standing.recipe == before:
                _write_coffee(pen, standing, coffee, version, standing.green_lot, targets_of(standing))
        return version


def revise_coffee(
    pen: Pen,
    name: str,
    *,
    recipe: str | None = None,
    green_lot: GreenLot | None = None,
    targets: Targets | None = None,
    no_green_lot: bool = False,
) -> CoffeeVersion:
    """Write a new version of a coffee, or its first.

    Parameters
    ----------
    pen
        Who writes, and when.
    name
        The coffee.
    recipe, green_lot, targets
        What changes; what is left out stays as it stands. Targets are always given whole.
    no_green_lot
        True takes the green lot away.

    Returns
    -------
    CoffeeVersion
        The version that stands now: the old one if nothing changed.

    Raises
    ------
    RecordError
        When the recipe is unknown or missing, or a target is not allowed.
    """
    with writing():
        before = current_coffee(name)
        recipe_version = before.recipe if before is not None else None
        if recipe is not None:
            recipe_version = current_recipe(recipe)
            if recipe_version is None:
                raise RecordError(say("There is no recipe {name}; write it first.", name=quoted(recipe)))
        if recipe_version is None:
            raise RecordError(say("Coffee {coffee} needs a recipe: name the one it is pulled to.", coffee=quoted(name)))
        lot = green_lot if green_lot is not None else (before.green_lot if before is not None else None)
        lot = None if no_green_lot else lot
        wanted = dict(targets) if targets is not None else (targets_of(before) if before is not None else {})
        same = before is not None and (before.recipe, before.green_lot) == (recipe_version, lot)
        if before is not None and same and targets_of(before) == wanted:
            return before
        coffee = before.coffee if before is not None else pen.make(Coffee(name=name))
        return _write_coffee(pen, before, coffee, recipe_version, lot, wanted)


def revise_costs(pen: Pen, **costs: float) -> CostsVersion:
    """Write new costs; what is left out stays as it stands.

    Returns
    -------
    CostsVersion
        The version that stands now: the old one if nothing changed.

    Raises
    ------
    RecordError
        When a cost is unknown, missing in the first version, or not allowed.
    """
    for unknown in set(costs) - set(COST_NAMES):
        sentence = say(
            "There is no cost named {name}; the costs are {names}.", name=unknown, names=", ".join(COST_NAMES)
        )
        raise RecordError(sentence)
    with writing():
        before = current_costs()
        values: dict[str, Any] = {c: getattr(before, c) if before else None for c in COST_NAMES} | costs
        if before is not None and all(getattr(before, c) == values[c] for c in COST_NAMES):
            return before
        return pen.make(CostsVersion(number=before.number + 1 if before else 1, **values))


def _write_coffee(
    pen: Pen,
    before: CoffeeVersion | None,
    coffee: Coffee,
    recipe: RecipeVersion,
    lot: GreenLot | None,
    targets: Targets,
) -> CoffeeVersion:
    scales = {row.name: row for row in Attribute.objects.filter(name__in={attribute for _, attribute in targets})}
    rows = []
    for (service, name), (target, tolerance) in targets.items():
        attribute = on_scale(scales, name, target, "target")
        rows.append(Target(service=service, attribute=attribute, target=target, tolerance=tolerance))
    number = before.number + 1 if before is not None else 1
    return pen.make(CoffeeVersion(coffee=coffee, number=number, recipe=recipe, green_lot=lot), targets=rows)


def on_scale(scales: Mapping[str, Attribute], name: str, value: float, what: str) -> Attribute:
    """Return the attribute of this name, once it is sure that the value lies on its scale.

    Raises
    ------
    RecordError
        When there is no such attribute, or the value is off its scale.
    """
    scale = scales.get(name)
    if scale is None:
        raise RecordError(say("There is no attribute {name}; write it first.", name=quoted(name)))
    if not scale.scale_low <= value <= scale.scale_high:
        reason = say(
            "{value} is not allowed; {attribute} is scored from {low:g} to {high:g}.",
            value=quoted(value),
            attribute=name,
            low=scale.scale_low,
            high=scale.scale_high,
        )
        raise FieldError(what, reason)
    return scale
