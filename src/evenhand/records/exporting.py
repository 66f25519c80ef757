"""Gives the records back as the folder they could have come from: as rows to judge, or as CSV files.

A folder knows one version of each coffee. The standing one is given unless another is asked for, and a warning names
the batches that were written down under a different one.
"""

import csv
import datetime as dt
import io
import os
import secrets
import shutil
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import astuple, fields
from pathlib import Path
from typing import Any

from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.canonical import number
from evenhand.records.coffees import current_costs
from evenhand.records.folder import INVENTED, Folder
from evenhand.records.models import (
    Attribute,
    Batch,
    Coffee,
    CoffeeVersion,
    Cup,
    FaultAnswer,
    Pull,
    Recipe,
    RecipeVersion,
    Score,
    Shop,
)
from evenhand.records.models._coffee import COST_NAMES, RECIPE_QUANTITIES
from evenhand.records.models._tasting import BATCH_MEASURES, PULL_MEASURES

_INVENTED_TEXT = "The data in this folder are invented.\n"


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
    costs = current_costs()
    if costs is None:
        raise RecordError("No costs are written yet; a folder needs them, so write them first.")
    chosen = _chosen(versions or {})
    shop = Shop.objects.order_by("pk").first()
    standing = {"sheet__superseded_by__isnull": True}
    sheet_keys = ("sheet__cup__code", "sheet__taster__name")
    targets = ("service", "attribute__name", "target", "tolerance")
    return Folder(
        recipes=tuple(
            rows.Recipe(recipe=version.recipe.name, **{q: getattr(version, q) for q in RECIPE_QUANTITIES})
            for version in _recipes(chosen.values())
        ),
        coffees=tuple(
            rows.Coffee(
                coffee=name,
                recipe=version.recipe.recipe.name,
                green_lot=None if version.green_lot is None else version.green_lot.name,
            )
            for name, version in chosen.items()
        ),
        targets=tuple(
            rows.Target(coffee=name, service=service, attribute=attribute, target=target, tolerance=tolerance)
            for name, version in chosen.items()
            for service, attribute, target, tolerance in version.targets.order_by("pk").values_list(*targets)
        ),
        attributes=tuple(
            rows.Attribute(attribute=row.name, scale_low=row.scale_low, scale_high=row.scale_high)
            for row in Attribute.objects.order_by("pk")
        ),
        batches=tuple(
            rows.Batch(
                batch=row.label,
                coffee=row.version.coffee.name,
                roasted_on=row.roasted_on,
                **{name: getattr(row, name) for name in BATCH_MEASURES},
            )
            for row in Batch.objects.order_by("pk").select_related("version__coffee")
        ),
        pulls=tuple(
            rows.Pull(
                pull=row.label,
                batch=row.batch.label,
                pulled_at=row.pulled_at,
                **{name: getattr(row, name) for name in PULL_MEASURES},
            )
            for row in Pull.objects.order_by("pk").select_related("batch")
        ),
        cups=tuple(
            rows.Cup(
                cup=row.code,
                pull=row.pull.label,
                service=_service(row.service),
                table=None if row.table is None else row.table.name,
                position=row.position,
            )
            for row in Cup.objects.order_by("pk").select_related("pull", "table")
        ),
        sheets=tuple(
            rows.Sheet(cup=cup, taster=taster, attribute=attribute, score=score)
            for cup, taster, attribute, score in Score.objects.filter(**standing)
            .order_by("pk")
            .values_list(*sheet_keys, "attribute__name", "score")
        ),
        faults=tuple(
            rows.FaultReport(cup=cup, taster=taster, fault=fault, heard=int(heard))
            for cup, taster, fault, heard in FaultAnswer.objects.filter(**standing)
            .order_by("pk")
            .values_list(*sheet_keys, "fault__name", "heard")
        ),
        costs=rows.Costs(**{name: getattr(costs, name) for name in COST_NAMES}),
        warnings=tuple(_other_versions(chosen)),
        title="records" if shop is None else shop.name,
        invented=shop is not None and shop.is_invented,
    )


def write_folder(folder: Folder, place: str | os.PathLike[str]) -> Path:
    """Write a folder of CSV files; it appears whole or not at all.

    Parameters
    ----------
    folder
        What to write.
    place
        The folder to make; it must not be there yet.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    RecordError
        When the place is taken or cannot be written.
    """
    place = Path(place)
    if place.exists():
        raise RecordError(f"{place}: this is there already; give the export a folder of its own.")
    draft = place.with_name(f".{place.name}.{secrets.token_hex(4)}.part")
    try:
        draft.mkdir(parents=True)
        for stem, kind in rows.FILES.items():
            columns = [f.name for f in fields(kind.row)]
            text = _as_csv(columns, (astuple(row) for row in _rows_of(folder, stem)))
            (draft / f"{stem}.csv").write_text(text, encoding="utf-8", newline="")
        if folder.invented:
            (draft / f"{INVENTED}.txt").write_text(_INVENTED_TEXT, encoding="utf-8")
        draft.rename(place)
    except OSError as error:
        shutil.rmtree(draft, ignore_errors=True)
        raise RecordError(
            f"{place}: the folder cannot be written ({(error.strerror or str(error)).lower()})."
        ) from error
    return place


def _rows_of(folder: Folder, stem: str) -> Sequence[Any]:
    if stem == "costs":
        return [rows.Cost(name=name, value=getattr(folder.costs, name)) for name in COST_NAMES]
    found: Sequence[Any] = getattr(folder, stem)
    return found


def _as_csv(columns: Sequence[str], lines: Iterable[tuple[Any, ...]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(value) for value in line] for line in lines)
    return text.getvalue()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="auto" if value.second or value.microsecond else "minutes")
    if isinstance(value, dt.date):
        return value.isoformat()
    return number(value) if isinstance(value, float) else str(value)


def _service(value: str) -> Any:
    return value


def _chosen(versions: Mapping[str, int]) -> dict[str, CoffeeVersion]:
    """Return the version to give of each coffee, by name, in the order in which the coffees were written."""
    chosen: dict[str, CoffeeVersion] = {}
    every = CoffeeVersion.objects.select_related("coffee", "recipe__recipe", "green_lot")
    for coffee in Coffee.objects.order_by("pk"):
        found = every.filter(coffee=coffee)
        if coffee.name in versions:
            found = found.filter(number=versions[coffee.name])
        version = found.order_by("-number").first()
        if version is not None:
            chosen[coffee.name] = version
    for name, wanted in versions.items():
        if name not in chosen:
            raise RecordError(f"There is no version {wanted} of a coffee {quoted(name)}.")
    return chosen


def _recipes(coffees: Iterable[CoffeeVersion]) -> list[RecipeVersion]:
    """Return the recipe versions that the coffees use, and the standing ones of recipes that none uses."""
    used: dict[int, RecipeVersion] = {}
    for coffee in coffees:
        version = coffee.recipe
        if used.setdefault(version.recipe_id, version) != version:
            raise RecordError(
                f"Two coffees were asked for with different versions of recipe {quoted(version.recipe.name)}; "
                "a folder holds one of each recipe."
            )
    found = []
    for recipe in Recipe.objects.order_by("pk"):
        latest = recipe.versions.select_related("recipe").order_by("-number").first()
        if recipe.pk in used or latest is not None:
            found.append(used.get(recipe.pk) or latest)
    return [version for version in found if version is not None]


def _other_versions(chosen: Mapping[str, CoffeeVersion]) -> Iterable[str]:
    for name, version in chosen.items():
        others = Batch.objects.filter(version__coffee=version.coffee).exclude(version=version)
        labels = list(others.order_by("pk").values_list("label", flat=True))
        if labels:
            named = ", ".join(labels[:3]) + (f" and {len(labels) - 3} more" if len(labels) > 3 else "")
            yield (
                f"coffee {quoted(name)} is given in version {version.number}, but written down under another: {named}."
            )
