"""Builds the page of a season: one HTML file that needs nothing else, with a small chart a measure.

It looks and behaves as the page of a judgement does: it loads nothing and runs nothing, and reads on a phone, in the
dark and on paper.
"""

from collections.abc import Sequence
from importlib.resources import files
from typing import Final

from evenhand.output._document import INVENTED_MARK, build_definitions, build_document
from evenhand.output._markup import build_figure, build_table, esc
from evenhand.output._season_chart import draw_measure
from evenhand.output._season_green_chart import draw_ageing
from evenhand.output._season_green_words import (
    ACTION_SIGN,
    ACTION_WORD,
    READING_GREEN,
    action_of,
    live_lots,
    lot_cells,
    lot_name,
)
from evenhand.output._season_words import (
    READING,
    STATE_SIGN,
    STATE_WORD,
    describe_coffee,
    describe_gaps,
    describe_measure,
    describe_season,
    sort_for_attention,
)
from evenhand.verdict.green import CoffeeGreen, GreenReading, LotOutlook
from evenhand.verdict.likeness import LotComparison
from evenhand.verdict.season import CoffeeSeason, MeasureSeason, SeasonReading, State
from evenhand.words import Words, join, say

# The states borrow the colours of the decisions that press as much.
_CLASS: Final[dict[State, str]] = {
    "shifted": "hold",
    "alert": "taste_again",
    "steady": "release",
    "too_little": "soft",
}
_ACTION_CLASS: Final = {
    "sell faster or move to a blend": "hold",
    "taste sooner": "taste_again",
    "carry on": "release",
    "": "soft",
}
_PICTURES: Final = 2  # attributes of a lot that are drawn
_LEGEND: Final = say(
    "Dot: a batch within its limits; square: beyond. Thin line: 90 % interval. Band: the batch's own limits, wider "
    "where it was tasted little. Joined line: the moving average. Batches stand in roasting order."
)
_LEGEND_GREEN: Final = say(
    "Dot: a batch, with its 90 % interval. Band: the tolerance. Line and shade: the lot's level with its 90 % "
    "interval. Upright line: today. A prompt to taste, never an expiry."
)
# What only the page needs, where a fragment stands in the body of a coffee that opens and closes.
_STYLE: Final = """.body.season { grid-template-columns: minmax(0, 1fr); }
.body.season > .season-part { grid-column: 1 / -1; }
"""


def season_css() -> str:
    """Give the style sheet of `coffee_fragment`, all of it for things inside `.season-part`."""
    return files("evenhand.output").joinpath("season.css").read_text(encoding="utf-8")


def season_page(
    season: SeasonReading, green: GreenReading | None = None, likeness: Sequence[LotComparison] = ()
) -> str:
    """Build the page of a season.

    Parameters
    ----------
    season
        The season to be shown; any number of coffees, also none.
    green, likeness
        The green of the same season, and its lots set beside others; nothing is said of them where they are left out.

    Returns
    -------
    str
        A whole HTML document with its style inside, without script and without any outside reference.
    """
    coffees = sort_for_attention(season)
    mark = INVENTED_MARK if season.invented else ""
    parts = [
        ("overview", say("Is it steady?"), _overview(coffees)),
        ("across", say("In several coffees at once"), _list(season.across)),
        ("green", say("The green: stock and age"), _green_overview(green)),
        (
            "coffees",
            say("Coffee by coffee"),
            "".join(_coffee(one, green, likeness, n) for n, one in enumerate(coffees, start=1)),
        ),
        ("roaster", say("To the roaster: what goes with what"), _list(season.roaster.sentences)),
        ("warnings", say("Warnings"), _list(season.warnings)),
        ("reading", say("How to read this page"), build_definitions((*READING, *(READING_GREEN if green else ())))),
    ]
    heading, read = say("{title}: the season", title=season.title), say("Read on {date}.", date=season.read_on)
    return build_document(
        title=say("{title}: season", title=season.title),
        skip_to="overview",
        header=f'<h1>{esc(heading)}</h1>\n<p class="soft">{esc(read)} {esc(describe_season(season))}</p>\n{mark}',
        parts=[(ident, esc(words), html) for ident, words, html in parts],
        invented=season.invented,
        style=season_css() + _STYLE,
    )


def _badge(state: State) -> str:
    return (
        f'<span class="badge {_CLASS[state]}"><span class="sign" aria-hidden="true">{STATE_SIGN[state]}</span>'
        f"{esc(STATE_WORD[state])}</span>"
    )


def _overview(coffees: tuple[CoffeeSeason, ...]) -> str:
    if not coffees:
        return "".join(("<p>", esc(say("No batch was roasted.")), "</p>\n"))
    rows = []
    for number, one in enumerate(coffees, start=1):
        alerts = [measure.measure for measure in one.measures if measure.alerts]
        alerts += [joint.name for joint in one.joint if joint.signals]
        rows.append(
            (
                f'<a href="#c{number}">{esc(one.coffee)}</a>',
                _badge(one.state),
                str(len(one.batches)),
                esc(join(alerts, "; ") if alerts else say("none")),
                str(len(one.off_target)),
            )
        )
    headings = (say("Coffee"), say("State"), say("Batches"), say("Alerts in"), say("Off target"))
    caption = say("Every coffee, what needs somebody first")
    table = build_table(esc(caption), [esc(words) for words in headings], rows, figures=(2, 4), wide=(3,))
    return f'<div class="overview">{table}</div>\n'


def _green_overview(green: GreenReading | None) -> str:
    lots = live_lots(green) if green else ()
    if not lots:
        return ""
    rows = []
    for coffee, lot in lots:
        months, left, sales, first = lot_cells(lot)
        name = f'{esc(lot_name(lot))} <span class="sub">{esc(coffee.coffee)}</span>'
        rows.append((name, _action(lot), *map(esc, (months, left, sales, first))))
    headings = [say("Lot"), say("What to do"), say("Months"), say("Left"), say("Sales a month"), say("First to leave")]
    caption = say("Every lot in use, what presses most first")
    table = build_table(esc(caption), [esc(words) for words in headings], rows, figures=(2, 3, 4), wide=(2, 4, 5))
    return f'<div class="overview">{table}</div>\n'


def _action(lot: LotOutlook) -> str:
    action = action_of(lot)
    sign = f'<span class="sign" aria-hidden="true">{ACTION_SIGN[action]}</span>'
    return f'<span class="badge {_ACTION_CLASS[action]}">{sign}{esc(ACTION_WORD[action])}</span>'


def _coffee(coffee: CoffeeSeason, green: GreenReading | None, likeness: Sequence[LotComparison], number: int) -> str:
    """Return the section of one coffee, open unless nothing there needs somebody."""
    of_green = next((one for one in green.coffees if one.coffee == coffee.coffee), None) if green else None
    body = coffee_fragment(coffee, of_green, likeness, ident=f"c{number}")
    presses = of_green is not None and any(action_of(lot) == "sell faster or move to a blend" for lot in of_green.lots)
    opened = " open" if coffee.state in ("shifted", "alert") or coffee.off_target or presses else ""
    return (
        f"<details{opened}><summary>{_badge(coffee.state)}<h3>{esc(coffee.coffee)}</h3>"
        f'<span class="sub">{esc(describe_coffee(coffee))}</span></summary>\n'
        f'<div class="body season" id="c{number}">\n{body}</div></details>\n'
    )


def coffee_fragment(
    coffee: CoffeeSeason,
    green: CoffeeGreen | None = None,
    likeness: Sequence[LotComparison] = (),
    *,
    ident: str = "season",
    heading: int = 4,
) -> str:
    """Build one coffee's season as a piece of HTML to be set into a page, without style, script or link.

    Parameters
    ----------
    coffee
        Its charts.
    green, likeness
        Its green, and comparisons of lots, of which those of this coffee are shown.
    ident
        Start of every id; unlike that of any other fragment on the page.
    heading
        Level of the headings of its sections; those inside are one level deeper.

    Returns
    -------
    str
        A `div` of the class `season-part`, for which `season_css` holds the style.
    """
    said = [
        *(sentence for joint in coffee.joint for sentence in joint.sentences),
        *coffee.together,
        *coffee.off_target,
    ]
    charts = "".join(
        _measure(one, coffee, f"{ident}m{place}", heading + 1)
        for place, one in enumerate(coffee.measures, start=1)
        if one.reading
    )
    doubts = [doubt for one in coffee.measures if one.alerts and (doubt := describe_measure(one, coffee)[1])]
    nothing = say("Nothing as a whole, and no batch off target.")
    compared = [one for one in likeness if one.coffee == coffee.coffee]
    sections = (
        (say("What stands out"), _list([*said, *doubts[:1]]) or f"<p>{esc(nothing)}</p>\n"),
        (say("The green"), _green(green, ident, heading + 1) if green else ""),
        (say("Like last year's lot, and like its target"), _likeness(compared, heading + 1)),
        (
            say("Measure by measure"),
            f'<div class="charts">{charts}</div>\n<p class="soft">{esc(_LEGEND)}</p>\n' if charts else "",
        ),
        (say("Too little to tell"), _list(describe_gaps(coffee))),
    )
    body = "".join(
        f"<section><h{heading}>{esc(words)}</h{heading}>\n{html}</section>\n" for words, html in sections if html
    )
    return f'<div class="season-part">\n{body}</div>\n'


def _green(green: CoffeeGreen, ident: str, level: int) -> str:
    """Return what the lots of one coffee say, with a picture of the first attribute to leave of each."""
    said = [one for one in (*green.sentences, green.too_little) if one]
    lots = []
    for number, lot in enumerate(green.lots, start=1):
        name = lot_name(lot)
        if lot.months_now is not None:
            name = say("{lot}, {months:.0f} months since harvest", lot=name, months=lot.months_now)
        badge = f"{_action(lot)} " if lot.current or lot.attributes else ""
        figures = [
            build_figure(draw_ageing(one, lot, f"{ident}g{number}a{place}"), esc(one.name))
            for place, one in enumerate(lot.attributes[:_PICTURES])
        ]
        pictures = f'<div class="charts">{"".join(figures)}</div>\n' if figures else ""
        words = _list([*lot.sentences, *([lot.gap] if lot.gap else [])])
        lots.append(f'<h{level} class="small">{badge}{esc(name)}</h{level}>\n{words}{pictures}')
    legend = f'<p class="soft">{esc(_LEGEND_GREEN)}</p>\n' if any(lot.attributes for lot in green.lots) else ""
    return f"{_list(said)}{''.join(lots)}{legend}"


def _likeness(compared: Sequence[LotComparison], level: int) -> str:
    return "".join(
        f'<h{level} class="small">{esc(_compared(one))}</h{level}>\n{_list(one.sentences)}' for one in compared
    )


def _compared(one: LotComparison) -> Words:
    if one.other is None:
        return say("{lot} and the target", lot=one.lot)
    return say("{lot} and {other}", lot=one.lot, other=one.other)


def _measure(one: MeasureSeason, coffee: CoffeeSeason, ident: str, level: int) -> str:
    said, _ = describe_measure(one, coffee)
    figure = build_figure(draw_measure(one, coffee, ident), esc(said))
    return f'<section><h{level} class="small">{_badge(one.state)} {esc(one.measure)}</h{level}>\n{figure}</section>\n'


def _list(sentences: Sequence[str]) -> str:
    items = "".join(f"<li>{esc(sentence)}</li>" for sentence in sentences)
    return f'<ul class="prose">{items}</ul>\n' if items else ""
