"""The season of every coffee: are its batches steady, since when not, and what goes with a profile off target.

Puts control charts and the talk with the roaster together from tastings. Tastes stand at the house recipe by each
batch's own cups; mass loss stands on dry basis. All batches are in roasting order.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.season.charts import Chart, Cusum, read_measure
from evenhand.verdict._season_columns import RoastColumn, SeasonBench, TasteColumn, lay_out, tasters_of
from evenhand.verdict._season_joint import read_jointly
from evenhand.verdict._season_records import (
    Alert,
    ChartName,
    CoffeeSeason,
    JointSeason,
    MeasureSeason,
    SeasonReading,
    State,
)
from evenhand.verdict._season_roaster import talk_to_roaster
from evenhand.verdict._season_together import steps_across, steps_together
from evenhand.verdict.arrangement import SERVICES
from evenhand.verdict.tastings import Tastings
from evenhand.words import capitalise, join, say

__all__ = [
    "Alert",
    "CoffeeSeason",
    "JointSeason",
    "MeasureSeason",
    "SeasonBench",
    "SeasonReading",
    "State",
    "alerts_by_luck",
    "lay_out",
    "read_season",
]

Floats = NDArray[np.float64]

FEWEST = 4
"""A chart needs so many measured batches."""

FEW = 12
"""With fewer batches only a large change would show."""

_SIGN_P = 0.05
# A record that turns at more than this share of the batches explains no step (as in season.charts).
_TOO_OFTEN = 0.34
# Share of steady series of so many batches that hold an alert somewhere when set against themselves: simulated, 1,500
# series each with equal uncertainties and 1,500 where two batches in five are known less well; the mean of both.
_BATCHES = (4, 5, 6, 8, 10, 12, 15, 20, 30, 45)
_WITH_ALERT = (0.013, 0.018, 0.021, 0.041, 0.050, 0.059, 0.089, 0.119, 0.164, 0.222)


def read_season(
    tastings: Tastings,
    *,
    coffees: Sequence[str] = (),
    states: Mapping[str, Mapping[str, str]] | None = None,
    bench: SeasonBench | None = None,
) -> SeasonReading:
    """Read every coffee's season off its tastings and roast measures.

    Parameters
    ----------
    tastings
        All that was tasted, and what was measured of the roasts.
    coffees
        Only these; all sheets still inform them. Empty for all that were roasted.
    states
        What else is on record, by name (who roasted, which machine ...): a label by batch. Green lot, harvest, batch
        size and tasters are read off the tastings.
    bench
        The same tastings as `lay_out` fitted them, where that was done already.

    Returns
    -------
    SeasonReading
        Deterministic: the same tastings give the same reading.

    Raises
    ------
    DesignError
        If a coffee asked for has no batch, or a roast cannot have lost what is written.
    """
    _check_coffees(coffees, sorted({one.coffee for one in tastings.batches}), tastings)
    bench = lay_out(tastings) if bench is None else bench
    tastings, tastes, roast = bench.tastings, bench.tastes, bench.roast
    batches = tastings.batches
    roasted = sorted({one.coffee for one in batches})
    records = _records(tastings, bench.arrangement.usable, states or {})
    every = []
    for coffee in roasted:
        rows = [i for i, one in enumerate(batches) if one.coffee == coffee]
        every.append(_read_coffee(coffee, rows, tastings, tastes, roast, records))
    roaster, off_target = talk_to_roaster(batches, tastes, roast, bench.heard)
    every = [
        replace(one, off_target=tuple(off_target[name] for name in one.batches if name in off_target)) for one in every
    ]
    shown = [one for one in every if not coffees or one.coffee in coffees]
    charted = [measure for one in shown for measure in one.measures if measure.reading]
    return SeasonReading(
        title=tastings.title,
        read_on=tastings.judged_on,
        invented=tastings.invented,
        warnings=tastings.warnings,
        coffees=tuple(shown),
        charted=len(charted),
        alerting=sum(bool(measure.alerts) for measure in charted),
        by_luck=float(sum(alerts_by_luck(measure.reading.change.batches) for measure in charted if measure.reading)),
        across=steps_across(
            [(one.coffee, one.dates, measure.reading) for one in every for measure in one.measures if measure.reading]
        ),
        roaster=roaster,
    )


def alerts_by_luck(batches: int) -> float:
    """Share of steady measures with an alert somewhere, set against their own batches (simulated; an approximation)."""
    return float(np.interp(batches, _BATCHES, _WITH_ALERT))


def _check_coffees(coffees: Sequence[str], roasted: Sequence[str], tastings: Tastings) -> None:
    for name in coffees:
        if name in roasted:
            continue
        if name in tastings.recipes:
            raise DesignError(
                say("There is no batch of {coffee} in this folder yet; roast it and ask again.", coffee=name)
            )
        held = join(roasted) if roasted else say("no batch")
        raise DesignError(say("There is no coffee {coffee} in this folder; it holds {held}.", coffee=name, held=held))


def _records(
    tastings: Tastings, usable: frozenset[str], states: Mapping[str, Mapping[str, str]]
) -> Mapping[str, Mapping[str, str]]:
    size = {
        one.batch: say("{mass:g} kg", mass=one.green_in_kg) for one in tastings.batches if one.green_in_kg is not None
    }
    lot = {one.batch: one.green_lot for one in tastings.batches if one.green_lot}
    harvest_of = {one.lot: one.harvest for one in tastings.lots if one.harvest}
    harvest = {batch: harvest_of[name] for batch, name in lot.items() if name in harvest_of}
    return {
        say("green lot"): lot,
        say("harvest"): harvest,
        say("batch size"): size,
        say("tasters"): tasters_of(tastings, usable),
        **states,
    }


def _read_coffee(
    coffee: str,
    rows: Sequence[int],
    tastings: Tastings,
    tastes: Sequence[TasteColumn],
    roast: Sequence[RoastColumn],
    records: Mapping[str, Mapping[str, str]],
) -> CoffeeSeason:
    names = tuple(tastings.batches[i].batch for i in rows)
    dates = tuple(tastings.batches[i].roasted_on for i in rows)
    told = {what: [of.get(name) for name in names] for what, of in records.items()}
    told = {what: labels for what, labels in told.items() if _may_explain(labels)}
    of_roast = {what: labels for what, labels in told.items() if what != "tasters"}
    at = np.array(rows, dtype=np.intp)

    def chart(measure: str, unit: str, kind: Literal["taste", "roast"], value: Floats, sd: Floats) -> MeasureSeason:
        return _chart(
            capitalise(measure), unit, kind, value[at], sd[at], names, dates, told if kind == "taste" else of_roast
        )

    by_service: dict[str, list[MeasureSeason]] = {service: [] for service in SERVICES}
    for taste in tastes:
        if np.isfinite(taste.target[at]).any():
            by_service[taste.service].append(chart(taste.name, say("points"), "taste", taste.own, taste.own_sd))
    of_coffee = [
        chart(one.measure.name, one.unit, "roast", one.value, one.sd)
        for one in roast
        # A colour scale that this coffee was never read on is no gap of this coffee.
        if np.isfinite(one.value[at]).any() or not one.scale
    ]
    measures = (*of_coffee, *(one for service in SERVICES for one in by_service[service]))
    joint = read_jointly(of_coffee, by_service, names, dates)
    found: set[State] = {one.state for one in measures}
    if any(one.signals for one in joint):
        found.add("alert")
    order: tuple[State, ...] = ("shifted", "alert", "steady", "too_little")
    return CoffeeSeason(
        coffee=coffee,
        batches=names,
        dates=dates,
        measures=measures,
        joint=joint,
        together=steps_together([one.reading for one in measures if one.reading], names, dates),
        off_target=(),
        state=next((state for state in order if state in found), "too_little"),
    )


def _chart(
    measure: str,
    unit: str,
    kind: Literal["taste", "roast"],
    value: Floats,
    sd: Floats,
    batches: Sequence[str],
    dates: Sequence[str],
    states: Mapping[str, Sequence[str | None]],
) -> MeasureSeason:
    known = int(np.count_nonzero(np.isfinite(value) & np.isfinite(sd)))
    reading, gap = None, ""
    if known < FEWEST:
        gap = say(
            "{known} of {batches} batches measured; a chart needs {fewest}.",
            known=known,
            batches=len(batches),
            fewest=FEWEST,
        )
    else:
        try:
            reading = read_measure(measure, value, sd, batches=batches, dates=dates, unit=unit, states=states)
        except DesignError as error:
            gap = error.args[0]
    alerts: tuple[Alert, ...] = ()
    sign = False
    state: State = "too_little"
    if reading:
        alerts = (
            *_stays("single", reading.individuals),
            *_stays("average", reading.ewma),
            *_stays("sums", reading.cusum),
        )
        stepped = reading.change.p < _SIGN_P
        patterns = reading.moving_range.signals or any(hit.rule != "beyond" for hit in reading.rules)
        sign = not alerts and bool(stepped or patterns)
        moved = any(one.chart != "single" and (one.lasting or stepped) for one in alerts)
        state = "shifted" if moved else "alert" if alerts else "steady"
    return MeasureSeason(
        measure=measure,
        unit=unit,
        kind=kind,
        value=value,
        sd=sd,
        reading=reading,
        gap=gap,
        alerts=alerts,
        sign=sign,
        state=state,
    )


def _stays(name: ChartName, chart: Chart | Cusum) -> tuple[Alert, ...]:
    """Join signals that follow each other, passing over batches that the chart does not see."""
    seen = np.flatnonzero(chart.weight > 0).tolist()
    out = set(chart.signals)
    found: list[Alert] = []
    stay: list[int] = []
    for i in [*seen, -1]:
        if i in out:
            stay.append(i)
        elif stay:
            found.append(Alert(chart=name, first=stay[0], last=stay[-1], lasting=i == -1))
            stay = []
    return tuple(found)


def _may_explain(labels: Sequence[str | None]) -> bool:
    """Whether a record is known and does not turn so often that it explains nothing."""
    known = [label for label in labels if label is not None]
    turns = sum(a != b for a, b in pairwise(known))
    return len(known) > 1 and turns <= _TOO_OFTEN * max(1, len(labels) - 1)
