"""Builds the page of a season: one HTML file that needs nothing else, with a small chart a measure.

It looks and behaves as the page of a judgement does: it loads nothing and runs nothing, and reads on a phone, in the
dark and on paper.
"""

from typing import Final

from evenhand.output._document import INVENTED_MARK, build_definitions, build_document
from evenhand.output._markup import build_figure, build_table, esc
from evenhand.output._season_chart import draw_measure
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
from evenhand.verdict.season import CoffeeSeason, MeasureSeason, SeasonReading, State

# The states borrow the colours of the decisions that press as much.
_CLASS: Final[dict[State, str]] = {
    "shifted": "hold",
    "alert": "taste_again",
    "steady": "release",
    "too_little": "soft",
}
_LEGEND: Final = (
    "Dot: a batch within its limits; square: beyond. Thin line: 90 % interval. Band: the batch's own limits, wider "
    "where it was tasted little. Joined line: the moving average. Batches stand in roasting order."
)
_STYLE: Final = """.k-own { stroke: var(--dot); stroke-width: 1.2px; }
.k-mean { fill: none; stroke: var(--raw); stroke-width: 1.6px; }
.body.season { grid-template-columns: minmax(0, 1fr); }
.body.season > section { grid-column: 1 / -1; }
.charts { display: grid; gap: 1.25rem 2rem; grid-template-columns: repeat(auto-fill, minmax(min(100%, 20rem), 1fr)); }
.charts section { min-width: 0; }
h5 { font-size: 0.9375rem; line-height: 1.25; margin: 0 0 0.375rem; }
h5 .badge { margin-right: 0.375rem; }
@media print {
  .body.season { grid-template-columns: 1fr; }
  .body.season > section { break-inside: auto; }
  .charts { grid-template-columns: repeat(2, minmax(0, 1fr)); }
  .charts section { break-inside: avoid; }
}
"""


def season_page(season: SeasonReading) -> str:
    """Build the page of a season.

    Parameters
    ----------
    season
        The season to be shown; any number of coffees, also none.

    Returns
    -------
    str
        A whole HTML document with its style inside, without script and without any outside reference.
    """
    coffees = sort_for_attention(season)
    mark = INVENTED_MARK if season.invented else ""
    parts = [
        ("overview", "Is it steady?", _overview(coffees)),
        ("across", "In several coffees at once", _list(season.across)),
        ("coffees", "Coffee by coffee", "".join(_coffee(one, n) for n, one in enumerate(coffees, start=1))),
        ("roaster", "To the roaster: what goes with what", _list(season.roaster.sentences)),
        ("warnings", "Warnings", _list(season.warnings)),
        ("reading", "How to read this page", build_definitions(READING)),
    ]
    return build_document(
        title=f"{season.title}: season",
        skip_to="overview",
        header=(
            f'<h1>{esc(season.title)}: the season</h1>\n<p class="soft">Read on {esc(season.read_on)}. '
            f"{esc(describe_season(season))}</p>\n{mark}"
        ),
        parts=parts,
        invented=season.invented,
        style=_STYLE,
    )


def _badge(state: State) -> str:
    return (
        f'<span class="badge {_CLASS[state]}"><span class="sign" aria-hidden="true">{STATE_SIGN[state]}</span>'
        f"{STATE_WORD[state]}</span>"
    )


def _overview(coffees: tuple[CoffeeSeason, ...]) -> str:
    if not coffees:
        return "<p>No batch was roasted.</p>\n"
    rows = []
    for number, one in enumerate(coffees, start=1):
        alerts = [measure.measure for measure in one.measures if measure.alerts]
        alerts += [joint.name for joint in one.joint if joint.signals]
        rows.append(
            (
                f'<a href="#c{number}">{esc(one.coffee)}</a>',
                _badge(one.state),
                str(len(one.batches)),
                esc("; ".join(alerts)) or "none",
                str(len(one.off_target)),
            )
        )
    headings = ("Coffee", "State", "Batches", "Alerts in", "Off target")
    table = build_table("Every coffee, what needs somebody first", headings, rows, figures=(2, 4), wide=(3,))
    return f'<div class="overview">{table}</div>\n'


def _coffee(coffee: CoffeeSeason, number: int) -> str:
    """Return the section of one coffee, open unless nothing there needs somebody."""
    said = [
        *(sentence for joint in coffee.joint for sentence in joint.sentences),
        *coffee.together,
        *coffee.off_target,
    ]
    charts = "".join(
        _measure(one, coffee, f"c{number}m{place}") for place, one in enumerate(coffee.measures, start=1) if one.reading
    )
    doubts = [doubt for one in coffee.measures if one.alerts and (doubt := describe_measure(one, coffee)[1])]
    sections = (
        ("What stands out", _list([*said, *doubts[:1]]) or "<p>Nothing as a whole, and no batch off target.</p>\n"),
        (
            "Measure by measure",
            f'<div class="charts">{charts}</div>\n<p class="soft">{_LEGEND}</p>\n' if charts else "",
        ),
        ("Too little to tell", _list(describe_gaps(coffee))),
    )
    body = "".join(f"<section><h4>{heading}</h4>\n{html}</section>\n" for heading, html in sections if html)
    opened = " open" if coffee.state in ("shifted", "alert") or coffee.off_target else ""
    return (
        f"<details{opened}><summary>{_badge(coffee.state)}<h3>{esc(coffee.coffee)}</h3>"
        f'<span class="sub">{esc(describe_coffee(coffee))}</span></summary>\n'
        f'<div class="body season" id="c{number}">\n{body}</div></details>\n'
    )


def _measure(one: MeasureSeason, coffee: CoffeeSeason, ident: str) -> str:
    said, _ = describe_measure(one, coffee)
    figure = build_figure(draw_measure(one, coffee, ident), esc(said))
    return f"<section><h5>{_badge(one.state)} {esc(one.measure)}</h5>\n{figure}</section>\n"


def _list(sentences: list[str] | tuple[str, ...]) -> str:
    items = "".join(f"<li>{esc(sentence)}</li>" for sentence in sentences)
    return f'<ul class="prose">{items}</ul>\n' if items else ""
