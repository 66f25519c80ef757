"""The words, signs and number formats that terminal, page and PDF share, so that all three say the same.

A decision is always a word and a shape; colour only repeats them.
"""

import math
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

from evenhand.verdict._service_words import SERVICE_WORD
from evenhand.verdict.judgement import (
    AttributeVerdict,
    BatchVerdict,
    Decision,
    Judgement,
    NextCup,
    Tasted,
    VarianceRow,
)
from evenhand.words import capitalise, join, say, say_many

DECISION_WORD: Final[Mapping[Decision, str]] = {
    "hold": "Hold",
    "taste_again": "Taste again",
    "release": "Release",
}
"""The decision in words, most pressing first: this is also the order of every overview."""

DECISION_SIGN: Final[Mapping[Decision, str]] = {"hold": "■", "taste_again": "▲", "release": "●"}
"""A filled shape for each decision: square, triangle, circle."""

DECISION_SIGN_ASCII: Final[Mapping[Decision, str]] = {"hold": "#", "taste_again": "^", "release": "o"}
"""The same shapes for a terminal that knows only ASCII."""

DEVIATIONS: Final[tuple[str, ...]] = ("dose", "beverage", "time", "water", "pressure")
"""The quantities of a recipe, in the order in which they are shown."""

DEVIATION_WORD: Final[Mapping[str, str]] = {
    "dose": say("dose"),
    "beverage": say("beverage mass"),
    "time": say("time"),
    "water": say("water temperature"),
    "pressure": say("pressure"),
}
"""What each key of a pull's `deviation` is called in full."""

READING: Final[tuple[tuple[str, str], ...]] = (
    (
        "Decision",
        "Hold (square), taste again (triangle) or release (circle): the choice with the least expected cost. The "
        "shape, the word and the colour say the same.",
    ),
    (
        "P good, P within, P fault",
        "The probability that the batch is good; that its whole profile lies within tolerance at the house recipe; "
        "that a fault is in the roast. Good means within and without fault.",
    ),
    (
        "Expected cost",
        "What a choice costs on average, given these probabilities and the roastery's own prices for a wrong "
        "release, a wrong hold, a pull and a taste.",
    ),
    (
        "Next cup",
        "What the best next tasting would save on average, and its price. Taste on only while it is worth more "
        "than it costs.",
    ),
    (
        "Estimate and 90 % interval",
        "The batch's score had the pull been exactly on recipe and the taster been the panel's mean. With "
        "the data at hand the true value lies in the interval with a probability of 90 %.",
    ),
    (
        "The shot's, the tasters', chance",
        "Parts of the raw mean that are not the roast's: pulls that ran off the recipe, tasters who score high or low, "
        "and what so few sheets would show by luck alone. The raw mean less these parts is the estimate.",
    ),
    (
        "Tolerances",
        "Charts measure distance in tolerances: 1 is the edge of what was allowed, whatever the unit.",
    ),
)
"""How to read a judgement: term and explanation, the same on page and paper."""

UNKNOWN: Final = "–"
"""Stands where nothing was measured."""

MINUS: Final = "\N{MINUS SIGN}"

_BIDI_ACTS: Final = frozenset({"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})


def sort_for_attention(judgement: Judgement) -> tuple[BatchVerdict, ...]:
    """Put the batches that need somebody first: hold, taste again, release; in the given order within each.

    Parameters
    ----------
    judgement
        The judgement whose batches are to be shown.

    Returns
    -------
    tuple of BatchVerdict
        All batches, none left out.
    """
    rank = {decision: place for place, decision in enumerate(DECISION_WORD)}
    return tuple(sorted(judgement.batches, key=lambda verdict: rank[verdict.decision]))


def count_decisions(judgement: Judgement) -> dict[Decision, int]:
    """Count the batches by decision, in the order of attention.

    Parameters
    ----------
    judgement
        The judgement to be counted.

    Returns
    -------
    dict
        Decision to count; every decision is a key.
    """
    return {choice: sum(v.decision == choice for v in judgement.batches) for choice in DECISION_WORD}


def describe_counts(judgement: Judgement) -> str:
    """Say in one line how many batches there are and how they were decided.

    Parameters
    ----------
    judgement
        The judgement to be counted.

    Returns
    -------
    str
        For example "9 batches: 2 hold, 2 taste again, 5 release."
    """
    counts = count_decisions(judgement)
    total = sum(counts.values())
    if not total:
        return "No batch was judged."
    listed = ", ".join(f"{number} {DECISION_WORD[choice].lower()}" for choice, number in counts.items())
    return f"{total} {'batch' if total == 1 else 'batches'}: {listed}."


def format_share(probability: float) -> str:
    """Write a probability as a whole percentage that never claims certainty.

    Parameters
    ----------
    probability
        From 0 to 1.

    Returns
    -------
    str
        For example "37 %", "< 1 %" or "> 99 %"; a dash where the probability is unknown (not a number).
    """
    if not math.isfinite(probability):
        return UNKNOWN
    gap = "\N{NO-BREAK SPACE}"
    percent = 100.0 * probability
    if percent < 1.0:
        return f"<{gap}1{gap}%"
    if percent > 99.0:
        return f">{gap}99{gap}%"
    return f"{percent:.0f}{gap}%"


def format_number(value: float | None, decimals: int = 2) -> str:
    """Write a number with fixed decimals and a true minus sign, or a dash where it is unknown.

    Parameters
    ----------
    value
        The number; None or not finite means unknown.
    decimals
        How many digits follow the point.

    Returns
    -------
    str
        For example "1,204.50" or "−0.30", never "−0.00"; told in another language it has that one's signs.
    """
    if value is None or not math.isfinite(value):
        return UNKNOWN
    text = f"{abs(value):,.{decimals}f}"
    negative = value < 0 and any(digit not in "0.," for digit in text)
    sign = MINUS if negative else ""
    return say("{sign}{number:,.{decimals}f}", sign=sign, number=float(abs(value)), decimals=decimals)


def format_signed(value: float | None, decimals: int = 2) -> str:
    """Write a difference with its sign, "+" as well as "−"; zero has none.

    Parameters
    ----------
    value
        The difference; None or not finite means unknown.
    decimals
        How many digits follow the point.

    Returns
    -------
    str
        For example "+0.42".
    """
    text = format_number(value, decimals)
    if value is None or text == UNKNOWN or text.startswith(MINUS):
        return text
    return f"+{text}" if any(digit not in "0.," for digit in text) else text


def clean_text(text: str) -> str:
    """Replace the characters of a user's text that would act instead of being seen.

    Control characters could move a terminal's cursor, and marks that override the direction of writing could make a
    name read backwards. Each becomes a visible replacement sign; line breaks and tabs become spaces.

    Parameters
    ----------
    text
        Any text out of a folder.

    Returns
    -------
    str
        The same text, on one line.
    """
    return "".join(_harmless(sign) for sign in text)


def _harmless(sign: str) -> str:
    if sign in "\t\n\r\u2028\u2029":
        return " "
    acts = unicodedata.category(sign) in ("Cc", "Cs", "Cn") or unicodedata.bidirectional(sign) in _BIDI_ACTS
    return "\N{REPLACEMENT CHARACTER}" if acts else sign


def group_variances(judgement: Judgement) -> list[tuple[str, tuple[VarianceRow, ...]]]:
    """Put variances of a coffee and service together, and coffees that share the same figures under one name.

    Parameters
    ----------
    judgement
        The judgement whose variances are to be shown.

    Returns
    -------
    list of tuple
        A heading that names coffees and service, and the rows; in the given order.
    """
    tables: dict[tuple[str, str], list[VarianceRow]] = {}
    for row in judgement.variances:
        tables.setdefault((row.coffee, row.service), []).append(row)
    shared: dict[object, list[tuple[str, str]]] = {}
    for key, rows in tables.items():
        figures = tuple(replace(row, coffee="") for row in rows)
        shared.setdefault(figures, []).append(key)
    return [
        (f"{', '.join(coffee for coffee, _ in keys)}; {keys[0][1]}", tuple(tables[keys[0]])) for keys in shared.values()
    ]


def find_chance(row: AttributeVerdict) -> float | None:
    """Find the part of a raw mean that is neither the roast's nor the shot's nor the tasters'.

    Parameters
    ----------
    row
        One attribute in one service.

    Returns
    -------
    float or None
        `raw_mean - shot_effect - taster_effect - estimate`, in points; None where nothing was scored.
    """
    if row.raw_mean is None:
        return None
    return row.raw_mean - row.shot_effect - row.taster_effect - row.estimate


def describe_next_cup(next_cup: NextCup) -> str:
    """Say in one sentence what the next tasting would be, what it is worth and whether it pays.

    Parameters
    ----------
    next_cup
        The best next tasting of one batch.

    Returns
    -------
    str
        One sentence with worth and price in the currency of the costs file.
    """
    what, bare = next_cup.what, next_cup.what.strip().rstrip(".")
    what = what if what == bare else bare  # cutting would make plain English of words, which end in no full stop
    worth, cost = format_number(next_cup.worth), format_number(next_cup.cost)
    if not what:
        return say("Next tasting: worth {worth}, costs {cost}.", worth=worth, cost=cost)
    if next_cup.worth > next_cup.cost:
        return capitalise(say("{what}: worth {worth}, costs {cost}; it pays.", what=what, worth=worth, cost=cost))
    return capitalise(say("{what}: worth {worth}, costs {cost}; it does not pay.", what=what, worth=worth, cost=cost))


def describe_tasted(tasted: Sequence[Tasted]) -> str:
    """Say in one sentence how much tasting stands behind a batch.

    Parameters
    ----------
    tasted
        One record a service.

    Returns
    -------
    str
        For example "Black: 3 cups of 3 pulls, 4 tasters, 12 sheets. Milk: 1 cup of 1 pull, ...".
    """
    if not tasted:
        return say("Not tasted.")
    return join([_tasted_in(one) for one in tasted], " ")


def _tasted_in(one: Tasted) -> str:
    said = say(
        "{service}: {cups} of {pulls}, {tasters}, {sheets}.",
        service=SERVICE_WORD.get(one.service, one.service.lower()),
        cups=say_many("{count} cup", "{count} cups", count=one.cups),
        pulls=say_many("{count} pull", "{count} pulls", count=one.pulls),
        tasters=say_many("{count} taster", "{count} tasters", count=one.tasters),
        sheets=say_many("{count} sheet", "{count} sheets", count=one.sheets),
    )
    return capitalise(said)
