"""The words and signs of a season that terminal and page share: states, alerts, counts, and how to read them."""

from collections.abc import Mapping
from typing import Final

import numpy as np

from evenhand.output.words import format_number
from evenhand.verdict.season import FEW, Alert, CoffeeSeason, MeasureSeason, SeasonReading, State

STATE_WORD: Final[Mapping[State, str]] = {
    "shifted": "Shifted",
    "alert": "Alert",
    "steady": "Steady",
    "too_little": "Too little",
}
"""The state of a coffee or measure in words, most pressing first."""

STATE_SIGN: Final[Mapping[State, str]] = {"shifted": "■", "alert": "▲", "steady": "●", "too_little": "–"}
"""A shape for each state, so that colour only repeats it."""

CHART_WORD: Final[Mapping[str, str]] = {
    "single": "single batches",
    "average": "the moving average",
    "sums": "the sums",
}
"""What each chart is called."""

READING: Final[tuple[tuple[str, str], ...]] = (
    (
        "Shifted, alert, steady",
        "Shifted (square): averages or sums lie beyond their limits, and still do or a step is seen. Alert (triangle): "
        "a single batch stands out, or a shift is over. Steady (circle): neither. Steady does not mean good: the "
        "target is the verdict's affair.",
    ),
    (
        "Single batches",
        "Each batch against the usual level, three standard deviations to either side. A batch with little tasting "
        "has wider limits. It sees one odd batch.",
    ),
    (
        "The moving average",
        "An average in which newer batches count more (EWMA). It sees a small shift that lasts.",
    ),
    (
        "The sums",
        "What gathers beyond half a standard deviation, batch after batch (CUSUM). They see a small shift, and about "
        "when it began.",
    ),
    (
        "Odd as a whole",
        "All measures at once (Hotelling's T-squared): a batch that no single chart need show.",
    ),
    (
        "A sign only",
        "A jump, a pattern or a step inside the limits. Steady batches show some; act on none of them alone.",
    ),
    (
        "By luck",
        "So many measures would show an alert in seasons where nothing changed, since limits are learned from the "
        "same batches.",
    ),
)
"""How to read a season: term and explanation, the same on terminal and page."""

_ORDER: Final = tuple(STATE_WORD)


def sort_for_attention(season: SeasonReading) -> tuple[CoffeeSeason, ...]:
    """Put the coffees that need somebody first; by name within each state."""
    return tuple(sorted(season.coffees, key=lambda one: _ORDER.index(one.state)))


def describe_season(season: SeasonReading) -> str:
    """Say in two sentences how much is charted and how many alerts there are, beside those that luck would bring."""
    batches = sum(len(one.batches) for one in season.coffees)
    coffees = _count(len(season.coffees), "coffee")
    if not season.charted:
        return f"{coffees}, {_count(batches, 'batch', 'batches')}. There is too little for any chart yet."
    luck = format_number(season.by_luck, 0 if season.by_luck >= 1.5 else 1)
    return (
        f"{coffees}, {_count(batches, 'batch', 'batches')}. {_count(season.charted, 'measure')} charted, "
        f"{season.alerting or 'none'} with an alert; were all steady, about {luck} would have one by luck."
    )


def describe_coffee(coffee: CoffeeSeason) -> str:
    """Say in one line how long a coffee was followed and how much of it is unusual."""
    charted = [one for one in coffee.measures if one.reading]
    signs = sum(one.sign for one in charted)
    alerts = sum(bool(one.alerts) for one in charted)
    said = [f"{coffee.coffee}: {_count(len(coffee.batches), 'batch', 'batches')}, {_span(coffee)}"]
    if charted:
        seen = f"an alert in {alerts}" if alerts else "no alert"
        said.append(f"{seen} of {_count(len(charted), 'measure')}" if alerts else f"{seen} in {len(charted)} measures")
        if signs:
            said.append(f"signs only in {signs}")
        most = max(one.reading.change.batches for one in charted if one.reading)
        if most < FEW and not alerts:
            said.append("so few batches would show only a large change")
    else:
        said.append("too few measured batches for a chart")
    return "; ".join(said) + "."


def describe_alerts(measure: MeasureSeason, coffee: CoffeeSeason) -> str:
    """Say which chart signals at which batch and date."""
    said = [f"{CHART_WORD[one.chart]} at {_stay(one, coffee)}" for one in measure.alerts]
    return f"Alert of {'; '.join(said)}." if said else ""


def describe_gaps(coffee: CoffeeSeason) -> tuple[str, ...]:
    """Say what is too little to tell, in full."""
    return (
        *(one.too_little for one in coffee.measures if one.too_little),
        *(one.too_little for one in coffee.joint if one.too_little),
    )


def describe_gaps_briefly(coffee: CoffeeSeason) -> str:
    """Say in one sentence what is too little to tell; empty where nothing is."""
    gaps = [one.measure for one in coffee.measures if one.too_little]
    said = []
    if gaps and len(gaps) < len(coffee.measures):
        said.append(f"no chart yet of {', '.join(gaps)}")
    if gaps and len(gaps) == len(coffee.measures):
        said.append("no chart yet of any measure")
    wholes = [one.name[:1].lower() + one.name[1:] for one in coffee.joint if one.too_little]
    if wholes:
        said.append(f"too few batches yet to be read as a whole: {'; '.join(wholes)}")
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def describe_measure(measure: MeasureSeason, coffee: CoffeeSeason) -> tuple[str, str]:
    """Say all that there is to say of a measure, alerts first, after its name.

    Returns
    -------
    tuple of str
        The sentences without the measure's name in front, and the one, if any, on how uncertain its limits are.
    """
    if measure.reading is None:
        return measure.too_little.removeprefix(f"{measure.measure}: "), ""
    usual, *body = measure.reading.sentences
    doubt = body.pop() if body and body[-1].startswith("Limits from") else ""
    usual = usual.removeprefix(f"{measure.measure}: ").removeprefix(f"{measure.measure} ")
    usual = f"{usual[:1].upper()}{usual[1:]}"
    return " ".join(part for part in (describe_alerts(measure, coffee), usual, *body) if part), doubt


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
    if one.lasting:
        return f"{first}, and still" if one.first == one.last else f"{first} and since"
    if one.first == one.last:
        return f"{first}, not since"
    return f"{first} until {coffee.batches[one.last]} ({coffee.dates[one.last]})"


def _span(coffee: CoffeeSeason) -> str:
    first, last = coffee.dates[0], coffee.dates[-1]
    return first if first == last else f"{first} to {last}"


def _count(number: int, noun: str, many: str = "") -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {many or noun + 's'}"
