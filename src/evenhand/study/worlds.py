"""The worlds of the study: the model's own, and worlds that break it, each in one stated way.

All numbers are invented and on a scale of 0 to 10 with tolerances of 1 point; none is fitted to a real shop. In the
model's own world about a tenth of the batches are bad, in halves by profile and by fault; the worlds that break the
model keep all else as it is there.
"""

from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]
Columns = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class World:
    """A law by which seasons are drawn; standard deviations are in points.

    Attributes
    ----------
    columns
        (service, attribute) of everything scored.
    coffee_sd, batch_sd, taster_sd, batch_taster_sd, pull_sd, residual_sd
        Spread of coffee means about their targets, and of the model's effects.
    response
        Points per unit of log ratio and of log time for every column, shape (columns, 2).
    unlike
        How much the spread of batches differs between the columns: their s.d. is `batch_sd` times these, or all the
        same where empty.
    ratio_sd, time_sd
        Spread of pulls about the recipe, in natural logarithms.
    faults, prevalence, sensitivity, false_alarm
        Faults asked for, the share of batches that has each, and the panel's mean rates; tasters differ about them.
    skew
        Skewness of taster, batch x taster and residual effects (a shifted gamma law); 0 is normal.
    step
        Scores are rounded to multiples of this, points, and always kept on the scale.
    tail_df
        Degrees of freedom of a t law for residuals, scaled to the same spread; 0 is normal.
    drift
        How far one taster's level wanders over the season, points.
    correlation
        Correlation between attributes in every effect.
    bend
        Points per squared unit of (deviation / its spread) that the response is off a straight line.
    """

    name: str
    says: str
    columns: Columns = (
        ("black", "acidity"),
        ("black", "sweetness"),
        ("black", "bitterness"),
        ("black", "body"),
        ("milk", "sweetness"),
        ("milk", "bitterness"),
        ("milk", "coffee strength"),
    )
    coffees: int = 6
    batches: int = 60
    tasters: int = 5
    tolerance: float = 1.0
    coffee_sd: float = 0.15
    batch_sd: float = 0.33
    taster_sd: float = 0.5
    batch_taster_sd: float = 0.3
    pull_sd: float = 0.25
    residual_sd: float = 0.6
    unlike: tuple[float, ...] = ()
    response: tuple[tuple[float, float], ...] = (
        (-2.0, -2.0),
        (0.5, -0.5),
        (2.0, 2.5),
        (-2.5, 1.0),
        (0.0, -0.5),
        (1.0, 1.2),
        (-1.5, 0.5),
    )
    ratio_sd: float = 0.06
    time_sd: float = 0.09
    faults: tuple[str, ...] = ("smoky", "green", "baked")
    prevalence: float = 0.02
    sensitivity: float = 0.7
    false_alarm: float = 0.04
    skew: float = 0.0
    step: float = 0.0
    tail_df: float = 0.0
    drift: float = 0.0
    correlation: float = 0.0
    bend: float = 0.0

    def share_bad(self) -> float:
        """Share of batches out of tolerance or with a fault, attributes taken as independent and normal."""
        sd = np.hypot(self.coffee_sd, self.batch_sds)
        inside = float(np.prod(2 * ndtr(self.tolerance / sd) - 1))
        return 1.0 - inside * (1.0 - self.prevalence) ** len(self.faults)

    @property
    def batch_sds(self) -> FloatArray:
        """Standard deviation of batches in each column, points, shape (columns,)."""
        return self.batch_sd * np.array(self.unlike or (1.0,) * len(self.columns))


_OWN = World(name="own", says="the model's own world: normal effects, straight responses, independent attributes")

WORLDS = MappingProxyType(
    {
        world.name: world
        for world in (
            _OWN,
            replace(
                _OWN, name="loose", says="the own world with three batches in ten bad", coffee_sd=0.2, batch_sd=0.45
            ),
            replace(
                _OWN,
                name="unlike",
                says="attributes differ in how far batches spread, from a third of the usual to half as much again",
                unlike=(0.35, 0.5, 0.7, 0.9, 1.1, 1.3, 1.5),
            ),
            replace(_OWN, name="skewed", says="tasters and their errors lean to one side", skew=1.5),
            replace(_OWN, name="coarse", says="scores in steps of two points", step=2.0),
            replace(_OWN, name="heavy", says="errors with heavy tails (t with 3 degrees of freedom)", tail_df=3.0),
            replace(_OWN, name="drifting", says="one taster climbs by two points over the season", drift=2.0),
            replace(_OWN, name="correlated", says="attributes move together (0.6) in roast and noise", correlation=0.6),
            replace(_OWN, name="bent", says="the response to a deviation bends away from a line", bend=0.05),
        )
    }
)
Effect = Literal["taster", "batch_taster", "residual", "batch", "coffee", "pull"]


def draw_effects(
    world: World, sd: float | FloatArray, shape: tuple[int, ...], rng: np.random.Generator, *, kind: Effect
) -> FloatArray:
    """Draw effects of one kind by the world's law.

    Parameters
    ----------
    sd
        Standard deviation, points: a number, or one for each column.
    shape
        The last axis runs over the world's columns, which are correlated as the world says.
    kind
        Which effect; skew touches tasters and sheets only, heavy tails residuals only.

    Returns
    -------
    ndarray
        Mean 0 and standard deviation `sd`, of the given shape.
    """
    if kind == "residual" and world.tail_df:
        df = world.tail_df
        own = rng.standard_t(df, shape) * np.sqrt((df - 2) / df)
        shared = rng.standard_t(df, (*shape[:-1], 1)) * np.sqrt((df - 2) / df)
    elif world.skew and kind in ("taster", "batch_taster", "residual"):
        k = 4.0 / world.skew**2
        own = (rng.gamma(k, 1.0, shape) - k) / np.sqrt(k)
        shared = (rng.gamma(k, 1.0, (*shape[:-1], 1)) - k) / np.sqrt(k)
    else:
        own = rng.standard_normal(shape)
        shared = rng.standard_normal((*shape[:-1], 1))
    rho = world.correlation
    return np.asarray(sd * (np.sqrt(rho) * shared + np.sqrt(1 - rho) * own), dtype=float)


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of a season: levels (batches, columns) in points, faults (batches, faults), and which are good."""

    level: FloatArray
    fault: NDArray[np.bool_]
    good: NDArray[np.bool_]
    columns: Columns = field(default=())
