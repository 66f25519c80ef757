"""Operating characteristics out of many trials, each with its Monte Carlo error, and held against the bars."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.study.trial import Losses, Trial

FloatArray = NDArray[np.float64]

_BINS = 10


@dataclass(frozen=True, slots=True)
class Estimate:
    """A mean over seasons and its Monte Carlo standard error."""

    value: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Characteristics:
    """How the verdicts did in one world.

    Attributes
    ----------
    coverage
        Share of 90 % intervals that hold the truth.
    calibration_within, calibration_good, calibration_adaptive
        Mean distance between stated probability and observed share over ten bins, weighted by their size: of single
        attributes, of whole batches, and of whole batches at the end of tasting as told. It cannot be 0 with finite
        data: `calibration_floor` is what a perfectly calibrated judge would show for whole batches with as many.
    wrong_release, wrong_hold, naive_wrong_release, naive_wrong_hold
        Shares of all batches at equal cups.
    cost, naive_cost, cost_ratio
        Cost of wrong decisions a batch at equal cups, and Evenhand's over naive averaging's.
    adaptive_cups, adaptive_cost
        Cups a batch and cost of wrong decisions when tasting again as told.
    naive_cups_for_equal, cups_ratio
        Cups a batch that naive averaging needs for the adaptive cost (the most tried where it never gets there:
        `naive_gets_there` is then False and the ratio an upper bound), and Evenhand's cups over them.
    """

    world: str
    seasons: int
    coverage: Estimate
    calibration_within: Estimate
    calibration_good: Estimate
    calibration_adaptive: Estimate
    calibration_floor: float
    wrong_release: Estimate
    wrong_hold: Estimate
    naive_wrong_release: Estimate
    naive_wrong_hold: Estimate
    cost: Estimate
    naive_cost: Estimate
    cost_ratio: Estimate
    adaptive_cups: Estimate
    adaptive_cost: Estimate
    naive_cups_for_equal: float
    naive_gets_there: bool
    cups_ratio: Estimate


def summarise(world: str, trials: Sequence[Trial]) -> Characteristics:
    """Sum up the trials of one world.

    Parameters
    ----------
    world
        Its name.
    trials
        Two or more; errors are by the jackknife over them, since batches of one season share its draws.

    Raises
    ------
    DesignError
        If there are fewer than two trials.
    """
    if len(trials) < 2:
        raise DesignError("Operating characteristics need two seasons or more.")

    def mean(pick: Callable[[Trial], float]) -> Estimate:
        return _jackknife(trials, lambda some: float(np.mean([pick(one) for one in some])))

    needed, gets_there = _cups_for_equal(trials)
    return Characteristics(
        world=world,
        seasons=len(trials),
        coverage=mean(lambda one: one.covered),
        calibration_within=_jackknife(trials, lambda some: _calibration_of(some, "within")),
        calibration_good=_jackknife(trials, lambda some: _calibration_of(some, "good")),
        calibration_adaptive=_jackknife(trials, lambda some: _calibration_of(some, "adaptive")),
        calibration_floor=_calibration_floor(np.concatenate([one.p_good for one in trials])),
        wrong_release=mean(lambda one: one.fixed.wrong_release),
        wrong_hold=mean(lambda one: one.fixed.wrong_hold),
        naive_wrong_release=mean(lambda one: one.naive_fixed.wrong_release),
        naive_wrong_hold=mean(lambda one: one.naive_fixed.wrong_hold),
        cost=mean(lambda one: one.fixed.cost),
        naive_cost=mean(lambda one: one.naive_fixed.cost),
        cost_ratio=_jackknife(
            trials, lambda some: _mean_cost([one.fixed for one in some]) / _mean_cost([one.naive_fixed for one in some])
        ),
        adaptive_cups=mean(lambda one: one.adaptive.cups),
        adaptive_cost=mean(lambda one: one.adaptive.cost),
        naive_cups_for_equal=needed,
        naive_gets_there=gets_there,
        cups_ratio=_jackknife(
            trials, lambda some: float(np.mean([one.adaptive.cups for one in some])) / _cups_for_equal(some)[0]
        ),
    )


def _mean_cost(losses: Sequence[Losses]) -> float:
    return max(float(np.mean([one.cost for one in losses])), 1e-12)


def _jackknife(trials: Sequence[Trial], statistic: Callable[[Sequence[Trial]], float]) -> Estimate:
    n = len(trials)
    left_out = np.array([statistic([*trials[:i], *trials[i + 1 :]]) for i in range(n)])
    return Estimate(statistic(trials), sqrt((n - 1) / n * float(np.sum((left_out - left_out.mean()) ** 2))))


def calibration_error(stated: FloatArray, happened: FloatArray) -> float:
    """Mean distance of stated probability from observed share over ten equal bins, weighted by their size.

    Parameters
    ----------
    stated, happened
        Probabilities, and 1 or 0 for what came true, shape (n,).
    """
    bins = np.minimum((stated * _BINS).astype(int), _BINS - 1)
    gap = np.bincount(bins, stated - happened, minlength=_BINS)
    return float(np.abs(gap).sum() / len(stated))


def _calibration_of(trials: Sequence[Trial], of: str) -> float:
    if of == "good":
        pairs = [(one.p_good, one.is_good) for one in trials]
    elif of == "adaptive":
        pairs = [(one.p_good_adaptive, one.is_good_adaptive) for one in trials]
    else:
        pairs = [(one.p_within, one.is_within) for one in trials]
    return calibration_error(
        np.concatenate([stated for stated, _ in pairs]), np.concatenate([true for _, true in pairs]).astype(float)
    )


def _calibration_floor(stated: FloatArray) -> float:
    rng = np.random.default_rng(0)
    return float(
        np.mean([calibration_error(stated, (rng.random(len(stated)) < stated).astype(float)) for _ in range(200)])
    )


def _cups_for_equal(trials: Sequence[Trial]) -> tuple[float, bool]:
    """Cups a batch at which naive averaging costs as little as Evenhand's adaptive tasting, by interpolation."""
    goal = float(np.mean([one.adaptive.cost for one in trials]))
    cups = np.mean([[at.cups for at in one.naive_at] for one in trials], axis=0)
    cost = np.mean([[at.cost for at in one.naive_at] for one in trials], axis=0)
    reached = np.flatnonzero(cost <= goal)
    if not len(reached):
        return float(cups[-1]), False
    first = int(reached[0])
    if first == 0:
        return float(cups[0]), True
    share = (cost[first - 1] - goal) / (cost[first - 1] - cost[first])
    return float(cups[first - 1] + share * (cups[first] - cups[first - 1])), True
