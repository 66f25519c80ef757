"""Several measures of one coffee read as one: which batch is odd as a whole, though no measure alone may show it."""

from collections.abc import Mapping, Sequence

import numpy as np

from evenhand.errors import DesignError
from evenhand.season.charts import JointChart, read_profile
from evenhand.verdict._naming import name_taste
from evenhand.verdict._season_records import JointSeason, MeasureSeason
from evenhand.words import Words, capitalise, say

# T² is of use from about so many batches more than measures on (docs/explanation/control-charts.md).
_MORE = 10


def read_jointly(
    roast: Sequence[MeasureSeason],
    by_service: Mapping[str, Sequence[MeasureSeason]],
    batches: Sequence[str],
    dates: Sequence[str],
) -> tuple[JointSeason, ...]:
    """Read all measures as one where there are batches enough; else the roast and each service for itself.

    Parameters
    ----------
    roast, by_service
        The measures of one coffee.
    batches, dates
        Its batches in roasting order.
    """
    groups: dict[Words, list[MeasureSeason]] = {say("the roast"): list(roast)}
    groups |= {name_taste(say("the profile"), service): list(found) for service, found in by_service.items()}
    groups = {name: [one for one in found if one.reading] for name, found in groups.items()}
    groups = {name: found for name, found in groups.items() if len(found) > 1}
    every = [one for found in groups.values() for one in found]
    if len(groups) > 1 and _complete(every) >= len(every) + _MORE:
        groups = {say("roast and profile"): every}
    return tuple(_read(name, found, batches, dates) for name, found in groups.items())


def _read(name: Words, found: Sequence[MeasureSeason], batches: Sequence[str], dates: Sequence[str]) -> JointSeason:
    complete, needed = _complete(found), len(found) + _MORE
    chart: JointChart | None = None
    said: tuple[str, ...] = ()
    try:
        reading = read_profile(
            {one.measure: one.value for one in found},
            {one.measure: one.sd for one in found},
            batches=batches,
            dates=dates,
            bases={one.measure: one.reading.base for one in found if one.reading},
        )
        chart, said = reading.chart, reading.sentences if reading.chart.signals else ()
    except DesignError:
        pass  # too few batches, or measures that follow from each other: told as too little
    gap = ""
    if chart is None or (not said and complete < needed):
        gap = say(
            "{name} as a whole: {complete} batches with all {measures} measures; some {needed} are needed to tell.",
            name=capitalise(name),
            complete=complete,
            measures=len(found),
            needed=needed,
        )
    return JointSeason(
        whole=name, measures=tuple(one.measure for one in found), chart=chart, sentences=said, too_little=gap
    )


def _complete(found: Sequence[MeasureSeason]) -> int:
    return int(np.count_nonzero(np.all([np.isfinite(one.value) & np.isfinite(one.sd) for one in found], axis=0)))
