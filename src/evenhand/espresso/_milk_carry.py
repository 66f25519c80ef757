"""How far a coffee carries in milk: the largest drink in which a panel still hears it, learned from cups they tasted.

The share that hears the coffee falls along a logistic curve in the logarithm of the drink's size. Tasters differ in
where their curve lies. All of it is integrated over a grid, so that few cups give a wide answer and not a wrong one.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.units import Measured

Array = NDArray[np.float64]
Task = Literal["yes_no", "pair", "triangle"]
Answer = Literal["told", "at_least", "below", "cannot_tell"]

# Chance of a right answer without hearing anything: ISO 5495 (pair), ISO 4120 (triangle).
_GUESS: Final = {"pair": 1.0 / 2.0, "triangle": 1.0 / 3.0}
# Share of cups missed whatever is in them; a small fixed share keeps one slip from moving the curve (F. A. Wichmann and
# N. J. Hill (2001), Perception & Psychophysics 63, 1293-1313; the value is from memory).
_LAPSE: Final = 0.02
# Priors; common practice, no source. Even in the logarithm from a sip to a jug; a steepness of 3 takes a group of like
# tasters from 80 % to 20 % while the drink grows 2.5 times; tasters differ by half or more (one standard deviation).
_LN_SIZE: Final = np.linspace(np.log(30.0), np.log(1200.0), 97)
_STEEPNESS: Final = np.exp(np.linspace(np.log(0.6), np.log(15.0), 11))
_STEEPNESS_PRIOR: Final = (np.log(3.0), 0.7)
_SPREAD: Final = np.linspace(0.05, 1.25, 7)
_SPREAD_PRIOR: Final = 0.5
# Readiness to say yes to a drink without coffee: Beta(1, 4), mean 0.2, unless blanks say better.
_FALSE_YES: Final = np.linspace(0.02, 0.74, 10)
# A range that is wider than a doubling of the drink is no answer for a menu; common practice, no source.
_USEFUL_RATIO: Final = 2.0


@dataclass(frozen=True, slots=True)
class SizeHeard:
    """At one size: cups tasted, cups said to be heard, and the share of tasters who truly hear it, by the model."""

    size_ml: float
    tasted: int
    said_heard: int
    share: Measured


@dataclass(frozen=True, slots=True)
class Carry:
    """The largest drink in which a given share of the panel hears the coffee.

    Attributes
    ----------
    size_ml
        Best estimate (median), mL.
    low_ml, high_ml
        Interval that holds it with the probability `level`.
    answer
        "told", "at_least" (still heard at the largest size tasted), "below" (lost at the smallest) or "cannot_tell".
    says
        The same in one or two sentences, with what to taste next.
    sizes
        What was tasted, by size.
    """

    size_ml: float
    low_ml: float
    high_ml: float
    level: float
    answer: Answer
    says: str
    sizes: tuple[SizeHeard, ...]


def find_carry(
    size_ml: ArrayLike,
    heard: ArrayLike,
    taster: Sequence[Hashable],
    *,
    task: Task = "yes_no",
    share: float = 0.5,
    level: float = 0.9,
) -> Carry:
    """Find the largest drink in which the panel still hears the coffee.

    Parameters
    ----------
    size_ml
        Size of the drink of each answer, mL, all made with the same shot; infinite for a blank, a milk drink without
        this coffee (only where the task is "yes_no").
    heard
        1 where the taster heard the coffee, or found the right cup; else 0.
    taster
        Who answered.
    task
        "yes_no" (do you hear it?), "pair" (which of two cups has it?) or "triangle" (which of three is the other one?).
    share
        A coffee counts as heard where the typical taster hears it in this share of cups, guesses taken out.
    level
        Probability of the interval.

    Returns
    -------
    Carry
        The size, its interval, and whether these cups can tell.

    Raises
    ------
    DesignError
        If the arrays do not fit together, or fewer than two sizes were tasted.

    Notes
    -----
    P(said heard) = g + (1 - g - 0.02) L(b (m + t z - ln size)) with the logistic function L, the guess g, steepness b,
    the panel's m, and a standard normal z for each taster. The priors stand at the top of this file.
    """
    sizes, said, who = _check(size_ml, heard, taster, task, share, level)
    blank = np.isinf(sizes)
    distinct = np.unique(sizes[~blank])
    names = list(dict.fromkeys(who))
    counts = np.zeros((2, len(names), distinct.size))
    for one_size, one_said, name, is_blank in zip(sizes, said, who, blank, strict=True):
        if not is_blank:
            counts[int(one_said), names.index(name), int(np.searchsorted(distinct, one_size))] += 1
    blanks = (int(said[blank].sum()), int(blank.sum()))
    weight, heard_share = _posterior(counts, np.log(distinct), task, blanks)

    ln_limit = _LN_SIZE[:, None] - np.log(share / (1.0 - share)) / _STEEPNESS[None, :]
    weight_limit = weight.sum(axis=2)
    low, middle, high = np.exp(_quantiles(ln_limit.ravel(), weight_limit.ravel(), (1.0 - level) / 2.0))
    above = float(weight_limit[ln_limit >= np.log(distinct[-1])].sum())
    below = float(weight_limit[ln_limit < np.log(distinct[0])].sum())
    rows = []
    for place, one in enumerate(distinct):
        mean = float((weight * heard_share[..., place]).sum())
        square = float((weight * heard_share[..., place] ** 2).sum())
        yes, no = int(counts[1, :, place].sum()), int(counts[0, :, place].sum())
        rows.append(SizeHeard(float(one), yes + no, yes, Measured(mean, float(np.sqrt(max(square - mean**2, 0.0))))))
    answer: Answer = "cannot_tell"
    if above >= level:
        answer = "at_least"
    elif below >= level:
        answer = "below"
    elif high / low <= _USEFUL_RATIO:
        answer = "told"
    says = _say(answer, (middle, low, high), level, rows, task == "yes_no" and blanks[1] == 0)
    return Carry(float(middle), float(low), float(high), level, answer, says, tuple(rows))


def _check(
    size_ml: ArrayLike, heard: ArrayLike, taster: Sequence[Hashable], task: Task, share: float, level: float
) -> tuple[Array, Array, list[Hashable]]:
    sizes, said, who = np.asarray(size_ml, dtype=float), np.asarray(heard, dtype=float), list(taster)
    if sizes.ndim != 1 or sizes.shape != said.shape or len(who) != sizes.size:
        raise DesignError("Sizes, answers and tasters must be lists of the same length, one entry an answer.")
    if not (np.all(sizes > 0) and np.all((said == 0) | (said == 1))):
        raise DesignError("A drink's size must be more than 0 mL, and an answer is 1 (heard) or 0 (not heard).")
    if task not in ("yes_no", *_GUESS):
        raise DesignError(f"There is no task {task}; choose among yes_no, pair and triangle.")
    if task != "yes_no" and np.any(np.isinf(sizes)):
        raise DesignError("Blanks (an infinite size) belong to the task yes_no only; leave them out.")
    if not (0.0 < share < 1.0 and 0.5 <= level < 1.0):
        raise DesignError("The share lies between 0 and 1, and the level between 0.5 and 1.")
    finite = sizes[np.isfinite(sizes)]
    if np.unique(finite).size < 2:
        raise DesignError("How far a coffee carries needs cups of two or more sizes; taste another size as well.")
    if finite.min() < 40.0 or finite.max() > 1000.0:
        raise DesignError("Drinks must be of 40 to 1000 mL; are the sizes in mL?")
    return sizes, said, who


def _posterior(counts: Array, ln_sizes: Array, task: Task, blanks: tuple[int, int]) -> tuple[Array, Array]:
    """Weights over panel limit, steepness and spread, and the share hearing the coffee there by size."""
    nodes, node_weights = np.polynomial.hermite_e.hermegauss(9)
    node_weights = node_weights / node_weights.sum()
    shifted = _LN_SIZE[:, None, None] + _SPREAD[None, :, None] * nodes  # m, spread, z
    slope = _STEEPNESS[None, :, None, None, None]
    hears = 1.0 / (1.0 + np.exp(-slope * (shifted[:, None, :, :, None] - ln_sizes)))  # m, steepness, spread, z, size

    prior = (
        -0.5 * ((np.log(_STEEPNESS) - _STEEPNESS_PRIOR[0]) / _STEEPNESS_PRIOR[1])[None, :, None] ** 2
        - 0.5 * (_SPREAD / _SPREAD_PRIOR)[None, None, :] ** 2
    )
    if task == "yes_no":
        guesses = _FALSE_YES
        yes, asked = blanks
        ln_guess = 3.0 * np.log1p(-guesses) + yes * np.log(guesses) + (asked - yes) * np.log1p(-guesses)
    else:
        guesses, ln_guess = np.array([_GUESS[task]]), np.zeros(1)
    parts = []
    for guess, ln_one in zip(guesses, ln_guess, strict=True):
        says_yes = guess + (1.0 - guess - _LAPSE) * hears
        ln_yes, ln_no = np.log(says_yes), np.log1p(-says_yes)
        total = ln_one + np.broadcast_to(prior, hears.shape[:3])
        for missed, got in zip(counts[0], counts[1], strict=True):
            one = ln_yes @ got + ln_no @ missed
            peak = one.max(axis=-1, keepdims=True)
            total = total + peak[..., 0] + np.log(np.exp(one - peak) @ node_weights)
        parts.append(total)
    ln_weight = np.stack(parts)
    weight = np.exp(ln_weight - ln_weight.max()).sum(axis=0)
    return weight / weight.sum(), np.einsum("mbtzs,z->mbts", hears, node_weights)


def _quantiles(values: Array, weights: Array, tail: float) -> Array:
    """Weighted quantiles at tail, one half, and one less tail, with the cumulated weight read at its midpoints."""
    distinct, place = np.unique(np.round(values, 9), return_inverse=True)
    mass = np.bincount(place.ravel(), weights=weights)
    return np.interp([tail, 0.5, 1.0 - tail], np.cumsum(mass) - mass / 2.0, distinct)


def _say(
    answer: Answer, limits: tuple[float, float, float], level: float, rows: Sequence[SizeHeard], unknown_guess: bool
) -> str:
    middle, low, high = limits
    first, last = rows[0].size_ml, rows[-1].size_ml
    sentence = {
        "told": f"The panel hears this coffee in drinks of up to about {middle:.0f} mL "
        f"({low:.0f} to {high:.0f} mL with {level:.0%} probability).",
        "at_least": f"The panel still hears this coffee at {last:.0f} mL, the largest size tasted; "
        "taste a larger one to find its limit.",
        "below": f"The panel has lost this coffee already at {first:.0f} mL, the smallest size tasted; "
        "taste a smaller one.",
        "cannot_tell": f"These {sum(row.tasted for row in rows)} cups cannot tell how far this coffee carries: "
        f"anything from {low:.0f} to {high:.0f} mL fits them ({level:.0%} probability). Taste more cups, at sizes near "
        f"{min(max(middle, first), last):.0f} mL.",
    }[answer]
    if unknown_guess:
        sentence += (
            " No drink without the coffee was tasted, so how readily the panel says yes is a guess; serve some blanks."
        )
    return sentence
