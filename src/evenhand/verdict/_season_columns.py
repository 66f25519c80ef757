"""The columns of a season: every taste by each batch's own cups and every roast measure, with what each is known to."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.panel import mixed
from evenhand.panel.faults import FaultFit
from evenhand.season.charts import own_evidence
from evenhand.season.roaster import RoastMeasure, colour_measure, dry_loss_measure, dry_loss_pct, roast_time_measure
from evenhand.units import half_width_to_sd
from evenhand.verdict._naming import name_taste
from evenhand.verdict.arrangement import Arrangement, arrange
from evenhand.verdict.fitting import Fitted, fit_tables
from evenhand.verdict.hearing import hear
from evenhand.verdict.tastings import Batch, Tastings
from evenhand.words import say

Floats = NDArray[np.float64]

# Readings are taken to have so many decimals at most.
_MOST_DECIMALS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class TasteColumn:
    """One attribute in one service at the house recipe, in points; arrays of shape (batches,), NaN where there is none.

    Attributes
    ----------
    own, own_sd
        By each batch's own cups, without what the model borrows from its fellows; for charts.
    level, level_sd
        All told, fellows included: the best guess of a batch's level; for what lies off target.
    target, tolerance, low, high
        What the batch's coffee is meant to be. Limits past the end of the scale are infinite.
    """

    service: str
    attribute: str
    own: Floats
    own_sd: Floats
    level: Floats
    level_sd: Floats
    target: Floats
    tolerance: Floats
    low: Floats
    high: Floats

    @property
    def name(self) -> str:
        """As it is read inside a sentence."""
        return name_taste(self.attribute, self.service)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoastColumn:
    """One roast measure with the unit in which its level is read (differences may be read in another).

    A colour has the `scale` that it was read on, where one was written down.
    """

    measure: RoastMeasure
    unit: str
    value: Floats
    sd: Floats
    scale: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeasonBench:
    """Tastings fitted once, for all that is read off a season.

    Attributes
    ----------
    tastings
        The same, batches in roasting order.
    arrangement, fitted
        Sheets as tables, and the fits of their attributes.
    tastes, roast
        Columns, in the order of the batches.
    heard
        Beliefs about faults; None where nobody was asked.
    """

    tastings: Tastings
    arrangement: Arrangement
    fitted: Fitted
    tastes: tuple[TasteColumn, ...]
    roast: tuple[RoastColumn, ...]
    heard: FaultFit | None


def lay_out(tastings: Tastings) -> SeasonBench:
    """Fit tastings once, for `read_season`, `read_green`, `compare_lots` and `plan_week` to share.

    Parameters
    ----------
    tastings
        All that was tasted, and what was measured of the roasts.

    Raises
    ------
    DesignError
        If a roast cannot have lost what is written.
    """
    order = sorted(range(len(tastings.batches)), key=lambda i: tastings.batches[i].roasted_on)
    tastings = replace(tastings, batches=tuple(tastings.batches[i] for i in order))
    bench = arrange(tastings)
    fitted = fit_tables(bench.tables, bench.panel)
    return SeasonBench(
        tastings=tastings,
        arrangement=bench,
        fitted=fitted,
        tastes=taste_columns(tastings, bench, fitted),
        roast=roast_columns(tastings.batches),
        heard=hear(tastings, bench.usable),
    )


def taste_columns(tastings: Tastings, bench: Arrangement, fitted: Fitted | None = None) -> tuple[TasteColumn, ...]:
    """Estimate every attribute with a target in every batch, in the order of `tastings.batches`.

    Parameters
    ----------
    tastings, bench
        All that was tasted, and the same as `arrange` lays it out.
    fitted
        Its fits, where they were made already.
    """
    panel = bench.panel
    fitted = fit_tables(bench.tables, panel) if fitted is None else fitted
    found = {
        (work.table.service, attribute): fit
        for work, fits in zip(fitted.works, fitted.informed, strict=True)
        for attribute, fit in zip(work.table.attributes, fits, strict=True)
    }
    columns = []
    for (service, attribute), goal in panel.goals.items():
        target, tolerance = goal.target[panel.coffee_of_batch], goal.tolerance[panel.coffee_of_batch]
        low, high = goal.limits(panel.coffee_of_batch)
        own, own_sd, level, level_sd = _levels(found.get((service, attribute)), panel.batches, tastings)
        columns.append(
            TasteColumn(
                service=service,
                attribute=attribute,
                own=own,
                own_sd=own_sd,
                level=level,
                level_sd=level_sd,
                target=target,
                tolerance=tolerance,
                low=low,
                high=high,
            )
        )
    return tuple(columns)


def _levels(fit: mixed.Fit | None, batches: Sequence[str], tastings: Tastings) -> tuple[Floats, Floats, Floats, Floats]:
    """Own evidence and level of each batch, with standard deviations; NaN where it was not scored."""
    own, own_sd, level, level_sd = (np.full(len(batches), np.nan) for _ in range(4))
    if fit is None:
        return own, own_sd, level, level_sd
    posterior = fit.posterior()
    coffee = {one.batch: one.coffee for one in tastings.batches}
    place = {label: index for index, label in enumerate(batches)}
    expected = {label: posterior.new_batch(label) for label in fit.levels["coffee"]}
    scored = fit.levels["batch"]
    at = np.array([place[label] for label in scored], dtype=np.intp)
    usual = np.array([expected[coffee[label]] for label in scored])
    level[at], level_sd[at] = posterior.level, posterior.level_sd
    own[at], own_sd[at] = own_evidence(posterior.level, posterior.level_sd, usual[:, 0], usual[:, 1])
    return own, own_sd, level, level_sd


def roast_columns(batches: Sequence[Batch]) -> tuple[RoastColumn, ...]:
    """Lay out loss on dry basis, colour (a column a scale) and roast time, in the order of `batches`.

    Parameters
    ----------
    batches
        The roasts; what was not measured is None.

    Raises
    ------
    DesignError
        If a loss cannot be: more came out than went in, or a moisture is no percentage.
    """
    loss = np.full((len(batches), 2), np.nan)
    for i, one in enumerate(batches):
        if one.green_in_kg is None or one.roasted_out_kg is None:
            continue
        try:
            dry = dry_loss_pct(one.green_in_kg, one.roasted_out_kg, one.green_moisture_pct, one.roasted_moisture_pct)
        except QuantityError as error:
            raise DesignError(
                say("The mass loss of batch {batch} cannot be: {why}", batch=one.batch, why=error.args[0])
            ) from error
        loss[i] = dry.value, dry.sd
    columns = [_roast(dry_loss_measure(loss[:, 0], loss[:, 1]), say("% of dry mass"))]
    scales = dict.fromkeys(one.colour_scale or "" for one in batches if one.colour is not None)
    for scale in scales or [""]:
        colour = _numbers([one.colour if (one.colour_scale or "") == scale else None for one in batches])
        columns.append(_roast(colour_measure(colour, _reading_sd(colour), scale), "", scale))
    columns.append(_roast(roast_time_measure(_numbers([one.roast_time_s for one in batches])), "s"))
    return tuple(columns)


def tasters_of(tastings: Tastings, usable: frozenset[str]) -> Mapping[str, str]:
    """Say who scored each batch, on pulls that may be judged."""
    found: dict[str, set[str]] = {}
    scores = tastings.scores
    for batch, pull, taster in zip(scores.batch.tolist(), scores.pull.tolist(), scores.taster.tolist(), strict=True):
        if pull in usable:
            found.setdefault(batch, set()).add(taster)
    return {batch: ", ".join(sorted(names)) for batch, names in found.items()}


def _roast(measure: RoastMeasure, unit: str, scale: str = "") -> RoastColumn:
    value = np.asarray(measure.value, dtype=float)
    sd = np.broadcast_to(np.asarray(measure.sd, dtype=float), value.shape)
    return RoastColumn(
        measure=measure, unit=unit, value=value, sd=np.where(np.isfinite(value), sd, np.nan), scale=scale
    )


def _reading_sd(reading: Floats) -> float:
    """Uncertainty of readings that nobody stated one for: their last decimal, which is the least it can be.

    What a meter adds beyond is in the scatter of the batches, which the charts learn.
    """
    known = reading[np.isfinite(reading)]
    places = next(
        (p for p in range(_MOST_DECIMALS) if np.allclose(known, np.round(known, p), rtol=0, atol=1e-9)), _MOST_DECIMALS
    )
    return half_width_to_sd(0.5 * 10.0**-places)


def _numbers(values: Sequence[float | None]) -> Floats:
    return np.array([np.nan if value is None else value for value in values], dtype=float)
