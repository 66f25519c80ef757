"""Steps that may be one: several measures of a coffee at the same batches, or one measure in several coffees."""

from collections.abc import Sequence

from evenhand.season.charts import MeasureReading

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
    said = []
    while left:
        first = left[0].change
        with_it = [one for one in left if one.change.earliest <= first.latest and first.earliest <= one.change.latest]
        left = [one for one in left if all(one is not other for other in with_it)]
        if len(with_it) < 2:
            continue
        start = max(one.change.earliest for one in with_it)
        end = min(one.change.latest for one in with_it)
        start, end = min(start, end), max(start, end)
        names = _listed([f"{one.measure} ({_way(one)})" for one in with_it])
        where = f"{batches[start]} ({dates[start]})"
        if end != start:
            where = f"{where} to {batches[end]} ({dates[end]})"
        said.append(f"May have stepped together, at {where}: {names}.")
    return tuple(said)


def steps_across(readings: Sequence[tuple[str, Sequence[str], MeasureReading]]) -> tuple[str, ...]:
    """Say which measures step the same way in several coffees at about the same dates.

    Parameters
    ----------
    readings
        Coffee, roast dates of its batches, and charts, one entry a measure and coffee.
    """
    said = []
    for measure in dict.fromkeys(one.measure for _, _, one in readings):
        left = sorted(
            ((coffee, dates, one) for coffee, dates, one in readings if one.measure == measure),
            key=lambda entry: entry[2].change.p,
        )
        left = [entry for entry in left if entry[2].change.p < _SIGN_P]
        while left:
            start, end = _span(left[0][1], left[0][2])
            way = _way(left[0][2])
            with_it: list[tuple[str, Sequence[str], MeasureReading]] = []
            others: list[tuple[str, Sequence[str], MeasureReading]] = []
            for coffee, dates, one in left:
                low, high = _span(dates, one)
                same = _way(one) == way and low <= end and start <= high
                (with_it if same else others).append((coffee, dates, one))
            left = others
            if len(with_it) > 1:
                names = _listed([coffee for coffee, _, _ in with_it])
                said.append(
                    f"{measure} lies {way} in {names} from about the same time, between {start} and {end}. Look first "
                    f"at what these coffees share: roaster, scale, meter, water, tasters."
                )
    return tuple(said)


def _span(dates: Sequence[str], reading: MeasureReading) -> tuple[str, str]:
    """Roast dates of the last batch surely before the step and of the first surely after it."""
    return dates[max(0, reading.change.earliest - 1)], dates[reading.change.latest]


def _way(reading: MeasureReading) -> str:
    return "higher" if reading.change.shift > 0 else "lower"


def _listed(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} and {names[-1]}" if len(names) > 1 else names[0]
