"""Sorts tastings for the judgement: which pulls may be judged, and the sheets of each service as a table of indices."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.espresso.extraction import measure
from evenhand.espresso.recipe import Pull, describe, deviation, judgeable
from evenhand.panel.response import Response, build
from evenhand.verdict.judgement import PullReading
from evenhand.verdict.tables import Column, Goal, Panel, Table
from evenhand.verdict.tastings import Tastings

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]

SERVICES = ("black", "milk", "bowl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrangement:
    """Tastings as the judgement works on them.

    Attributes
    ----------
    panel, tables
        Labels and goals, and one table for each service that was scored.
    readings
        By batch, every pull against its recipe.
    usable
        Names of the pulls that may be judged.
    beyond
        By pull, the covariates outside what the shop has seen, for those that are.
    service_of_pull
        For those that were scored.
    """

    panel: Panel
    tables: tuple[Table, ...]
    readings: Mapping[str, tuple[PullReading, ...]]
    usable: frozenset[str]
    beyond: Mapping[str, tuple[str, ...]]
    service_of_pull: Mapping[str, str]


def arrange(tastings: Tastings) -> Arrangement:
    """Set every pull against its recipe and lay out the sheets of those that may be judged.

    Parameters
    ----------
    tastings
        All that was tasted.
    """
    coffee_of = {one.batch: one.coffee for one in tastings.batches}
    readings: dict[str, list[PullReading]] = {one.batch: [] for one in tastings.batches}
    usable: list[tuple[str, Pull]] = []
    for one in tastings.pulls:
        reading = _read(one.pull, tastings, coffee_of[one.batch])
        readings[one.batch].append(reading)
        if reading.judgeable:
            usable.append((one.batch, one.pull))
    response = _response(usable, tastings, coffee_of)
    scores = tastings.scores
    names = tuple(pull.name for _, pull in usable)
    coffees = tuple(sorted({one.coffee for one in tastings.batches}))
    place = {name: index for index, name in enumerate(coffees)}
    panel = Panel(
        batches=tuple(one.batch for one in tastings.batches),
        coffees=coffees,
        tasters=tuple(sorted(set(scores.taster.tolist()))),
        pulls=names,
        coffee_of_batch=np.array([place[one.coffee] for one in tastings.batches], dtype=np.intp),
        goals=_goals(tastings, coffees),
        response=response,
        # Half of the bad batches, on the scale of being good, are left to faults where those are asked for.
        bad_by_profile=tastings.costs.bad_by_half if len(tastings.reports.heard) else tastings.costs.prior_bad,
    )
    usable_names = frozenset(names)
    tables = [_table(tastings, panel, usable_names, service) for service in SERVICES]
    return Arrangement(
        panel=panel,
        tables=tuple(table for table in tables if table is not None),
        readings={name: tuple(found) for name, found in readings.items()},
        usable=usable_names,
        beyond={pull: away for pull, away in zip(names, response.beyond, strict=True) if away},
        service_of_pull=dict(zip(scores.pull.tolist(), scores.service.tolist(), strict=True)),
    )


def _goals(tastings: Tastings, coffees: Sequence[str]) -> dict[Column, Goal]:
    found: dict[Column, Goal] = {}
    asked = {column for coffee in coffees for column in tastings.targets.get(coffee, {})}
    for column in sorted(asked, key=lambda one: (SERVICES.index(one[0]), one[1])):
        targets = [tastings.targets.get(coffee, {}).get(column) for coffee in coffees]
        found[column] = Goal(
            target=np.array([one.target if one else np.nan for one in targets], dtype=float),
            tolerance=np.array([one.tolerance if one else np.nan for one in targets], dtype=float),
            scale=tastings.scales[column[1]],
        )
    return found


def _read(pull: Pull, tastings: Tastings, coffee: str) -> PullReading:
    recipe = tastings.recipes[coffee]
    gave = measure(pull.dose_g, pull.beverage_g, pull.time_s, pull.tds_pct)
    away = deviation(pull, recipe)
    return PullReading(
        pull=pull.name,
        judgeable=judgeable(away),
        ratio=gave.ratio.value,
        flow_g_per_s=gave.flow_g_per_s.value,
        extraction_pct=gave.extraction_pct.value if gave.extraction_pct else None,
        extraction_sd_pct=gave.extraction_pct.sd if gave.extraction_pct else None,
        deviation=away,
        note=describe(pull, recipe),
    )


def _response(usable: Sequence[tuple[str, Pull]], tastings: Tastings, coffee_of: Mapping[str, str]) -> Response:
    recipes = [tastings.recipes[coffee_of[batch]] for batch, _ in usable]
    pulls = [pull for _, pull in usable]

    def numbers(values: Sequence[float | None]) -> FloatArray:
        return np.array([np.nan if value is None else value for value in values], dtype=float)

    return build(
        ratio=numbers([pull.beverage_g / pull.dose_g for pull in pulls]),
        recipe_ratio=numbers([recipe.ratio for recipe in recipes]),
        time_s=numbers([pull.time_s for pull in pulls]),
        recipe_time_s=numbers([recipe.time_s for recipe in recipes]),
        water_c=numbers([pull.water_c for pull in pulls]),
        recipe_water_c=numbers([recipe.water_c for recipe in recipes]),
        tds_pct=numbers([pull.tds_pct for pull in pulls]),
        batch=np.array([batch for batch, _ in usable], dtype=np.str_),
    )


def _table(tastings: Tastings, panel: Panel, usable: frozenset[str], service: str) -> Table | None:
    """The sheets of one service as a matrix, or None where nothing with a target was scored."""
    scores = tastings.scores
    rows = [
        index
        for index in np.flatnonzero(scores.service == service).tolist()
        if (service, scores.attribute[index]) in panel.goals and scores.pull[index] in usable
    ]
    if not rows:
        return None
    present = {scores.attribute[index] for index in rows}
    attributes = tuple(attribute for of, attribute in panel.goals if of == service and attribute in present)
    column = {attribute: index for index, attribute in enumerate(attributes)}
    sheets: dict[tuple[str, str], int] = {}
    of_row = [sheets.setdefault((scores.cup[index], scores.taster[index]), len(sheets)) for index in rows]
    score = np.full((len(sheets), len(attributes)), np.nan)
    score[of_row, [column[scores.attribute[index]] for index in rows]] = scores.score[rows]
    first = np.zeros(len(sheets), dtype=np.intp)
    first[of_row[::-1]] = rows[::-1]

    def indices(labels: Sequence[str], values: NDArray[np.str_]) -> IntArray:
        place = {label: index for index, label in enumerate(labels)}
        return np.array([place[value] for value in values.tolist()], dtype=np.intp)

    return Table(
        service=service,
        attributes=attributes,
        batch=indices(panel.batches, scores.batch[first]),
        taster=indices(panel.tasters, scores.taster[first]),
        pull=indices(panel.pulls, scores.pull[first]),
        cup=indices(list(dict.fromkeys(scores.cup[first].tolist())), scores.cup[first]),
        score=score,
    )
