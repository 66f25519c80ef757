"""What a judgement is made from: batches, lots, recipes, targets, pulls, scores and fault reports, as plain arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.verdict.cost import Costs
from evenhand.words import say

Labels = NDArray[np.str_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Target:
    """Where an attribute should lie: `target` plus or minus `tolerance`, in points of its scale."""

    target: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One roast: its name, coffee and roast date (ISO 8601 text), and what was measured of it, None where not.

    `green_lot` is the lot it was roasted from, None where nobody wrote one down.
    """

    batch: str
    coffee: str
    roasted_on: str
    colour: float | None = None
    colour_scale: str | None = None
    green_in_kg: float | None = None
    roasted_out_kg: float | None = None
    green_moisture_pct: float | None = None
    roasted_moisture_pct: float | None = None
    roast_time_s: float | None = None
    green_lot: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LotReading:
    """Moisture and water activity of a lot on one day (ISO 8601 text); a moisture carries the method that found it."""

    read_on: str
    moisture_pct: float | None = None
    moisture_method: str | None = None
    water_activity: float | None = None
    water_activity_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LotStorage:
    """A spell of storage: from a day (ISO 8601 text) until the next one of the same lot begins; the last goes on."""

    stored_from: str
    temperature_c: float | None = None
    water_activity: float | None = None
    packaging: Literal["breathing", "airtight"] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """One delivery of green coffee.

    Attributes
    ----------
    lot
        Its name.
    origin, process, harvest
        As they were written; a harvest as the trade writes it, such as 2025/26.
    harvested_on, arrived_on
        ISO 8601 text; the day of harvest is the middle of the picking.
    green_kg, bag_kg
        Mass delivered, and of one bag.
    readings, storage
        In the order of their days.
    """

    lot: str
    origin: str | None = None
    process: str | None = None
    harvest: str | None = None
    harvested_on: str | None = None
    arrived_on: str | None = None
    green_kg: float | None = None
    bag_kg: float | None = None
    readings: tuple[LotReading, ...] = ()
    storage: tuple[LotStorage, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPull:
    """A pull, the batch that it was made of, and the day on which it was pulled (ISO 8601 text), where known."""

    batch: str
    pull: Pull
    pulled_on: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scores:
    """One row a score: labels of shape (rows,), and `score` in points of the attribute's scale."""

    batch: Labels
    pull: Labels
    cup: Labels
    taster: Labels
    service: Labels
    attribute: Labels
    score: FloatArray

    def __post_init__(self) -> None:
        rows = len(self.score)
        if any(
            len(labels) != rows
            for labels in (self.batch, self.pull, self.cup, self.taster, self.service, self.attribute)
        ):
            raise DesignError(say("Scores and their labels must have one length."))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reports:
    """One row a fault report: labels of shape (rows,), and `heard` as 0 or 1."""

    batch: Labels
    pull: Labels
    cup: Labels
    taster: Labels
    fault: Labels
    heard: FloatArray

    def __post_init__(self) -> None:
        rows = len(self.heard)
        if any(len(labels) != rows for labels in (self.batch, self.pull, self.cup, self.taster, self.fault)):
            raise DesignError(say("Fault reports and their labels must have one length."))


@dataclass(frozen=True, slots=True, kw_only=True)
class Tastings:
    """All that was tasted, ready to be judged.

    Attributes
    ----------
    title, judged_on, invented, warnings
        Handed on to the judgement as they are.
    recipes
        House recipe by coffee.
    targets
        By coffee, then by (service, attribute).
    scales
        Lower and upper end by attribute, points.
    tables
        Table of each cup, where one was written down.
    lots
        Green lots that something is written of; batches may name others.
    lot_of_coffee
        The lot that a coffee is roasted from at present, where one was written down.
    """

    title: str
    judged_on: str
    batches: tuple[Batch, ...]
    recipes: Mapping[str, HouseRecipe]
    targets: Mapping[str, Mapping[tuple[str, str], Target]]
    scales: Mapping[str, tuple[float, float]]
    pulls: tuple[BatchPull, ...]
    scores: Scores
    reports: Reports
    costs: Costs
    tables: Mapping[str, str] = field(default_factory=dict)
    invented: bool = False
    warnings: tuple[str, ...] = ()
    lots: tuple[Lot, ...] = ()
    lot_of_coffee: Mapping[str, str] = field(default_factory=dict)
