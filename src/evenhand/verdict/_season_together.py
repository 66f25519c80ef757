"""Steps that may be one: several measures of a coffee at the same batches, or one measure in several coffees."""

from collections.abc import Sequence

from evenhand.season.charts import MeasureReading
from evenhand.words import Words, join, say

# A step is spoken of below this chance, as in the charts' own sentences.
_SIGN_P = 0.05


def steps_together(readings: Sequence[MeasureReading], batches: Sequence[str], dates: Sequence[str]) -> tuple[str, ...]:
    """Say which measures of one coffee may have stepped at the same time, the clearest step first.

    Parameters
    ----------
    readings
        All charts of the coffee.
    batches, dates
        Its batches in roasting order.
    """
    left = sorted((one for one in readings if one.change.p < _SIGN_P), key=lambda one: one.change.p)
    said: list[str] = []
    while left:
        first = left[0].change
        with_it = [one for one in left if one.change.earliest <= first.latest and first.earliest <= one.change.latest]
        left = [one for one in left if all(one is not other for other in with_it)]
        if len(with_it) < 2:
            continue
        start = max(one.change.earliest for one in with_it)
        end = min(one.change.latest for one in with_it)
        start, end = min(start, end), max(start, end)
        where = f"{batches[start]} ({dates[start]})"
        if end != start:
            where = say("{first} to {last}", first=where, last=f"{batches[end]} ({dates[end]})")
        names = _list_names([_say_way(one) for one in with_it])
        said.append(say("May have stepped together, at {where}: {measures}.", where=where, measures=names))
    return tuple(said)


def steps_across(readings: Sequence[tuple[str, Sequence[str], MeasureReading]]) -> tuple[str, ...]:
    """Say which measures step the same way in several coffees at about the same dates.

    Parameters
    ----------
    readings
        Coffee, roast dates of its batches, and charts, one entry a measure and coffee.
    """
    said: list[str] = []
    for measure in dict.fromkeys(one.measure for _, _, one in readings):
        left = sorted(
            ((coffee, dates, one) for coffee, dates, one in readings if one.measure == measure),
            key=lambda entry: entry[2].change.p,
        )
        left = [entry for entry in left if entry[2].change.p < _SIGN_P]
        while left:
            start, end = _span(left[0][1], left[0][2])
            rises = _rises(left[0][2])
            with_it: list[tuple[str, Sequence[str], MeasureReading]] = []
            others: list[tuple[str, Sequence[str], MeasureReading]] = []
            for coffee, dates, one in left:
                low, high = _span(dates, one)
                same = _rises(one) == rises and low <= end and start <= high
                (with_it if same else others).append((coffee, dates, one))
            left = others
            if len(with_it) > 1:
                said.append(_say_across(measure, [coffee for coffee, _, _ in with_it], rises, start, end))
    return tuple(said)


def _span(dates: Sequence[str], reading: MeasureReading) -> tuple[str, str]:
    """Roast dates of the last batch surely before the step and of the first surely after it."""
    return dates[max(0, reading.change.earliest - 1)], dates[reading.change.latest]


def _rises(reading: MeasureReading) -> bool:
    return reading.change.shift > 0


def _say_way(reading: MeasureReading) -> Words:
    if _rises(reading):
        return say("{measure} (higher)", measure=reading.measure)
    return say("{measure} (lower)", measure=reading.measure)


def _say_across(measure: str, coffees: Sequence[str], rises: bool, start: str, end: str) -> Words:
    listed = _list_names(coffees)
    if rises:
        step = say(
            "{measure} lies higher in {coffees} from about the same time, between {start} and {end}.",
            measure=measure,
            coffees=listed,
            start=start,
            end=end,
        )
    else:
        step = say(
            "{measure} lies lower in {coffees} from about the same time, between {start} and {end}.",
            measure=measure,
            coffees=listed,
            start=start,
            end=end,
        )
    look = say("Look first at what these coffees share: roaster, scale, meter, water, tasters.")
    return join([step, look], " ")


def _list_names(names: Sequence[str]) -> Words:
    return say("{names} and {last}", names=join(names[:-1]), last=names[-1])
