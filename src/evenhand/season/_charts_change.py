"""Change point: from which batch on a measure lies elsewhere, how surely, and what else changed at that time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri, stdtr, stdtrit

from evenhand.errors import DesignError
from evenhand.season._charts_baseline import Baseline, read_series
from evenhand.words import say

Floats = NDArray[np.float64]

_NODES = 64
# Shifts are expected to be of this size, in typical standard deviations, when the place of one is weighed.
_SHIFT_SD = 2.0
# Something that changes at more than this share of the places where a change could be explains nothing.
_TOO_OFTEN = 0.34
_EVEN_CHANCE = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePoint:
    """The most likely single step in the mean of a measure.

    Attributes
    ----------
    first
        Number of the first measured batch after the step, from 0.
    earliest, latest
        The first batch after the step lies between these with a probability of at least 90 %, if there is a step.
    shift, shift_sd
        How much higher the level is from there on, and its standard uncertainty, in the measure's unit. The place was
        chosen because the shift is large there, so a shift that is barely seen is told too large.
    p
        Chance that batches without a step show one so clear anywhere.
    place
        Shape (batches,): probability that each batch is the first after the step, if there is one. Batches that were
        not measured share evenly with the next that was.
    batches
        How many were measured.
    """

    first: int
    earliest: int
    latest: int
    shift: float
    shift_sd: float
    p: float
    place: Floats
    batches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Coincidence:
    """Something else that changed when a measure stepped.

    Attributes
    ----------
    what, before, after
        What changed, from what, to what.
    batch
        Number of the first batch with the new state.
    probability
        Probability that the step lies just there, if there is one step.
    by_chance
        Share of all places where a step could be at which this state changes: with much more than one or two places
        in ten a coincidence says little.
    """

    what: str
    before: str
    after: str
    batch: int
    probability: float
    by_chance: float


def find_change(value: ArrayLike, base: Baseline, sd: ArrayLike | float = 0.0) -> ChangePoint:
    """Find the most likely single step in the mean, weighing each batch by how well it is known.

    Parameters
    ----------
    value
        Shape (batches,), in roasting order; NaN where not measured, which is passed over.
    base
        Gives the spread between batches; its centre is not used.
    sd
        Standard uncertainty of each value.

    Raises
    ------
    DesignError
        If shapes differ or fewer than four batches were measured.

    Notes
    -----
    For each place the weighted means before and after are compared, z = difference / its standard deviation. `p` is the
    chance of the largest |z| over all places: the z are a Brownian bridge at the places' shares of information, divided
    by its standard deviation, and the chance that it stays inside is integrated from place to place. Where the spread
    was learned, the largest |z| is first read as Student's with the baseline's degrees of freedom (an approximation).

    References
    ----------
    Hawkins, D. M. (1977). Testing a sequence of observations for a shift in location. Journal of the American
    Statistical Association 72, 180-186.
    """
    x, u = read_series(value, sd)
    known = np.flatnonzero(np.isfinite(x))
    if known.size < 4:
        raise DesignError(say("A change point needs at least 4 measured batches, not {count}.", count=known.size))
    weight = base.spread(u[known]) ** -2.0
    before, gathered = np.cumsum(weight)[:-1], np.cumsum(weight * x[known])[:-1]
    total, whole = weight.sum(), float(weight @ x[known])
    after = total - before
    shift = (whole - gathered) / after - gathered / before
    variance = 1.0 / before + 1.0 / after
    z = shift / np.sqrt(variance)
    best = int(np.argmax(np.abs(z)))
    # Bayes' rule over the places, with a normal prior on the shift, so that the ends are not favoured.
    ratio = (_SHIFT_SD * base.typical_sd) ** 2 / variance
    log_place = 0.5 * z**2 * ratio / (1.0 + ratio) - 0.5 * np.log1p(ratio)
    share = np.exp(log_place - log_place.max())
    share /= share.sum()
    # The step may lie at any batch after one measured and up to the next.
    width = np.diff(known)
    place = np.zeros(x.shape)
    place[known[0] + 1 : known[-1] + 1] = np.repeat(share / width, width)
    gathering = np.cumsum(share)
    earliest = int(np.searchsorted(gathering, 0.05))
    latest = min(int(np.searchsorted(gathering, 0.95)), share.size - 1)
    return ChangePoint(
        first=int(known[best + 1]),
        earliest=int(known[min(earliest, best)] + 1),
        latest=int(known[max(latest, best) + 1]),
        shift=float(shift[best]),
        shift_sd=float(np.sqrt(variance[best])),
        p=chance_of_largest(_as_normal(float(np.abs(z[best])), base.freedom), before / total),
        place=place,
        batches=int(known.size),
    )


def chance_of_largest(z: float, share: Floats) -> float:
    """Chance that the largest of |difference| / its sd over all places reaches `z` when nothing changed.

    Parameters
    ----------
    z
        The largest value seen.
    share
        Share of all information before each place, rising, shape (places,), strictly between 0 and 1.
    """
    if z <= 0:
        return 1.0
    # Ten or so places inside one step of the bridge need no finer nodes; many batches do.
    nodes, node_weight = np.polynomial.legendre.leggauss(max(_NODES, 4 * int(np.sqrt(share.size)) + _NODES // 2))
    limit = z * np.sqrt(share * (1.0 - share))
    here = limit[0] * nodes
    density = np.exp(-0.5 * here**2 / (share[0] * (1 - share[0]))) / np.sqrt(2 * np.pi * share[0] * (1 - share[0]))
    inside = density * limit[0] * node_weight
    for i in range(1, share.size):
        there = limit[i] * nodes
        left = (1.0 - share[i]) / (1.0 - share[i - 1])
        variance = (share[i] - share[i - 1]) * left
        step = np.exp(-0.5 * (there[:, None] - left * here[None, :]) ** 2 / variance) / np.sqrt(2 * np.pi * variance)
        # Where a step is finer than the nodes the rule errs; each column is a density whose mass is known.
        mass = (limit[i] * node_weight) @ step
        edge = np.sqrt(variance)
        true = ndtr((limit[i] - left * here) / edge) - ndtr((-limit[i] - left * here) / edge)
        step *= np.where(mass > _EVEN_CHANCE, true / np.maximum(mass, _EVEN_CHANCE), 0.0)
        inside = (step @ inside) * limit[i] * node_weight
        here = there
    return float(min(1.0, max(0.0, 1.0 - inside.sum())))


def what_else_changed(change: ChangePoint, states: Mapping[str, Sequence[str | None]]) -> tuple[Coincidence, ...]:
    """Find what else changed within the span in which the step may lie; likeliest first.

    Parameters
    ----------
    change
        From `find_change`.
    states
        By name (green lot, harvest, who roasted, machine, meter ...), one label a batch; None where unknown.

    Raises
    ------
    DesignError
        If a state does not have one label a batch.

    Notes
    -----
    What changes at a third of all places or more is left out: whoever roasts every other batch explains no step.
    """
    found = []
    for what, labels in states.items():
        if len(labels) != change.place.size:
            raise DesignError(
                say(
                    "{what} has {labels} labels for {batches} batches; give one a batch.",
                    what=what,
                    labels=len(labels),
                    batches=change.place.size,
                )
            )
        known = [(i, label) for i, label in enumerate(labels) if label is not None]
        turns = [(old, new) for old, new in pairwise(known) if old[1] != new[1]]
        often = len(turns) / max(1, change.place.size - 1)
        if often > _TOO_OFTEN:
            continue
        for (old, before), (new, after) in turns:
            # The state may have turned at any batch since the last one that is known.
            probability = float(change.place[old + 1 : new + 1].sum())
            if new >= change.earliest and old + 1 <= change.latest and probability > 0:
                found.append(
                    Coincidence(
                        what=what,
                        before=before,
                        after=after,
                        batch=new,
                        probability=probability,
                        by_chance=often,
                    )
                )
    return tuple(sorted(found, key=lambda one: (-one.probability, one.what)))


def half_width90(freedom: float) -> float:
    """Standard deviations on each side of a 90 % interval."""
    return float(ndtri(0.95) if np.isinf(freedom) else stdtrit(freedom, 0.95))


def _as_normal(z: float, freedom: float) -> float:
    """Read a value of Student's law as the normal one with the same chance."""
    if np.isinf(freedom):
        return z
    return float(-ndtri(max(float(stdtr(freedom, -z)), _EVEN_CHANCE)))
