"""Run rules: patterns of batches inside the limits that chance rarely makes.

The first four are those of Western Electric (1956), the others are from Nelson (1984). Each more rule brings its own
false alarms: see `run_length_of_rules` for what a set costs.

References
----------
Western Electric Company (1956). Statistical Quality Control Handbook. Nelson, L. S. (1984). The Shewhart control chart:
tests for special causes. Journal of Quality Technology 16(4), 237-239.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.season._charts_baseline import Baseline, read_series
from evenhand.words import say

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: What each rule says of the batch at which it is met.
RULES: dict[str, str] = {
    "beyond": say("lies beyond three standard deviations"),
    "two_of_three": say("is the second of three batches beyond two standard deviations on one side"),
    "four_of_five": say("is the fourth of five batches beyond one standard deviation on one side"),
    "eight_on_one_side": say("is at least the eighth batch in a row on one side of the centre"),
    "nine_on_one_side": say("is at least the ninth batch in a row on one side of the centre"),
    "six_in_trend": say("ends six batches that steadily rise or fall"),
    "fourteen_alternating": say("ends fourteen batches that go up and down in turn"),
    "fifteen_close": say("ends fifteen batches within one standard deviation of the centre"),
    "eight_far": say("ends eight batches none of which lies within one standard deviation of the centre"),
}
WESTERN_ELECTRIC = ("beyond", "two_of_three", "four_of_five", "eight_on_one_side")
NELSON = (
    "beyond",
    "nine_on_one_side",
    "six_in_trend",
    "fourteen_alternating",
    "two_of_three",
    "four_of_five",
    "fifteen_close",
    "eight_far",
)


@dataclass(frozen=True, slots=True)
class RuleHit:
    """A batch, by its number from 0, at which a rule is met."""

    batch: int
    rule: str


def apply_rules(
    value: ArrayLike, base: Baseline, sd: ArrayLike | float = 0.0, rules: Sequence[str] = WESTERN_ELECTRIC
) -> tuple[RuleHit, ...]:
    """Find the batches at which run rules are met, in the order of the batches.

    Parameters
    ----------
    value
        Shape (batches,), in roasting order; NaN where not measured, which is passed over.
    base
        From `estimate_baseline` or `stated_baseline`.
    sd
        Standard uncertainty of each value: each batch is set against its own standard deviation.
    rules
        Names from `RULES`.

    Raises
    ------
    DesignError
        If a rule is unknown or shapes differ.
    """
    x, u = read_series(value, sd)
    known = np.flatnonzero(np.isfinite(x))
    z = (x[known] - base.centre) / base.spread(u[known])
    hits = [RuleHit(int(known[i]), rule) for rule in rules for i in np.flatnonzero(rule_mask(z, rule))]
    return tuple(sorted(hits, key=lambda hit: hit.batch))


def rule_mask(z: Floats, rule: str) -> Mask:
    """Mark where a rule is met in standardised series; `z` has shape (..., batches), and so has the answer.

    Raises
    ------
    DesignError
        If the rule is unknown.
    """
    if rule not in _MASKS:
        raise DesignError(say("There is no run rule {rule!r}; there are {rules}.", rule=rule, rules=", ".join(RULES)))
    return _MASKS[rule](z)


def _some_of(mask: Mask, wanted: int, window: int) -> Mask:
    """Mark a batch that has the property and completes `wanted` of the last `window`."""
    count = np.cumsum(mask, axis=-1)
    count[..., window:] = count[..., window:] - count[..., :-window]
    return mask & (count >= wanted)


def _one_side(z: Floats, beyond: float, wanted: int, window: int) -> Mask:
    return _some_of(z > beyond, wanted, window) | _some_of(z < -beyond, wanted, window)


def _late(mask: Mask, like: Floats) -> Mask:
    """Put a mask of steps, or of pairs of steps, at the batches that end them."""
    placed = np.zeros(like.shape, dtype=bool)
    if mask.shape[-1]:
        placed[..., -mask.shape[-1] :] = mask
    return placed


def _trend(z: Floats) -> Mask:
    step = np.diff(z, axis=-1)
    return _late(_some_of(step > 0, 5, 5) | _some_of(step < 0, 5, 5), z)


def _alternating(z: Floats) -> Mask:
    step = np.diff(z, axis=-1)
    return _late(_some_of(step[..., 1:] * step[..., :-1] < 0, 12, 12), z)


_MASKS: dict[str, Callable[[Floats], Mask]] = {
    "beyond": lambda z: np.asarray(np.abs(z) > 3.0),
    "two_of_three": lambda z: _one_side(z, 2.0, 2, 3),
    "four_of_five": lambda z: _one_side(z, 1.0, 4, 5),
    "eight_on_one_side": lambda z: _one_side(z, 0.0, 8, 8),
    "nine_on_one_side": lambda z: _one_side(z, 0.0, 9, 9),
    "six_in_trend": _trend,
    "fourteen_alternating": _alternating,
    "fifteen_close": lambda z: _some_of(np.abs(z) < 1.0, 15, 15),
    "eight_far": lambda z: _some_of(np.abs(z) > 1.0, 8, 8),
}
