"""What the shop's own shots say of the kinetics: the level always, a shape parameter only where they can tell it.

The level is the extraction at the reference recipe, so that one shot on recipe fixes it and nothing else. Every shape
parameter starts at its prior. One is fitted when the shots would halve its prior variance or better; the others stay
where the literature puts them, and their uncertainty is still carried into every answer, as "considered" parameters.

References
----------
S. F. Schmidt (1966), Application of state-space methods to navigation problems: considered parameters.
R. T. Birge (1932), Phys. Rev. 40, 207: widening by the observed scatter.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import hypot, isfinite, log, sqrt

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import QuantityError
from evenhand.espresso._kinetics_model import Brew, dissolved_share, dissolved_shares
from evenhand.espresso._kinetics_plug_flow import FloatArray
from evenhand.espresso._kinetics_priors import PRIORS, Kinetics
from evenhand.espresso.extraction import HAND_SD_S, TDS_SD_PCT, measure
from evenhand.units import Measured

BoolArray = NDArray[np.bool_]

# Natural-logarithm units. Common practice, no source: what else moves the extraction of one pull against its twin.
PULL_SCATTER_LOG = 0.03
# A shape parameter is fitted when the shots take at least this share of its prior variance away.
TOLD_TO_FIT = 0.5
# From memory (Lockhart 1957 for the upper end): what hot water can dissolve of roasted coffee, with room for doubt.
SOLUBLE_RANGE_PCT = (22.0, 36.0)
_DEGREES_TO_WIDEN = 3
_STEP = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A pull of the shop with its dissolved solids, % by mass, and their standard uncertainty."""

    brew: Brew
    tds_pct: float
    tds_sd_pct: float = TDS_SD_PCT

    def __post_init__(self) -> None:
        if not (isfinite(self.tds_pct) and 0 < self.tds_pct < 100):
            raise QuantityError(f"Shot: tds_pct must lie between 0 and 100 %, not {self.tds_pct}.")
        if not (isfinite(self.tds_sd_pct) and self.tds_sd_pct >= 0):
            raise QuantityError(f"Shot: tds_sd_pct must be 0 or more, not {self.tds_sd_pct}.")


@dataclass(frozen=True, slots=True)
class Finding:
    """What became of one parameter.

    Attributes
    ----------
    name, unit
        The parameter.
    prior, now
        In its own unit, before and after the shots.
    fitted
        Whether the shots moved it.
    told
        Share of its prior variance that the shots could take away, 0 to 1.
    source
        Where the prior comes from.
    """

    name: str
    unit: str
    prior: Measured
    now: Measured
    fitted: bool
    told: float
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KineticsFit:
    """The kinetics as far as the shots tell them, with what stays open.

    Attributes
    ----------
    reference
        The recipe at which the level holds.
    working, covariance
        Estimate and joint covariance in working coordinates, shapes (parameters,) and (parameters, parameters).
    findings
        One a parameter, in the order of `PRIORS`.
    numbers_fixed
        How many independent numbers the shots tell better than the priors do.
    shots, leftover_log
        How many shots, and what the model leaves of the logarithm of each extraction, shape (shots,).
    misfit
        Observed scatter over expected scatter, 1 where the shots agree with the model; None with too few of them.
    warnings
        Sentences on what does not add up.
    """

    reference: Brew
    working: FloatArray
    covariance: FloatArray
    findings: tuple[Finding, ...]
    numbers_fixed: int
    shots: int
    leftover_log: FloatArray
    misfit: float | None
    warnings: tuple[str, ...]

    @property
    def kinetics(self) -> Kinetics:
        """The best estimate."""
        return kinetics_at(self.working, self.reference)

    @property
    def fitted(self) -> tuple[str, ...]:
        """Names of the parameters that the shots moved."""
        return tuple(finding.name for finding in self.findings if finding.fitted)

    def propagate(self, answer: Callable[[Kinetics], float]) -> Measured:
        """Give a function of the kinetics with its standard uncertainty, to first order (GUM 5.2.2).

        Parameters
        ----------
        answer
            A smooth function of the kinetics.
        """
        steps = 0.05 * np.sqrt(np.diag(self.covariance))
        slopes = np.zeros(len(self.working))
        for index in np.flatnonzero(steps > 0):
            move = np.zeros(len(self.working))
            move[index] = steps[index]
            above = answer(kinetics_at(self.working + move, self.reference))
            below = answer(kinetics_at(self.working - move, self.reference))
            slopes[index] = (above - below) / (2 * steps[index])
        return Measured(answer(self.kinetics), sqrt(max(0.0, float(slopes @ self.covariance @ slopes))))


def kinetics_at(working: FloatArray, reference: Brew) -> Kinetics:
    """Turn working coordinates into kinetics; all solubles follow from the level at the reference recipe."""
    own = {prior.name: prior.to_own(float(value)) for prior, value in zip(PRIORS, working, strict=True)}
    level_pct = own.pop("level_pct")
    shape = Kinetics(soluble_pct=1.0, **own)
    return Kinetics(soluble_pct=level_pct / dissolved_share(shape, reference), **own)


def believe_kinetics(reference: Brew) -> KineticsFit:
    """Give what is believed before any shot."""
    return fit_kinetics(reference, ())


def fit_kinetics(reference: Brew, shots: Sequence[Shot], *, scatter_log: float = PULL_SCATTER_LOG) -> KineticsFit:
    """Learn the level, and what else the shots can tell, from pulls with measured solids.

    Parameters
    ----------
    reference
        The house recipe; the level is the extraction there.
    shots
        Pulls of one coffee at one grind (or with `Brew.size_ratio` stated). Pulls stopped at different masses or run
        at different flows tell more than repeats do.
    scatter_log
        Standard deviation of the logarithm of extraction between twin pulls, beside measurement.

    Raises
    ------
    QuantityError
        If the scatter is not above 0.
    """
    if not (isfinite(scatter_log) and scatter_log > 0):
        raise QuantityError(f"The scatter between twin pulls must be above 0, not {scatter_log}.")
    start = np.array([prior.to_working(prior.value) for prior in PRIORS])
    prior_sd = np.array([prior.sd for prior in PRIORS])
    if not shots:
        nothing = np.zeros((0, len(PRIORS)))
        return _result(reference, start, prior_sd, nothing, np.diag(prior_sd**2), np.zeros(len(PRIORS), bool), None)
    measured = [_log_extraction(shot) for shot in shots]
    seen = np.array([value.value for value in measured])
    noise = np.array([hypot(value.sd, scatter_log) for value in measured])
    model = _Model(reference, shots)

    misfit = _misfit(model, start, seen, noise, prior_sd)
    if misfit is not None and misfit > 1:
        noise = noise * misfit
    free = _tellable(model, start, seen, noise, prior_sd)
    working, gain = _settle(model, start, seen, noise, prior_sd, free)
    left = seen - model.log_extraction(working)
    slopes = model.slopes(working)
    # Joseph's form holds for any gain, so also for one that leaves the considered parameters where they were.
    keep = np.eye(len(PRIORS)) - gain @ slopes
    covariance = keep @ np.diag(prior_sd**2) @ keep.T + (gain * noise**2) @ gain.T
    return _result(reference, working, prior_sd, slopes / noise[:, None], covariance, free, misfit, left)


class _Model:
    """The logarithm of extraction, % of the dose, of all shots as a function of the working coordinates."""

    def __init__(self, reference: Brew, shots: Sequence[Shot]) -> None:
        self._reference = reference
        self._ratio = np.array([shot.brew.ratio for shot in shots])
        self._time_s = np.array([shot.brew.time_s for shot in shots])
        self._water_c = np.array([shot.brew.water_c for shot in shots])
        self._size_ratio = np.array([shot.brew.size_ratio for shot in shots])

    def log_extraction(self, working: FloatArray) -> FloatArray:
        kinetics = kinetics_at(working, self._reference)
        share = dissolved_shares(kinetics, self._ratio, self._time_s, self._water_c, self._size_ratio)
        return np.asarray(np.log(kinetics.soluble_pct * share), dtype=float)

    def slopes(self, working: FloatArray) -> FloatArray:
        """Give the derivatives, shape (shots, parameters), by central differences."""
        columns = []
        for index in range(len(working)):
            move = np.zeros(len(working))
            move[index] = _STEP
            columns.append((self.log_extraction(working + move) - self.log_extraction(working - move)) / (2 * _STEP))
        return np.column_stack(columns)


def _log_extraction(shot: Shot) -> Measured:
    """Logarithm of the measured extraction; the clock's doubt counts as if extraction went with a fifth of log time."""
    brew = shot.brew
    found = measure(brew.dose_g, brew.beverage_g, brew.time_s, shot.tds_pct, tds_sd_pct=shot.tds_sd_pct).extraction_pct
    assert found is not None
    return Measured(log(found.value), hypot(found.sd / found.value, 0.2 * HAND_SD_S / brew.time_s))


def _information(slopes: FloatArray, noise: FloatArray, prior_sd: FloatArray) -> FloatArray:
    weighted = slopes / noise[:, None]
    return np.asarray(weighted.T @ weighted + np.diag(prior_sd**-2), dtype=float)


def _told(weighted: FloatArray, prior_sd: FloatArray) -> FloatArray:
    """Share of each prior variance that shots with these noise-weighted slopes take away."""
    posterior = np.linalg.inv(weighted.T @ weighted + np.diag(prior_sd**-2))
    return np.asarray(np.clip(1 - np.diag(posterior) / prior_sd**2, 0, 1), dtype=float)


def _numbers_fixed(weighted: FloatArray, prior_sd: FloatArray) -> int:
    """How many independent directions the shots tell better than the priors do."""
    in_priors = weighted * prior_sd
    return int(np.sum(np.linalg.eigvalsh(in_priors.T @ in_priors) > 1))


def _tellable(model: _Model, start: FloatArray, seen: FloatArray, noise: FloatArray, prior_sd: FloatArray) -> BoolArray:
    """Which parameters to fit: the level, and those whose prior variance the shots would at least halve."""
    level_only = np.arange(len(start)) == 0
    working, _ = _settle(model, start, seen, noise, prior_sd, level_only)
    told = _told(model.slopes(working) / noise[:, None], prior_sd)
    return np.asarray(level_only | (told >= TOLD_TO_FIT))


def _misfit(
    model: _Model, start: FloatArray, seen: FloatArray, noise: FloatArray, prior_sd: FloatArray
) -> float | None:
    """Observed over expected scatter about the best fit of all parameters; None with too few shots to say."""
    working, _ = _settle(model, start, seen, noise, prior_sd, np.ones(len(start), bool))
    degrees = len(seen) - _numbers_fixed(model.slopes(working) / noise[:, None], prior_sd)
    if degrees < _DEGREES_TO_WIDEN:
        return None
    return sqrt(float(np.sum(((seen - model.log_extraction(working)) / noise) ** 2)) / degrees)


def _settle(
    model: _Model, start: FloatArray, seen: FloatArray, noise: FloatArray, prior_sd: FloatArray, free: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Find the free parameters by Gauss-Newton steps; give the estimate and the gain, shape (parameters, shots)."""
    working = start.copy()
    gain = np.zeros((len(start), len(seen)))
    for _ in range(30):
        slopes = model.slopes(working)
        full = np.linalg.solve(_information(slopes, noise, prior_sd), slopes.T / noise**2)
        gain = np.where(free[:, None], full, 0.0)
        # Steps are held to one prior deviation, so that an odd shot cannot throw the search out of the model's range.
        aim = start + gain @ (seen - model.log_extraction(working) + slopes @ (working - start))
        move = np.clip(aim - working, -prior_sd, prior_sd)
        working = working + move
        if np.max(np.abs(move)) < 1e-8:
            break
    return working, gain


def _result(
    reference: Brew,
    working: FloatArray,
    prior_sd: FloatArray,
    weighted: FloatArray,
    covariance: FloatArray,
    free: BoolArray,
    misfit: float | None,
    left: FloatArray | None = None,
) -> KineticsFit:
    told = _told(weighted, prior_sd)
    findings = []
    for index, prior in enumerate(PRIORS):
        at_start, at_end = prior.to_working(prior.value), float(working[index])
        findings.append(
            Finding(
                name=prior.name,
                unit=prior.unit,
                prior=Measured(prior.value, prior.sd * prior.own_slope(at_start)),
                now=Measured(prior.to_own(at_end), sqrt(covariance[index, index]) * prior.own_slope(at_end)),
                fitted=bool(free[index]),
                told=float(told[index]),
                source=prior.source,
            )
        )
    warnings = []
    soluble_pct = kinetics_at(working, reference).soluble_pct
    low, high = SOLUBLE_RANGE_PCT
    if not low <= soluble_pct <= high:
        warnings.append(
            f"These shots need {soluble_pct:.0f} % of the coffee to be soluble, where {low:.0f} to {high:.0f} % is "
            "usual: check refractometer, scales and the filtering of the sample before trusting the level."
        )
    if misfit is not None and misfit > 2:
        warnings.append(
            f"The shots scatter {misfit:.1f} times as much as measurement and twin pulls explain: look for uneven "
            "flow, mixed grind settings or mixed coffees."
        )
    return KineticsFit(
        reference=reference,
        working=working,
        covariance=covariance,
        findings=tuple(findings),
        numbers_fixed=_numbers_fixed(weighted, prior_sd),
        shots=len(weighted),
        leftover_log=np.zeros(0) if left is None else left,
        misfit=misfit,
        warnings=tuple(warnings),
    )
