"""Gives the records back as the rows of a folder: all of them, or the batches roasted last, in few queries.

A folder knows one version of each coffee. The standing one is given unless another is asked for, and a warning names
the batches that were written down under a different one.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from evenhand.records import rows
from evenhand.records._green_rows import green_rows
from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.coffees import current_costs
from evenhand.records.folder import Folder
from evenhand.records.models import (
    Attribute,
    Batch,
    BatchLot,
    CoffeeVersion,
    Cup,
    FaultAnswer,
    Kept,
    Pull,
    RecipeVersion,
    Score,
    Shop,
    Target,
)
from evenhand.records.models._coffee import COST_NAMES, RECIPE_QUANTITIES
from evenhand.records.models._tasting import BATCH_MEASURES, PULL_MEASURES
from evenhand.words import Words, join, say


def collect(*, versions: Mapping[str, int] | None = None) -> Folder:
    """Return the records as a folder of rows, ready to be judged or written.

    Parameters
    ----------
    versions
        The version of a coffee to give instead of the standing one, by the coffee's name.

    Returns
    -------
    Folder
        Rows in the order in which they were first written; of each cup and taster the sheet that stands.

    Raises
    ------
    RecordError
        When no costs are written yet, a version asked for does not exist, or two coffees need different versions of
        one recipe.
    """
    return _fill(_chosen(versions or {}, None), _Window(None))


def collect_recent(limit: int, also: Iterable[int] = ()) -> Folder:
    """Return the batches roasted last, with all that was pulled, served and tasted of them, as a folder of rows.

    The number of queries does not grow with the records, so a window of a large database costs what the window costs.

    Parameters
    ----------
    limit
        How many batches, counted back from the latest roast date; of one date, those written down last.
    also
        Numbers in the database of batches to give besides, however old. A number that no batch has is passed over.

    Returns
    -------
    Folder
        As from `collect`, with the coffees, recipes and green lots of these batches alone.

    Raises
    ------
    RecordError
        When the limit is negative, or no costs are written yet.
    """
    if limit < 0:
        raise RecordError(say("A window of {number} batches cannot be collected; ask for 0 or more.", number=limit))
    newest = Batch.objects.order_by("-roasted_on", "-pk").values_list("pk", flat=True)[:limit]
    numbers = sorted({*newest, *also})
    coffees = set(Batch.objects.filter(pk__in=numbers).values_list("version__coffee_id", flat=True))
    return _fill(_chosen({}, coffees), _Window(numbers))


@dataclass(frozen=True, slots=True)
class _Window:
    """Which batches are given, by their numbers; None gives all."""

    batches: Sequence[int] | None

    def of(self, model: type[Kept], path: str, **conditions: Any) -> "QuerySet[Any]":
        """Return the rows of a model that belong to these batches, in the order in which they were written."""
        if self.batches is not None:
            conditions[f"{path}__in"] = self.batches
        return model._default_manager.filter(**conditions).order_by("pk")


def _fill(chosen: Mapping[str, CoffeeVersion], window: _Window) -> Folder:
    costs = current_costs()
    if costs is None:
        raise RecordError(say("No costs are written yet; a folder needs them, so write them first."))
    shop = Shop.objects.order_by("pk").first()
    roasts = _roasts(window)
    named = roasts.lots | {version.green_lot_id for version in chosen.values() if version.green_lot_id is not None}
    green = green_rows(named, only_named=window.batches is not None)
    standing = {"sheet__superseded_by__isnull": True}
    sheet_keys = ("sheet__cup__code", "sheet__taster__name")
    return Folder(
        recipes=tuple(
            rows.Recipe(recipe=version.recipe.name, **{q: getattr(version, q) for q in RECIPE_QUANTITIES})
            for version in _recipes(chosen.values(), all_recipes=window.batches is None)
        ),
        coffees=tuple(
            rows.Coffee(
                coffee=name,
                recipe=version.recipe.recipe.name,
                green_lot=None if version.green_lot is None else version.green_lot.name,
            )
            for name, version in chosen.items()
        ),
        targets=tuple(_targets(chosen)),
        attributes=tuple(
            rows.Attribute(attribute=row.name, scale_low=row.scale_low, scale_high=row.scale_high)
            for row in Attribute.objects.order_by("pk")
        ),
        batches=roasts.batches,
        pulls=tuple(
            rows.Pull(pull=label, batch=batch, pulled_at=at, **dict(zip(PULL_MEASURES, measures, strict=True)))
            for label, batch, at, *measures in window.of(Pull, "batch").values_list(
                "label", "batch__label", "pulled_at", *PULL_MEASURES
            )
        ),
        cups=tuple(
            rows.Cup(cup=code, pull=pull, service=service, table=table, position=position)
            for code, pull, service, table, position in window.of(Cup, "pull__batch").values_list(
                "code", "pull__label", "service", "table__name", "position"
            )
        ),
        sheets=tuple(
            rows.Sheet(cup=cup, taster=taster, attribute=attribute, score=score)
            for cup, taster, attribute, score in window.of(Score, "sheet__cup__pull__batch", **standing).values_list(
                *sheet_keys, "attribute__name", "score"
            )
        ),
        faults=tuple(
            rows.FaultReport(cup=cup, taster=taster, fault=fault, heard=int(heard))
            for cup, taster, fault, heard in window.of(FaultAnswer, "sheet__cup__pull__batch", **standing).values_list(
                *sheet_keys, "fault__name", "heard"
            )
        ),
        costs=rows.Costs(**{name: getattr(costs, name) for name in COST_NAMES}),
        warnings=tuple(_other_versions(chosen, window)),
        title="records" if shop is None else shop.name,
        invented=shop is not None and shop.is_invented,
        green_lots=green.lots,
        green_readings=green.readings,
        green_storage=green.storage,
        batch_lots=roasts.batch_lots,
    )


@dataclass(frozen=True, slots=True)
class _Roasts:
    """The rows of batches.csv and batch_lots.csv, and the numbers of the lots that they name."""

    batches: tuple[rows.Batch, ...]
    lots: set[int]
    batch_lots: tuple[rows.BatchLot, ...]


def _roasts(window: _Window) -> _Roasts:
    """Return the roasts; a lot stands in batch_lots.csv only where the batch's own column cannot tell all."""
    named: set[int] = set()
    of_batch: dict[int, list[rows.BatchLot]] = {}
    every: list[tuple[int, rows.BatchLot]] = []
    columns = ("batch_id", "batch__label", "lot_id", "lot__name", "green_kg")
    for batch, label, lot, name, green_kg in window.of(BatchLot, "batch").values_list(*columns):
        row = rows.BatchLot(batch=label, green_lot=name, green_kg=green_kg)
        named.add(lot)
        of_batch.setdefault(batch, []).append(row)
        every.append((batch, row))
    found = []
    measured = window.of(Batch, "pk").values_list("pk", "label", "version__coffee__name", "roasted_on", *BATCH_MEASURES)
    for number, label, coffee, roasted_on, *measures in measured:
        own = of_batch.get(number, [])
        found.append(
            rows.Batch(
                batch=label,
                coffee=coffee,
                roasted_on=roasted_on,
                green_lot=own[0].green_lot if len(own) == 1 else None,
                **dict(zip(BATCH_MEASURES, measures, strict=True)),
            )
        )
    told = tuple(row for batch, row in every if len(of_batch[batch]) > 1 or row.green_kg is not None)
    return _Roasts(tuple(found), named, told)


def _targets(chosen: Mapping[str, CoffeeVersion]) -> Iterable[rows.Target]:
    """Yield the targets, coffee by coffee in the order of the coffees."""
    of_version: dict[int, list[tuple[Any, str, float, float]]] = {}
    columns = ("version_id", "service", "attribute__name", "target", "tolerance")
    standing = Target.objects.filter(version__in=[version.pk for version in chosen.values()]).order_by("pk")
    for version_id, *target in standing.values_list(*columns):
        of_version.setdefault(version_id, []).append(tuple(target))
    for name, version in chosen.items():
        for service, attribute, target, tolerance in of_version.get(version.pk, ()):
            yield rows.Target(coffee=name, service=service, attribute=attribute, target=target, tolerance=tolerance)


def _chosen(versions: Mapping[str, int], coffees: Collection[int] | None) -> dict[str, CoffeeVersion]:
    """Return the version to give of each coffee, by name, in the order in which the coffees were written."""
    every = CoffeeVersion.objects.select_related("coffee", "recipe__recipe", "green_lot").order_by("coffee", "number")
    chosen: dict[str, CoffeeVersion] = {}
    for version in every if coffees is None else every.filter(coffee__in=coffees):
        wanted = versions.get(version.coffee.name)
        if wanted is None or wanted == version.number:
            chosen[version.coffee.name] = version
    for name, number in versions.items():
        if name not in chosen:
            raise RecordError(say("There is no version {number} of a coffee {name}.", number=number, name=quoted(name)))
    return chosen


def _recipes(coffees: Iterable[CoffeeVersion], *, all_recipes: bool) -> list[RecipeVersion]:
    """Return the recipe versions that the coffees use, and if wanted the standing ones of recipes that none uses."""
    found: dict[int, RecipeVersion] = {}
    if all_recipes:
        for version in RecipeVersion.objects.select_related("recipe").order_by("number"):
            found[version.recipe_id] = version
    used: dict[int, RecipeVersion] = {}
    for coffee in coffees:
        version = coffee.recipe
        if used.setdefault(version.recipe_id, version) != version:
            sentence = say(
                "Two coffees were asked for with different versions of recipe {recipe}; a folder holds one of each "
                "recipe.",
                recipe=quoted(version.recipe.name),
            )
            raise RecordError(sentence)
    return [version for _, version in sorted((found | used).items())]


def _other_versions(chosen: Mapping[str, CoffeeVersion], window: _Window) -> Iterable[Words]:
    """Yield a sentence for each coffee of which batches were written down under another version."""
    others: dict[str, list[str]] = {}
    standing = [version.pk for version in chosen.values()]
    elsewhere = window.of(Batch, "pk").exclude(version__in=standing)
    for coffee, label in elsewhere.values_list("version__coffee__name", "label"):
        others.setdefault(coffee, []).append(label)
    for name, version in chosen.items():
        if name in others:
            yield say(
                "coffee {coffee} is given in version {number}, but written down under another: {batches}.",
                coffee=quoted(name),
                number=version.number,
                batches=_first(others[name]),
            )


def _first(labels: Sequence[str]) -> Words:
    first, rest = join(labels[:3]), len(labels) - 3
    return say("{labels} and {number} more", labels=first, number=rest) if rest > 0 else first
