"""How large changes with age are at all: learned from every attribute of every coffee of a shop together.

Most attributes of most lots hardly change while the lot lasts, and a few do. One line alone cannot tell how large a
change to expect: its prior speaks loudest just where its tastings say little. So the prior on a line's change is a
mixture of normals about zero, from hardly any change to much, and what each counts for is learned from all lines.
"""

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.season._ageing_model import Ageing, learn_ageing, mix_ageings
from evenhand.season._ageing_storage import History
from evenhand.words import say

Array = NDArray[np.float64]

CHANGE_SCALES: Final = (0.01, 0.03, 0.08, 0.20)
"""Standard deviations of a change a reference month, in points of a scale of ten (common practice, no source)."""

# Before any tasting each scale counts as if so many lines had spoken for it.
_LINES_BEFORE = 1.0
_ROUNDS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class TastedLots:
    """One attribute of one coffee: what `learn_ageing` takes.

    Attributes
    ----------
    level, level_sd, lot, months, histories
        As in `learn_ageing`.
    scale_width
        Width of the attribute's scale, points.
    """

    level: ArrayLike
    level_sd: ArrayLike
    lot: Sequence[Hashable]
    months: ArrayLike
    histories: Mapping[Hashable, History] = field(default_factory=dict)
    scale_width: float = 10.0


def learn_ageing_together(lines: Sequence[TastedLots]) -> tuple[tuple[Ageing | None, ...], tuple[float, ...]]:
    """Learn the lines of many attributes, which lend each other what they tell of how large changes are.

    Parameters
    ----------
    lines
        One an attribute and coffee.

    Returns
    -------
    tuple
        The lines, None where no lot was tasted at two ages; and what each of `CHANGE_SCALES` counts for, summing to 1.

    Raises
    ------
    QuantityError
        If a value is impossible.

    Notes
    -----
    Each line is learned once under each scale; the shares follow by expectation and maximisation from the lines'
    evidence, with one line's worth of doubt for each scale. Given the shares, a line is the mixture of its answers,
    each weighted by share times evidence. Lines of one batch share its cups; they are taken as independent here.
    """
    parts: list[list[Ageing] | None] = []
    for one in lines:
        if not one.scale_width > 0:
            raise QuantityError(say("The width of a scale must be more than 0, not {width}.", width=one.scale_width))
        wide = one.scale_width / 10.0
        try:
            parts.append(
                [
                    learn_ageing(
                        one.level,
                        one.level_sd,
                        one.lot,
                        one.months,
                        one.histories,
                        change_prior_sd=scale * wide,
                        level_prior_sd=wide,
                    )
                    for scale in CHANGE_SCALES
                ]
            )
        except DesignError:
            parts.append(None)
    evidence = np.array([[part._ln_evidence for part in of] for of in parts if of]).reshape(-1, len(CHANGE_SCALES))
    share = learn_shares(evidence)
    found: list[Ageing | None] = []
    for of in parts:
        if of is None:
            found.append(None)
            continue
        found.append(mix_ageings(of, _responsible(np.array([part._ln_evidence for part in of]), share)))
    return tuple(found), tuple(share.tolist())


def learn_shares(ln_evidence: Array) -> Array:
    """Learn what each component of a mixture counts for, from the evidence of many draws.

    Parameters
    ----------
    ln_evidence
        Shape (draws, components), each row up to a constant of its own.

    Returns
    -------
    ndarray
        Shape (components,), summing to 1: the mean of a Dirichlet law of one draw a component, with the draws' expected
        counts added until nothing moves.
    """
    draws, components = ln_evidence.shape
    share = np.full(components, 1.0 / components)
    for _ in range(_ROUNDS):
        counts = _responsible(ln_evidence, share).sum(axis=0)
        moved = (_LINES_BEFORE + counts) / (_LINES_BEFORE * components + draws)
        done = np.max(np.abs(moved - share)) < 1e-10
        share = moved
        if done:
            break
    return share


def _responsible(ln_evidence: Array, share: Array) -> Array:
    ln = ln_evidence + np.log(share)
    weight = np.exp(ln - ln.max(axis=-1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=-1, keepdims=True))
