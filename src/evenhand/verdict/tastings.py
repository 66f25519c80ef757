"""What a judgement is made from: batches, recipes, targets, pulls, scores and fault reports, as plain arrays."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.verdict.cost import Costs

Labels = NDArray[np.str_]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Target:
    """Where an attribute should lie: `target` plus or minus `tolerance`, in points of its scale."""

    target: float
    tolerance: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One roast: its name, coffee and roast date (ISO 8601 text), and what was measured of it, None where not."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPull:
    """A pull and the batch that it was made of."""

    batch: str
    pull: Pull


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
            raise DesignError("Scores and their labels must have one length.")


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
            raise DesignError("Fault reports and their labels must have one length.")


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
