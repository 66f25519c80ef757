"""From columns to the talk with the roaster: which batches are off target, and which roast measures go with what."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from evenhand.panel.faults import FaultFit
from evenhand.season.roaster import FaultChance, OffTarget, RoasterReading, tell_roaster
from evenhand.verdict._season_columns import RoastColumn, TasteColumn
from evenhand.verdict.tastings import Batch

Floats = NDArray[np.float64]

# A batch is spoken of where it is more likely off target, or faulty, than not.
_LIKELY = 0.5


def talk_to_roaster(
    batches: Sequence[Batch], tastes: Sequence[TasteColumn], roast: Sequence[RoastColumn], heard: FaultFit | None
) -> tuple[RoasterReading, Mapping[str, str]]:
    """Set tastes beside roast measures.

    What goes with what is read by each batch's own cups, or every link would look weaker than it is. Which batch lies
    off target is read with all that is known of it, as the verdict reads it: own cups alone would call every poorly
    tasted batch off target now and then.

    Parameters
    ----------
    batches
        In roasting order.
    tastes, roast
        Columns in that order.
    heard
        Beliefs about faults; None where nobody was asked.

    Returns
    -------
    tuple
        What holds over all batches, and a sentence for each batch off target, by its name.
    """
    measures = [one.measure for one in roast if np.isfinite(one.value).any()]
    faults = _fault_chances(batches, heard)
    coffee = [one.coffee for one in batches]
    labels = [f"{one.batch} ({one.coffee}, {one.roasted_on})" for one in batches]
    own = [
        OffTarget(name=one.name, off=one.own - one.target, sd=one.own_sd, tolerance=one.tolerance)
        for one in tastes
        if np.isfinite(one.own).any()
    ]
    reading = tell_roaster(measures, [*own, *faults], coffee, labels)
    likely = [_only_off_target(one) for one in tastes]
    surer = [
        replace(one, probability=np.where(np.asarray(one.probability) > _LIKELY, one.probability, np.nan))
        for one in faults
    ]
    told = tell_roaster(measures, [*likely, *surer], coffee, [one.batch for one in batches])
    sentences = {batches[i].batch: sentence for i, sentence in told.batch_sentences}
    return replace(reading, batch_sentences=told.batch_sentences), sentences


def _only_off_target(one: TasteColumn) -> OffTarget:
    """Keep the batches that are more likely outside their limits than inside, by their level all told."""
    with np.errstate(invalid="ignore"):
        outside = ndtr((one.low - one.level) / one.level_sd) + ndtr((one.level - one.high) / one.level_sd)
    off = np.where(outside > _LIKELY, one.level - one.target, np.nan)
    return OffTarget(name=one.name, off=off, sd=one.level_sd, tolerance=one.tolerance)


def _fault_chances(batches: Sequence[Batch], heard: FaultFit | None) -> list[FaultChance]:
    if heard is None:
        return []
    place = {name: index for index, name in enumerate(heard.batches)}
    found = []
    for f, fault in enumerate(heard.faults):
        chance: Floats = np.full(len(batches), np.nan)
        for i, one in enumerate(batches):
            b = place.get(one.batch)
            if b is not None and heard.asked[b, f]:
                chance[i] = heard.p_present[b, f]
        found.append(FaultChance(name=fault, probability=chance))
    return found
