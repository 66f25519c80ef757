"""Learns, pull by pull, how ln time answers to a grinder's setting, and forecasts the next pull in its own steps.

ln time is a level, plus a slope a step, plus exponents of dose, beverage mass and pressure, plus burrs still cold, days
off roast, the coffee and the batch. The level walks from day to day. All of it is a linear Gaussian model with an
unknown scatter, so each day's pulls are taken in by one exact update of a small matrix (a Kalman filter in days). How
fast the level walks and how much batches differ is not known beforehand: several answers run side by side and are
weighted by how well each foretold the pulls.

References
----------
Kalman (1960), A new approach to linear filtering and prediction problems, Journal of Basic Engineering 82(1) 35-45.
Magill (1965), Optimal adaptive estimation of sampled stochastic processes, IEEE Transactions on Automatic Control
10(4) 434-439: filters side by side, weighted by their likelihood.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.espresso._grinder_rows import (
    LEVEL,
    SHARED,
    Reference,
    Shots,
    choose_reference,
    find_step,
    log_time_at_reference_water,
    log_viscosity,
    parse_setting,
    shared_columns,
)
from evenhand.units import Measured
from evenhand.words import say

__all__ = [
    "BELIEFS", "SCATTERS", "SHARED", "Belief", "Forecast", "Grinder", "Reference", "Scatter", "Shots", "find_step",
    "learn", "parse_setting",
]  # fmt: skip

FloatArray = NDArray[np.float64]

# From memory and common practice, no source: shots pulled alike differ by about 5 % in time.
_USUAL_SCATTER = 0.05
# The weight of that belief, in pulls.
_SCATTER_DEGREES = 6.0
# A pull further off than this many standard deviations counts less, in proportion: a mishap should not move the grind.
_OUTLIER_SDS = 3.0
# A bag of one batch lasts no longer: later its effect is forgotten, and it is met as new. Common practice, no source.
_BATCH_DAYS = 21.0
_BATCHES_KEPT = 12


@dataclass(frozen=True, slots=True)
class Belief:
    """What is believed of one shared coefficient before the first pull, in ln time per unit of its column."""

    mean: float
    sd: float
    source: str


BELIEFS: dict[str, Belief] = {
    "level": Belief(3.3, 0.7, "Common practice, no source: shots run about 27 s, give or take a factor of two."),
    "setting": Belief(0.0, 0.15, "None: which way a grinder's numbers run is its maker's choice."),
    "dose": Belief(1.0, 0.4, "Darcy (1856): depth of the bed; the uncertainty is common practice, no source."),
    "beverage": Belief(0.9, 0.2, "Darcy (1856), less the time to the first drop; common practice, no source."),
    "pressure": Belief(0.75, 0.2, "Between 1 (Darcy 1856) and 0.5 (a bed that packs; common practice, no source)."),
    "cold": Belief(0.0, 0.05, "None: cold burrs may run fast or slow."),
    "rest": Belief(0.0, 0.1, "None: gas slows the flow, ageing quickens it; common practice, no source."),
}
# Between coffees on one grinder; common practice, no source.
_COFFEE_SD = 0.2
# A shop that knows which way its numbers run knows little of how far: common practice, no source.
_KNOWN_SLOPE = (0.05, 0.05)


@dataclass(frozen=True, slots=True)
class Scatter:
    """One answer to what is not known beforehand, in shares of the scatter between like pulls.

    Attributes
    ----------
    drift
        Standard deviation of the level's walk over one day.
    batch
        Standard deviation between batches of one coffee.
    """

    drift: float
    batch: float


SCATTERS: tuple[Scatter, ...] = tuple(Scatter(drift, batch) for drift in (0.0, 0.15, 0.6) for batch in (0.3, 1.2))


@dataclass(frozen=True, slots=True)
class Forecast:
    """What is known of ln time beforehand: one Student's t an answer, and its weight; all of shape (answers,)."""

    weight: FloatArray
    location: FloatArray
    scale: FloatArray
    degrees: FloatArray

    @property
    def time_s(self) -> Measured:
        """The time that is as likely passed as not, and its standard uncertainty, s."""
        mean = float(self.weight @ self.location)
        spread = self.scale**2 * self.degrees / (self.degrees - 2.0) + (self.location - mean) ** 2
        return Measured(float(np.exp(mean)), float(np.exp(mean) * np.sqrt(self.weight @ spread)))

    def p_below(self, time_s: float) -> float:
        """Probability of a shorter time."""
        from scipy.special import stdtr

        return float(self.weight @ stdtr(self.degrees, (np.log(time_s) - self.location) / self.scale))

    def p_inside(self, low_s: float, high_s: float) -> float:
        """Probability of a time between two bounds, s; a bound of 0 or less is no bound."""
        return self.p_below(high_s) - (self.p_below(low_s) if low_s > 0 else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Grinder:
    """What the pulls so far have taught; `update` gives a new one and leaves this as it is.

    The mean and the matrix of coefficients have one layer for each of `scatters`: shapes (answers, coefficients) and
    (answers, coefficients, coefficients), the matrix in shares of the squared scatter. Coefficients are the seven
    shared, then one for each of `coffees`, then one for each of `batches`. Where `reads_settings`, pulls without a
    setting are passed over: they do not say what the grinder did. `played_down` counts the pulls that were far off.
    """

    reference: Reference
    scatters: tuple[Scatter, ...]
    outlier_sds: float
    reads_settings: bool
    mean: FloatArray
    shape: FloatArray
    degrees: float
    squares: FloatArray
    log_likelihood: FloatArray
    coffees: tuple[str, ...] = ()
    batches: tuple[str, ...] = ()
    batch_seen: tuple[float, ...] = ()
    day: float | None = None
    pulls: int = 0
    played_down: int = 0

    @property
    def weight(self) -> FloatArray:
        """How much each answer counts, shape (answers,), sum 1."""
        likelihood = np.exp(self.log_likelihood - self.log_likelihood.max())
        return np.asarray(likelihood / likelihood.sum(), dtype=float)

    @property
    def scatter(self) -> float:
        """Standard deviation of ln time between like pulls."""
        return float(self.weight @ np.sqrt(self.squares / (self.degrees - 2.0)))

    def coefficient(self, name: str) -> Measured:
        """Give one of the shared coefficients, in ln time per unit of its column (a step, for the setting)."""
        at = self._place(name)
        return Measured(float(np.log(at.time_s.value)), at.time_s.sd / at.time_s.value)

    @property
    def p_higher_is_finer(self) -> float:
        """Probability that a higher setting runs slower."""
        return 1.0 - self._place("setting").p_below(1.0)

    def _place(self, name: str) -> Forecast:
        column = SHARED.index(name)
        unit = np.sqrt(self.squares / self.degrees * self.shape[:, column, column])
        return Forecast(self.weight, self.mean[:, column], unit, np.full(len(unit), self.degrees))

    def update(self, shots: Shots) -> "Grinder":
        """Learn from more pulls, none of a day before the last one seen.

        Parameters
        ----------
        shots
            One pull or many, in any order.

        Raises
        ------
        DesignError
            If a pull lies before the last day seen.
        """
        if self.reads_settings:
            shots = shots.take(np.isfinite(shots.setting))
        if not len(shots):
            return self
        shots = shots.take(np.lexsort((np.nan_to_num(shots.nth), shots.day)))
        if self.day is not None and shots.day[0] < self.day:
            raise DesignError(
                say("A grinder learns forwards: pulls of an earlier day need everything to be learned anew.")
            )
        x, y = shared_columns(shots, self.reference), log_time_at_reference_water(shots, self.reference)
        starts = np.flatnonzero(np.diff(shots.day, prepend=np.nan))
        grinder = self
        for start, end in zip(starts, [*starts[1:], len(y)], strict=True):
            day = slice(int(start), int(end))
            grinder = grinder._ahead_to(float(shots.day[start]), shots.coffee[day], shots.batch[day])
            grinder = grinder._take_in(grinder._columns(x[day], shots.coffee[day], shots.batch[day]), y[day])
        return grinder

    def _ahead_to(self, day: float, coffee: Sequence[str] | NDArray[np.str_], batch: NDArray[np.str_]) -> "Grinder":
        """Let the level walk to a day, forget batches that are used up, and make room for new coffees and batches."""
        gap = 0.0 if self.day is None else day - self.day
        shape = self.shape.copy()
        shape[:, LEVEL, LEVEL] += gap * np.array([s.drift for s in self.scatters]) ** 2
        seen = dict(zip(self.batches, self.batch_seen, strict=True))
        today = list(dict.fromkeys(str(b) for b in batch))
        new_coffees = [c for c in dict.fromkeys(str(c) for c in coffee) if c not in self.coffees]
        old = [b for b in self.batches if b in today or day - seen[b] <= _BATCH_DAYS]
        spare = max(_BATCHES_KEPT - len([b for b in today if b not in old]), 0)
        latest = sorted(old, key=lambda b: (b in today, seen[b]))[-spare:] if spare else []
        kept = [b for b in old if b in latest or b in today]
        new = [b for b in today if b not in kept]

        first_coffee = len(SHARED)
        first_batch = first_coffee + len(self.coffees)
        stay = [*range(first_batch), *(first_batch + self.batches.index(b) for b in kept)]
        size = len(stay) + len(new_coffees) + len(new)
        # Old coefficients keep their place but for the new coffees, which stand before the batches.
        place = [i if i < first_batch else i + len(new_coffees) for i in range(len(stay))]
        wide = np.zeros((len(self.scatters), size, size))
        mean = np.zeros((len(self.scatters), size))
        wide[np.ix_(range(len(self.scatters)), place, place)] = shape[:, stay][:, :, stay]
        mean[:, place] = self.mean[:, stay]
        for i in range(first_batch, first_batch + len(new_coffees)):
            wide[:, i, i] = (_COFFEE_SD / _USUAL_SCATTER) ** 2
        for i in range(size - len(new), size):
            wide[:, i, i] = np.array([s.batch for s in self.scatters]) ** 2
        return replace(
            self,
            mean=mean,
            shape=wide,
            coffees=(*self.coffees, *new_coffees),
            batches=(*kept, *new),
            batch_seen=tuple(day if b in today else seen[b] for b in (*kept, *new)),
            day=day,
        )

    def _columns(self, shared: FloatArray, coffee: NDArray[np.str_], batch: NDArray[np.str_]) -> FloatArray:
        """Add to the shared columns a 1 for each pull's coffee and batch, where they are known."""
        coffees, batches = np.array(self.coffees, dtype=np.str_), np.array(self.batches, dtype=np.str_)
        return np.column_stack([shared, coffee[:, None] == coffees, batch[:, None] == batches]).astype(float)

    def _take_in(self, x: FloatArray, y: FloatArray) -> "Grinder":
        """Update with pulls of one day: exact Bayes for a linear model with a normal-inverse-gamma prior."""
        from scipy.special import gammaln

        left = y - self.mean @ x.T
        weight = np.ones_like(left)
        if np.isfinite(self.outlier_sds):
            ahead = 1.0 + np.einsum("ni,hij,nj->hn", x, self.shape, x, optimize=True)
            sds = np.abs(left) / np.sqrt(ahead * (self.squares / self.degrees)[:, None])
            weight = np.minimum(1.0, self.outlier_sds / np.maximum(sds, 1e-12))
        weighted = weight[:, :, None] * x
        gram = x.T @ weighted
        score = np.einsum("hni,hn->hi", weighted, left, optimize=True)
        loose = np.eye(x.shape[1]) + gram @ self.shape
        shape = self.shape @ np.linalg.inv(loose)
        shape = 0.5 * (shape + shape.transpose(0, 2, 1))
        move = np.einsum("hij,hj->hi", shape, score)
        squares = self.squares + np.einsum("hn,hn->h", weight * left, left) - np.einsum("hi,hi->h", score, move)
        degrees = self.degrees + len(y)
        log_likelihood = (
            gammaln(degrees / 2)
            - gammaln(self.degrees / 2)
            + self.degrees / 2 * np.log(self.squares)
            - degrees / 2 * np.log(squares)
            - len(y) / 2 * np.log(np.pi)
            - 0.5 * np.linalg.slogdet(loose)[1]
            + 0.5 * np.log(weight).sum(axis=1)
        )
        return replace(
            self,
            mean=self.mean + move,
            shape=shape,
            degrees=degrees,
            squares=squares,
            log_likelihood=self.log_likelihood + log_likelihood,
            pulls=self.pulls + len(y),
            played_down=self.played_down + int(np.sum(self.weight @ weight < 0.999)),
        )

    def forecast(
        self,
        *,
        coffee: str,
        batch: str,
        setting: float | None,
        dose_g: float,
        beverage_g: float,
        pressure_bar: float | None = None,
        water_c: float | None = None,
        rest_days: float | None = None,
        nth: float | None = None,
        days_ahead: float = 0.0,
    ) -> Forecast:
        """Forecast the time of one pull.

        Parameters
        ----------
        coffee, batch
            Labels; a new one is forecast with the spread between coffees or batches.
        setting
            What the grinder will show; None stands at the reference setting.
        dose_g, beverage_g, pressure_bar, water_c
            The pull as planned; None stands at the reference.
        rest_days
            Days off roast; None is a week.
        nth
            Pulls that the day has seen before; None for warm burrs.
        days_ahead
            Days after the last one seen.
        """

        def one(value: float | None) -> FloatArray:
            return np.array([np.nan if value is None else value])

        shots = Shots(
            day=np.zeros(1), nth=one(nth), rest_days=one(rest_days), coffee=np.array([coffee]), batch=np.array([batch]),
            setting=one(setting), dose_g=one(dose_g), beverage_g=one(beverage_g), time_s=np.ones(1),
            pressure_bar=one(pressure_bar), water_c=one(water_c),
        )  # fmt: skip
        x = self._columns(shared_columns(shots, self.reference), shots.coffee, shots.batch)[0]
        ahead = 1.0 + np.einsum("i,hij,j->h", x, self.shape, x)
        ahead += days_ahead * np.array([s.drift for s in self.scatters]) ** 2
        if coffee not in self.coffees:
            ahead += (_COFFEE_SD / _USUAL_SCATTER) ** 2
        if batch not in self.batches:
            ahead += np.array([s.batch for s in self.scatters]) ** 2
        location = self.mean @ x + log_viscosity(shots.water_c, self.reference)[0]
        scale = np.sqrt(self.squares / self.degrees * ahead)
        return Forecast(self.weight, location, scale, np.full(len(scale), self.degrees))


def learn(
    shots: Shots,
    *,
    step: float | None = None,
    finer: Literal["higher", "lower"] | None = None,
    scatters: Sequence[Scatter] = SCATTERS,
    outlier_sds: float = _OUTLIER_SDS,
) -> Grinder:
    """Learn a grinder from all pulls so far.

    Parameters
    ----------
    shots
        Pulls on one grinder, in any order.
    step
        The grinder's own step, in its numbers; None takes `find_step`.
    finer
        Which way the numbers run, where the shop knows; None leaves it to the pulls.
    scatters
        The answers to run side by side; one alone is taken as known.
    outlier_sds
        Beyond this many standard deviations a pull counts less; infinity weighs all alike.

    Raises
    ------
    DesignError
        If there is no pull or no answer.
    QuantityError
        If the step is not positive.
    """
    if not len(shots):
        raise DesignError(say("A grinder is learned from pulls; there is none."))
    if not scatters:
        raise DesignError(say("At least one answer on drift and batches is needed."))
    means = {name: belief.mean for name, belief in BELIEFS.items()}
    sds = {name: belief.sd for name, belief in BELIEFS.items()}
    if finer is not None:
        means["setting"] = _KNOWN_SLOPE[0] if finer == "higher" else -_KNOWN_SLOPE[0]
        sds["setting"] = _KNOWN_SLOPE[1]
    count = len(scatters)
    shape = np.diag([(sds[name] / _USUAL_SCATTER) ** 2 for name in SHARED])
    empty = Grinder(
        reference=choose_reference(shots, step),
        scatters=tuple(scatters),
        outlier_sds=outlier_sds,
        reads_settings=bool(np.any(np.isfinite(shots.setting))),
        mean=np.tile([means[name] for name in SHARED], (count, 1)),
        shape=np.tile(shape, (count, 1, 1)),
        degrees=_SCATTER_DEGREES,
        squares=np.full(count, _SCATTER_DEGREES * _USUAL_SCATTER**2),
        log_likelihood=np.zeros(count),
    )
    return empty.update(shots)
