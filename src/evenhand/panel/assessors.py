"""How each taster works as an instrument: discrimination, repeatability, agreement, scale use and drift.

The aspects are those that panel monitoring looks at in ISO 11132:2021; the measures and the words here are ours. Every
figure comes with its uncertainty and with what it rests on, and is None where the data cannot tell. Nothing here ranks
people: a sentence names something only where chance is an unlikely explanation.

References
----------
ISO 11132:2021. Sensory analysis. Methodology. Guidelines for the measurement of the performance of a quantitative
descriptive sensory panel.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError
from evenhand.panel import _assessors_measures as measures
from evenhand.panel._assessors_measures import Agreement, Discrimination, Drift, Repeatability, ScaleUse
from evenhand.panel._assessors_words import put_in_words
from evenhand.words import say

__all__ = ["Agreement", "Assessment", "Discrimination", "Drift", "Repeatability", "ScaleUse", "assess"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """One taster on one attribute; an aspect is None where the data cannot tell, and `sentences` say why."""

    taster: str
    attribute: str
    scores: int
    batches: int
    discrimination: Discrimination | None
    repeatability: Repeatability | None
    agreement: Agreement | None
    scale_use: ScaleUse | None
    drift: Drift | None
    sentences: tuple[str, ...]


def assess(
    score: ArrayLike,
    batch: ArrayLike,
    taster: ArrayLike,
    attribute: ArrayLike | None = None,
    *,
    when: ArrayLike | None = None,
) -> tuple[Assessment, ...]:
    """Assess every taster on every attribute; the data may be unbalanced.

    Parameters
    ----------
    score
        (n,) scores on the attribute's scale.
    batch
        (n,) what was tasted. Two scores of one taster on one batch are replicates; where they come from two pulls,
        the pulls' difference is in the repeatability too.
    taster
        (n,) who.
    attribute
        (n,) which attribute (join the service to it where there are several, as in "acidity, milk"); None for one.
    when
        (n,) session number or time in any unit, for drift; None leaves drift out.

    Returns
    -------
    tuple of Assessment
        Sorted by taster, then attribute.

    Raises
    ------
    DesignError
        Lengths differ, there is no score, or a score or time is not finite.
    """
    y = np.asarray(score, dtype=float)
    names = [np.asarray(x).astype(str) for x in (batch, taster)]
    names.append(np.full(y.shape, "") if attribute is None else np.asarray(attribute).astype(str))
    moment = None if when is None else np.asarray(when, dtype=float)
    if y.ndim != 1 or any(x.shape != y.shape for x in names) or (moment is not None and moment.shape != y.shape):
        raise DesignError(say("Scores, batches, tasters, attributes and times must be lists of one length."))
    if y.size == 0:
        raise DesignError(say("There is no score to assess a taster by."))
    if not np.all(np.isfinite(y)) or (moment is not None and not np.all(np.isfinite(moment))):
        raise DesignError(say("Every score and every time must be a finite number; leave out rows without one."))
    found: list[Assessment] = []
    for what in np.unique(names[2]):
        rows = names[2] == what
        times = None if moment is None else moment[rows]
        found += _assess_attribute(str(what), y[rows], names[0][rows], names[1][rows], times)
    return tuple(sorted(found, key=lambda one: (one.taster, one.attribute)))


def _assess_attribute(
    what: str, y: Floats, batch: NDArray[np.str_], taster: NDArray[np.str_], when: Floats | None
) -> Sequence[Assessment]:
    levels, b = np.unique(batch, return_inverse=True)
    people, t = np.unique(taster, return_inverse=True)
    means, counts = measures.cell_means(y, b, t, len(levels), len(people))
    if when is None:
        sitting = sitting_means = None
    else:
        # For drift a batch tasted at two times counts as two things: it may have aged, and the others tasted it too.
        _, sitting = np.unique(np.stack([b, np.unique(when, return_inverse=True)[1]]), axis=1, return_inverse=True)
        sitting = sitting.ravel()
        sitting_means, _ = measures.cell_means(y, sitting, t, int(sitting.max()) + 1, len(people))
    within = [measures.within_squares(y[t == j], b[t == j]) for j in range(len(people))]
    out = []
    for j, person in enumerate(people):
        mine = t == j
        others = measures.effects_of_others(means, j)
        drift = None
        if when is not None and sitting is not None and sitting_means is not None:
            drift = measures.drift(y[mine], measures.effects_of_others(sitting_means, j)[sitting[mine]], when[mine])
        discrimination = measures.discrimination(y[mine], b[mine])
        repeatability = measures.repeatability(within, j)
        agreement = measures.agreement(means[:, j], others)
        scale_use = measures.scale_use(y[mine], means, others, j)
        out.append(
            Assessment(
                taster=str(person),
                attribute=what,
                scores=int(mine.sum()),
                batches=int((counts[:, j] > 0).sum()),
                discrimination=discrimination,
                repeatability=repeatability,
                agreement=agreement,
                scale_use=scale_use,
                drift=drift,
                sentences=put_in_words(
                    str(person), what, discrimination, repeatability, agreement, scale_use, drift, when is not None
                ),
            )
        )
    return out
