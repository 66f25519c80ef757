"""The profile of every batch: levels, intervals and probabilities, column by column and together."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.verdict import correlation
from evenhand.verdict.judgement import AttributeVerdict
from evenhand.verdict.levels import AttributeLevels
from evenhand.verdict.tables import Panel, Table
from evenhand.verdict.tolerance import joint_within

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiles:
    """Every column over every batch; shapes are (batches, columns) unless said otherwise.

    Attributes
    ----------
    target, tolerance
        Points, NaN where the coffee has no target.
    low, high
        Limits, points; infinite where a tolerance reaches the end of the scale, since no score can lie beyond it.
    p_within, p_above
        Probability within the limits, and above the upper one.
    p_all
        Probability that all columns with a target lie within, shape (batches,).
    error_correlation
        Shape (batches, columns, columns).
    noise_correlation
        Shape (columns, columns).
    """

    columns: tuple[AttributeLevels, ...]
    scale: FloatArray  # (columns, 2)
    target: FloatArray
    tolerance: FloatArray
    low: FloatArray
    high: FloatArray
    estimate: FloatArray
    sd: FloatArray
    lower90: FloatArray
    upper90: FloatArray
    p_within: FloatArray
    p_above: FloatArray
    p_all: FloatArray
    error_correlation: FloatArray
    noise_correlation: FloatArray

    def attribute(self, batch: int, column: int) -> AttributeVerdict:
        """Give one column of one batch as the judgement tells it, estimates and intervals kept on the scale."""
        one = self.columns[column]
        scored = bool(one.scores[batch] > 0)
        low, high = (float(end) for end in self.scale[column])
        return AttributeVerdict(
            service=one.service,
            attribute=one.attribute,
            estimate=float(np.clip(self.estimate[batch, column], low, high)),
            sd=float(self.sd[batch, column]),
            lower90=float(np.clip(self.lower90[batch, column], low, high)),
            upper90=float(np.clip(self.upper90[batch, column], low, high)),
            target=float(self.target[batch, column]),
            tolerance=float(self.tolerance[batch, column]),
            p_within=float(self.p_within[batch, column]),
            p_above=float(self.p_above[batch, column]),
            raw_mean=float(one.raw_mean[batch]) if scored else None,
            shot_effect=float(one.shot_effect[batch]),
            taster_effect=float(one.taster_effect[batch]),
            scores=int(one.scores[batch]),
            scale_low=low,
            scale_high=high,
        )


def profile(panel: Panel, tables: Sequence[Table], columns: tuple[AttributeLevels, ...]) -> Profiles:
    """Work out every batch's profile.

    Parameters
    ----------
    panel, tables
        As they went into `levels.estimate`.
    columns
        What came out of it.
    """
    batches, of_coffee = len(panel.batches), panel.coffee_of_batch
    goals = [panel.goals[(one.service, one.attribute)] for one in columns]

    def stack(parts: Sequence[FloatArray]) -> FloatArray:
        return np.stack(parts, axis=1) if parts else np.zeros((batches, 0))

    target = stack([goal.target[of_coffee] for goal in goals])
    tolerance = stack([goal.tolerance[of_coffee] for goal in goals])
    scale = np.array([goal.scale for goal in goals], dtype=float).reshape(len(goals), 2)
    limits = [goal.limits(of_coffee) for goal in goals]
    low, high = stack([low for low, _ in limits]), stack([high for _, high in limits])
    below_low = stack([one.levels.below(low[:, j]) for j, one in enumerate(columns)])
    below_high = stack([one.levels.below(high[:, j]) for j, one in enumerate(columns)])
    ties = _ties(panel, tables, columns)
    errors = _error_correlation(ties, columns, batches)
    return Profiles(
        columns=columns,
        scale=scale,
        target=target,
        tolerance=tolerance,
        low=low,
        high=high,
        estimate=stack([one.levels.centre for one in columns]),
        sd=stack([one.levels.spread for one in columns]),
        lower90=stack([one.levels.quantile(0.05) for one in columns]),
        upper90=stack([one.levels.quantile(0.95) for one in columns]),
        p_within=np.clip(below_high - below_low, 0.0, 1.0),
        p_above=np.clip(1.0 - below_high, 0.0, 1.0),
        p_all=np.clip(joint_within(below_low, below_high, errors), 0.0, 1.0),
        error_correlation=errors,
        noise_correlation=ties.noise,
    )


def _ties(panel: Panel, tables: Sequence[Table], columns: Sequence[AttributeLevels]) -> correlation.Correlations:
    """Correlations between columns from each taster's mean adjusted score on each batch."""
    pairs: dict[tuple[int, int], int] = {}
    for table in tables:
        for pair in zip(table.batch.tolist(), table.taster.tolist(), strict=True):
            pairs.setdefault(pair, len(pairs))
    total, count = np.zeros((len(pairs), len(columns))), np.zeros((len(pairs), len(columns)))
    column = 0
    for table in tables:
        rows = np.array([pairs[pair] for pair in zip(table.batch.tolist(), table.taster.tolist(), strict=True)])
        for _ in table.attributes:
            adjusted = columns[column].adjusted
            seen = np.isfinite(adjusted)
            np.add.at(total[:, column], rows[seen], adjusted[seen])
            np.add.at(count[:, column], rows[seen], 1.0)
            column += 1
    means = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
    batch = np.array([pair[0] for pair in pairs], dtype=np.intp)
    return correlation.estimate(means, batch, panel.coffee_of_batch)


def _error_correlation(ties: correlation.Correlations, columns: Sequence[AttributeLevels], batches: int) -> FloatArray:
    """Correlation of the columns' errors, from the parts of each error as a one-way layout would give them."""
    signal, noise, rest = (np.zeros((batches, len(columns))) for _ in range(3))
    for j, one in enumerate(columns):
        v = one.believed
        heard = (
            v["batch_taster"] / np.maximum(one.tasters, 1)
            + v["pull"] / np.maximum(one.pulls, 1)
            + v["residual"] / np.maximum(one.scores, 1)
        )
        share = np.where(one.scores > 0, v["batch"] / (v["batch"] + heard), 0.0)
        signal[:, j], noise[:, j] = (1 - share) ** 2 * v["batch"], share**2 * heard
        rest[:, j] = np.maximum(one.levels.spread**2 - signal[:, j] - noise[:, j], 0.0)
    return correlation.of_errors(ties, signal, noise, rest)
