"""The words and signs of a season that terminal and page share: states, alerts, counts, and how to read them."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from evenhand.output.words import format_number
from evenhand.verdict.season import FEW, Alert, CoffeeSeason, MeasureSeason, SeasonReading, State
from evenhand.words import Words, capitalise, join, say, say_many

STATE_WORD: Final[Mapping[State, str]] = {
    "shifted": say("Shifted"),
    "alert": say("Alert"),
    "steady": say("Steady"),
    "too_little": say("Too little"),
}
"""The state of a coffee or measure in words, most pressing first."""

STATE_SIGN: Final[Mapping[State, str]] = {"shifted": "■", "alert": "▲", "steady": "●", "too_little": "–"}
"""A shape for each state, so that colour only repeats it."""

CHART_WORD: Final[Mapping[str, str]] = {
    "single": say("single batches"),
    "average": say("the moving average"),
    "sums": say("the sums"),
}
"""What each chart is called."""

READING: Final[tuple[tuple[str, str], ...]] = (
    (
        say("Shifted, alert, steady"),
        say(
            "Shifted (square): averages or sums lie beyond their limits, and still do or a step is seen. Alert "
            "(triangle): a single batch stands out, or a shift is over. Steady (circle): neither. Steady does not mean "
            "good: the target is the verdict's affair."
        ),
    ),
    (
        say("Single batches"),
        say(
            "Each batch against the usual level, three standard deviations to either side. A batch with little tasting "
            "has wider limits. It sees one odd batch."
        ),
    ),
    (
        say("The moving average"),
        say("An average in which newer batches count more (EWMA). It sees a small shift that lasts."),
    ),
    (
        say("The sums"),
        say(
            "What gathers beyond half a standard deviation, batch after batch (CUSUM). They see a small shift, and "
            "about when it began."
        ),
    ),
    (
        say("Odd as a whole"),
        say("All measures at once (Hotelling's T-squared): a batch that no single chart need show."),
    ),
    (
        say("A sign only"),
        say("A jump, a pattern or a step inside the limits. Steady batches show some; act on none of them alone."),
    ),
    (
        say("By luck"),
        say(
            "So many measures would show an alert in seasons where nothing changed, since limits are learned from the "
            "same batches."
        ),
    ),
)
"""How to read a season: term and explanation, the same on terminal and page."""

_ORDER: Final = tuple(STATE_WORD)


def sort_for_attention(season: SeasonReading) -> tuple[CoffeeSeason, ...]:
    """Put the coffees that need somebody first; by name within each state."""
    return tuple(sorted(season.coffees, key=lambda one: _ORDER.index(one.state)))


def describe_season(season: SeasonReading) -> Words:
    """Say in two sentences how much is charted and how many alerts there are, beside those that luck would bring."""
    coffees = say_many("{count} coffee", "{count} coffees", count=len(season.coffees))
    batches = _count_batches(sum(len(one.batches) for one in season.coffees))
    if not season.charted:
        return say("{coffees}, {batches}. There is too little for any chart yet.", coffees=coffees, batches=batches)
    return say(
        "{coffees}, {batches}. {measures} charted, {alerting} with an alert; were all steady, about {luck} would have "
        "one by luck.",
        coffees=coffees,
        batches=batches,
        measures=_count_measures(season.charted),
        alerting=season.alerting or say("none"),
        luck=format_number(season.by_luck, 0 if season.by_luck >= 1.5 else 1),
    )


def describe_coffee(coffee: CoffeeSeason) -> Words:
    """Say in one line how long a coffee was followed and how much of it is unusual."""
    batches = _count_batches(len(coffee.batches))
    said = [say("{coffee}: {batches}, {span}", coffee=coffee.coffee, batches=batches, span=_span(coffee))]
    charted = [one.reading for one in coffee.measures if one.reading]
    signs = sum(one.sign for one in coffee.measures if one.reading)
    alerts = sum(bool(one.alerts) for one in coffee.measures if one.reading)
    if not charted:
        said.append(say("too few measured batches for a chart"))
    elif alerts:
        said.append(say("an alert in {alerts} of {measures}", alerts=alerts, measures=_count_measures(len(charted))))
    else:
        said.append(say("no alert in {measures}", measures=_count_measures(len(charted))))
    if signs:
        said.append(say("signs only in {signs}", signs=signs))
    if charted and not alerts and max(one.change.batches for one in charted) < FEW:
        said.append(say("so few batches would show only a large change"))
    return say("{said}.", said=join(said, "; "))


def describe_alerts(measure: MeasureSeason, coffee: CoffeeSeason) -> str:
    """Say which chart signals at which batch and date; empty where none does."""
    if not measure.alerts:
        return ""
    charts = [say("{chart} at {stay}", chart=CHART_WORD[one.chart], stay=_stay(one, coffee)) for one in measure.alerts]
    return say("Alert of {charts}.", charts=join(charts, "; "))


def describe_gaps(coffee: CoffeeSeason) -> tuple[str, ...]:
    """Say what is too little to tell, in full."""
    return (
        *(one.too_little for one in coffee.measures if one.too_little),
        *(one.too_little for one in coffee.joint if one.too_little),
    )


def describe_gaps_briefly(coffee: CoffeeSeason) -> str:
    """Say in one sentence what is too little to tell; empty where nothing is."""
    gaps = [one.measure for one in coffee.measures if one.too_little]
    wholes = [one.whole for one in coffee.joint if one.too_little]
    said = []
    if gaps and len(gaps) < len(coffee.measures):
        said.append(say("no chart yet of {measures}", measures=join(gaps)))
    elif gaps:
        said.append(say("no chart yet of any measure"))
    if wholes:
        said.append(say("too few batches yet to be read as a whole: {wholes}", wholes=join(wholes, "; ")))
    return say("{said}.", said=capitalise(join(said, "; "))) if said else ""


def describe_measure(measure: MeasureSeason, coffee: CoffeeSeason) -> tuple[str, str]:
    """Say all that there is to say of a measure, alerts first, after its name.

    Returns
    -------
    tuple of str
        The sentences without the measure's name in front, and the one, if any, on how uncertain its limits are.
    """
    reading = measure.reading
    if reading is None:
        return measure.gap, ""
    alerts = describe_alerts(measure, coffee)
    said = [*([alerts] if alerts else []), capitalise(reading.usual), *reading.body]
    return join(said, " "), reading.doubt


def newest(measure: MeasureSeason) -> int | None:
    """Give the number of the newest measured batch."""
    known = np.flatnonzero(np.isfinite(measure.value) & np.isfinite(measure.sd))
    return int(known[-1]) if known.size else None


def decimals(measure: MeasureSeason) -> int:
    """Give the decimals that suit the scatter of a measure: a tenth of it."""
    spread = measure.reading.base.typical_sd if measure.reading else 1.0
    return int(np.clip(np.ceil(-np.log10(spread)) + 1, 0, 3)) if spread > 0 else 2


def is_weak(sentence: str) -> bool:
    """Tell a link that is told with "perhaps"."""
    return sentence.startswith("Perhaps ")


def _stay(one: Alert, coffee: CoffeeSeason) -> str:
    first = f"{coffee.batches[one.first]} ({coffee.dates[one.first]})"
    if one.chart == "single" and one.first == one.last:
        return first
    if one.first == one.last:
        return say("{first}, and still", first=first) if one.lasting else say("{first}, not since", first=first)
    if one.lasting:
        return say("{first} and since", first=first)
    return say("{first} until {last}", first=first, last=f"{coffee.batches[one.last]} ({coffee.dates[one.last]})")


def _span(coffee: CoffeeSeason) -> str:
    first, last = coffee.dates[0], coffee.dates[-1]
    return first if first == last else say("{first} to {last}", first=first, last=last)


def _count_batches(count: int) -> Words:
    return say_many("{count} batch", "{count} batches", count=count)


def _count_measures(count: int) -> Words:
    return say_many("{count} measure", "{count} measures", count=count)
