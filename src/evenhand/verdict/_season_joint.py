"""Several measures of one coffee read as one: which batch is odd as a whole, though no measure alone may show it.

Every value is first put in standard deviations of its own: how far it lies from the usual level, by the scatter of
batches and its own uncertainty together. A batch tasted once then stands beside one tasted by all, and T² with the
sample's covariance follows its Beta law. With 3 to 11 measures on 8 to 40 steady batches, known equally well or not,
between 0.1 and 1.6 times as many seasons as asked held a false alarm, mostly about as many (simulated, 24 cases of 250
seasons). A shift that lasts widens the sample's covariance; it is the affair of averages and sums.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.season.charts import JointChart, estimate_joint_baseline, t_squared
from evenhand.verdict._season_records import JointSeason, MeasureSeason

Floats = NDArray[np.float64]

# T² is of use from about so many batches more than measures on (docs/explanation/control-charts.md).
_MORE = 10
# That of three-sigma limits, for a sound batch.
_FALSE_ALARM = 0.0027
# Measures that carry at least this share of the largest part are named, three at most.
_TOLD_SHARE, _MOST_TOLD = 0.25, 3


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
    groups = {"The roast": list(roast)}
    groups |= {f"The profile, {service}": list(found) for service, found in by_service.items()}
    groups = {name: [one for one in found if one.reading] for name, found in groups.items()}
    groups = {name: found for name, found in groups.items() if len(found) > 1}
    every = [one for found in groups.values() for one in found]
    if len(groups) > 1 and _complete(every) >= len(every) + _MORE:
        groups = {"Roast and profile": every}
    return tuple(_read(name, found, batches, dates) for name, found in groups.items())


def _read(name: str, found: Sequence[MeasureSeason], batches: Sequence[str], dates: Sequence[str]) -> JointSeason:
    complete, needed = _complete(found), len(found) + _MORE
    away = np.column_stack([_standardise(one) for one in found])
    chart: JointChart | None = None
    try:
        base = estimate_joint_baseline(away, method="sample")
        chart = t_squared(away, base, 0.0, false_alarm=_FALSE_ALARM, in_baseline=True)
    except DesignError:
        pass  # too few batches, or measures that follow from each other: told as too little
    said = tuple(_say(i, chart, away, found, batches, dates) for i in chart.signals) if chart else ()
    gap = ""
    if chart is None or (not said and complete < needed):
        gap = f"{name} as a whole: {complete} batches with all {len(found)} measures; some {needed} are needed to tell."
    return JointSeason(
        name=name, measures=tuple(one.measure for one in found), chart=chart, sentences=said, too_little=gap
    )


def _standardise(one: MeasureSeason) -> Floats:
    if one.reading is None:
        return np.full(one.value.shape, np.nan)
    base = one.reading.base
    known = np.isfinite(one.value) & np.isfinite(one.sd)
    return np.where(known, (one.value - base.centre) / base.spread(np.where(known, one.sd, 1.0)), np.nan)


def _say(
    i: int,
    chart: JointChart,
    away: Floats,
    found: Sequence[MeasureSeason],
    batches: Sequence[str],
    dates: Sequence[str],
) -> str:
    part = np.nan_to_num(chart.part[i], nan=-1.0)
    order = [int(j) for j in np.argsort(-part) if part[j] >= _TOLD_SHARE * part.max()][:_MOST_TOLD]
    parts = ", ".join(f"{found[j].measure} ({'high' if away[i, j] > 0 else 'low'})" for j in order)
    size = f"T-squared {chart.t_squared[i]:.2f}, limit {chart.limit[i]:.2f}"
    return f"Batch {batches[i]} ({dates[i]}) is odd as a whole ({size}); given the others it shows most in {parts}."


def _complete(found: Sequence[MeasureSeason]) -> int:
    return int(np.count_nonzero(np.all([np.isfinite(one.value) & np.isfinite(one.sd) for one in found], axis=0)))
