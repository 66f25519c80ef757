"""The sheets of one service made ready for the mixed model, and the two fits that every judgement rests on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.panel import mixed
from evenhand.panel.response import Response

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.intp]
Column = tuple[str, str]  # service, attribute

# A tolerance wider than this share of the scale says "do not care" and no more of how batches spread.
WIDEST_TOLERANCE = 0.25


@dataclass(frozen=True, slots=True)
class Goal:
    """What is asked of one attribute in one service: targets and tolerances by coffee, points, NaN where none.

    `scale` holds the lower and the upper end of the attribute's scale, points.
    """

    target: FloatArray
    tolerance: FloatArray
    scale: tuple[float, float]

    @property
    def width(self) -> float:
        """Width of the scale, points."""
        return self.scale[1] - self.scale[0]

    @property
    def unit(self) -> float:
        """The usual tolerance, points: what spreads of batches and coffees are counted in."""
        known = self.tolerance[np.isfinite(self.tolerance)]
        return min(float(np.median(known)) if len(known) else np.inf, WIDEST_TOLERANCE * self.width)

    def limits(self, coffee: IntArray) -> tuple[FloatArray, FloatArray]:
        """Give the lower and the upper limit for coffees by index, points, each of the shape of `coffee`.

        They are infinite where there is no target, and where a tolerance reaches the end of the scale, since no score
        can lie beyond it.
        """
        low, high = self.target[coffee] - self.tolerance[coffee], self.target[coffee] + self.tolerance[coffee]
        return np.where(low > self.scale[0], low, -np.inf), np.where(high < self.scale[1], high, np.inf)


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """Who and what the sheets speak of: labels, and what is asked of each coffee.

    Attributes
    ----------
    batches, coffees, tasters, pulls
        Labels that every index points into; coffees and tasters are sorted.
    coffee_of_batch
        Shape (batches,).
    goals
        By column; every column that any coffee has a target for.
    response
        Covariates of the pulls, in the order of `pulls`.
    bad_by_profile
        Share of batches out of tolerance, before any sheet.
    """

    batches: tuple[str, ...]
    coffees: tuple[str, ...]
    tasters: tuple[str, ...]
    pulls: tuple[str, ...]
    coffee_of_batch: IntArray
    goals: Mapping[Column, Goal]
    response: Response
    bad_by_profile: float

    @property
    def columns_of_a_coffee(self) -> int:
        """How many columns a coffee has a target for, typically; at least 1."""
        count = np.sum([np.isfinite(goal.target) for goal in self.goals.values()], axis=0)
        asked = np.atleast_1d(count)[np.atleast_1d(count) > 0]
        return int(np.median(asked)) if len(asked) else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """All sheets of one service: one row a sheet, one column an attribute that has a target and a score.

    Attributes
    ----------
    batch, taster, pull, cup
        Indices into the panel's labels, shape (sheets,); cups are numbered as they come.
    score
        Points, shape (sheets, attributes), NaN where not scored.
    """

    service: str
    attributes: tuple[str, ...]
    batch: IntArray
    taster: IntArray
    pull: IntArray
    cup: IntArray
    score: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One table ready to be fitted: labels by row, covariates by name, priors in points.

    Attributes
    ----------
    labels
        Batch, taster, pull and coffee of each row.
    slopes
        Mean and s.d. of the priors on the covariates, each of shape (covariates, attributes); None without covariates.
    unit, width
        Usual tolerance and width of the scale, points, shape (attributes,).
    coffee_mean, known
        Targets, points, and whether there is one (the middle of the scale stands where not); shape (coffees seen,
        attributes), in the order of sorted labels.
    """

    table: Table
    labels: tuple[NDArray[np.str_], ...]
    covariates: dict[str, FloatArray] | None
    slopes: tuple[FloatArray, FloatArray] | None
    unit: FloatArray
    width: FloatArray
    coffee_mean: FloatArray
    known: NDArray[np.bool_]

    @classmethod
    def on(cls, table: Table, panel: Panel) -> "Work":
        """Make one table ready."""
        coffee = panel.coffee_of_batch[table.batch]
        seen = np.unique(coffee)  # panel.coffees is sorted, so this is the order of sorted labels
        columns = panel.response.columns[table.pull]
        named = {name: columns[:, index] for index, name in enumerate(panel.response.names)}
        goals = [panel.goals[(table.service, attribute)] for attribute in table.attributes]
        priors = [
            panel.response.priors(attribute, table.service, *goal.scale)
            for attribute, goal in zip(table.attributes, goals, strict=True)
        ]
        target = np.stack([goal.target for goal in goals], axis=1)[seen]
        known = np.isfinite(target)
        middle = np.array([sum(goal.scale) / 2 for goal in goals])
        return cls(
            table=table,
            labels=(
                np.array(panel.batches)[table.batch],
                np.array(panel.tasters)[table.taster],
                np.array(panel.pulls)[table.pull],
                np.array(panel.coffees)[coffee],
            ),
            covariates=named or None,
            slopes=(np.array([mean for mean, _ in priors]).T, np.array([sd for _, sd in priors]).T) if named else None,
            unit=np.array([goal.unit for goal in goals]),
            width=np.array([goal.width for goal in goals]),
            coffee_mean=np.where(known, np.nan_to_num(target), middle),
            known=known,
        )

    def fit_plain(self) -> list[mixed.Fit | None]:
        """Plain REML for the report, by attribute; None where there are too few scores for it."""
        batch, taster, pull, coffee = self.labels

        def fit(columns: Sequence[int]) -> list[mixed.Fit]:
            slopes = None if self.slopes is None else (self.slopes[0][:, columns], self.slopes[1][:, columns])
            return mixed.fit_many(
                self.table.score[:, columns], batch, taster, pull, coffee, self.covariates, covariate_prior=slopes
            )

        every = range(len(self.table.attributes))
        try:
            return list(fit(list(every)))
        except DesignError:  # one attribute with too few scores must not take the others along
            found: list[mixed.Fit | None] = []
            for column in every:
                try:
                    found += fit([column])
                except DesignError:
                    found.append(None)
            return found

    def units(self, term: str) -> FloatArray:
        """What a prior on this term's s.d. is counted in, points, shape (attributes,): tolerances, or whole scales."""
        return self.unit if term == "batch" else self.width

    def fit_informed(self, usual: float, priors: Mapping[str, tuple[float, float]]) -> Sequence[mixed.Fit]:
        """Fit for the judgement: coffees `usual` tolerances about their targets, and a prior on every spread."""
        batch, taster, pull, coffee = self.labels
        return mixed.fit_many(
            self.table.score,
            batch,
            taster,
            pull,
            coffee,
            self.covariates,
            (self.coffee_mean, np.asarray(np.where(self.known, usual * self.unit, np.inf), dtype=float)),
            covariate_prior=self.slopes,
            variance_prior=[
                {term: (median * float(self.units(term)[a]), spread) for term, (median, spread) in priors.items()}
                for a in range(len(self.table.attributes))
            ],
        )
