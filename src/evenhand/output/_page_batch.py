"""One batch on the page: the decision and its reasons first, then all that stands behind them."""

from collections.abc import Callable

from evenhand.output._markup import Row, build_badge, build_figure, build_grouped_table, build_table, esc
from evenhand.output.charts import PAGE_INK, draw_profile, draw_pulls
from evenhand.output.words import (
    DECISION_WORD,
    DEVIATIONS,
    describe_next_cup,
    describe_tasted,
    find_chance,
    format_number,
    format_share,
    format_signed,
)
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict

_PULLS_THAT_FIT = 6

_PROFILE_LEGEND = (
    "Band: one tolerance to either side of the target. Line: 90 % interval. Round dot: the estimate lies within; "
    "square: outside. Hollow diamond: the raw mean of the sheets."
)
_PULLS_LEGEND = (
    "Band: one tolerance to either side of the recipe. Each disc is a pull, by its number in the table; a hollow "
    "square is a pull that was not judged."
)


def build_batch(verdict: BatchVerdict, number: int) -> str:
    """Return the section of one batch, open unless it is released.

    Parameters
    ----------
    verdict
        The batch.
    number
        Its place on the page, from 1; makes its anchor `b1`, `b2` and the ids of its charts.

    Returns
    -------
    str
        HTML of one `details` element.
    """
    sections = (
        ("Why", _reasons(verdict)),
        ("What each choice is expected to cost", _costs(verdict)),
        ("Faults", _faults(verdict)),
        ("Profile at the house recipe", _profile_chart(verdict, number)),
        ("Profile in points", _profile_table(verdict)),
        ("From the raw mean to the house recipe", _parts_table(verdict)),
        ("Pulls against the house recipe", _pulls_chart(verdict, number)),
        ("Pulls in figures", _pulls_table(verdict)),
    )
    body = "".join(f"<section><h4>{heading}</h4>\n{html}</section>\n" for heading, html in sections if html)
    opened = "" if verdict.decision == "release" else ' class="pressing" open'
    return (
        f"<details{opened}><summary>{build_badge(verdict.decision)}<h3>{esc(verdict.batch)}</h3>"
        f'<span class="sub">{esc(verdict.coffee)}, roasted {esc(verdict.roasted_on)}. '
        f"P&nbsp;good&nbsp;{format_share(verdict.p_good)}.</span></summary>\n"
        f'<div class="body" id="b{number}">\n{body}</div></details>\n'
    )


def _reasons(verdict: BatchVerdict) -> str:
    reasons = "".join(f"<li>{esc(reason)}</li>" for reason in verdict.reasons)
    listed = f"<ul>{reasons}</ul>\n" if reasons else ""
    return f'{listed}<p class="soft">{esc(describe_tasted(verdict.tasted))}</p>\n'


def _costs(verdict: BatchVerdict) -> str:
    least = min(verdict.expected_cost.values(), default=0.0)
    rows = []
    for choice, word in DECISION_WORD.items():
        cost = verdict.expected_cost[choice]
        kind = ' class="least"' if cost == least else ""
        note = "least" if cost == least else ""
        rows.append((f"<span{kind}>{word}</span>", f"<span{kind}>{format_number(cost)}</span>", note))
    table = build_table("Expected cost of each choice", ("Choice", "Expected cost", "Note"), rows, figures=(1,))
    shares = (
        f"P&nbsp;within&nbsp;{format_share(verdict.p_within)}, P&nbsp;fault&nbsp;{format_share(verdict.p_fault)}, "
        f"P&nbsp;good&nbsp;{format_share(verdict.p_good)}."
    )
    return f'<p>{shares}</p>\n{table}<p class="after">{esc(describe_next_cup(verdict.next_cup))}</p>\n'


def _profile_chart(verdict: BatchVerdict, number: int) -> str:
    if not verdict.profile:
        return "<p>No attribute was scored.</p>\n"
    return build_figure(draw_profile(verdict, PAGE_INK, f"b{number}-profile"), _PROFILE_LEGEND)


def _profile_table(verdict: BatchVerdict) -> str:
    if not verdict.profile:
        return ""
    groups = _group(
        verdict,
        lambda row: (
            esc(row.attribute),
            f"<b>{format_number(row.estimate)}</b>",
            f"{format_number(row.lower90)} to&nbsp;{format_number(row.upper90)}",
            f"{format_number(row.target)} ±&nbsp;{format_number(row.tolerance)}",
            format_share(row.p_within),
        ),
    )
    headings = ("Attribute", "Esti&shy;mate", "90&nbsp;% interval", "Target", "P within")
    return build_grouped_table("Profile in points of the scale", headings, groups, figures=(1, 2, 3, 4))


def _parts_table(verdict: BatchVerdict) -> str:
    if not verdict.profile:
        return ""
    groups = _group(
        verdict,
        lambda row: (
            esc(row.attribute),
            format_number(row.raw_mean),
            format_signed(row.shot_effect if row.raw_mean is not None else None),
            format_signed(row.taster_effect if row.raw_mean is not None else None),
            format_signed(find_chance(row)),
            f"<b>{format_number(row.estimate)}</b>",
        ),
    )
    headings = ("Attribute", "Raw mean", "Shot", "Tasters", "Chance", "Esti&shy;mate")
    caption = "What part of the raw mean was the shot’s, the tasters’ and chance, in points"
    return build_grouped_table(caption, headings, groups, figures=(1, 2, 3, 4, 5), wide=(5,))


def _group(verdict: BatchVerdict, cells: Callable[[AttributeVerdict], Row]) -> dict[str, list[Row]]:
    """Return the rows of a profile by service."""
    groups: dict[str, list[Row]] = {}
    for row in verdict.profile:
        groups.setdefault(esc(row.service.capitalize()), []).append(cells(row))
    return groups


def _faults(verdict: BatchVerdict) -> str:
    if not verdict.faults:
        return "<p>No fault was asked for.</p>\n"
    rows = [
        (esc(one.fault), f"{one.heard} of {one.asked}", format_share(one.p_present))
        for one in sorted(verdict.faults, key=lambda one: -one.p_present)
    ]
    return build_table("Faults heard", ("Fault", "Heard", "P in the roast"), rows, figures=(1, 2))


def _pulls_chart(verdict: BatchVerdict, number: int) -> str:
    if not verdict.pulls:
        return "<p>No pull was recorded.</p>\n"
    return build_figure(draw_pulls(verdict, PAGE_INK, f"b{number}-pulls"), _PULLS_LEGEND)


def _pulls_table(verdict: BatchVerdict) -> str:
    """One column a pull, so that six pulls fit a phone; more of them scroll inside their own frame."""
    if not verdict.pulls:
        return ""
    pulls = verdict.pulls
    headings = [
        "Quantity",
        *(f'{number}<span class="sub">{esc(pull.pull)}</span>' for number, pull in enumerate(pulls, 1)),
    ]
    measured = [
        ["Judged", *("yes" if pull.judgeable else "<b>no</b>" for pull in pulls)],
        ["Ratio", *(format_number(pull.ratio) for pull in pulls)],
        ["Flow, g/s", *(format_number(pull.flow_g_per_s) for pull in pulls)],
        ["Extr., %", *(_extraction(pull.extraction_pct, pull.extraction_sd_pct) for pull in pulls)],
    ]
    distances = [
        [quantity.capitalize(), *(format_signed(pull.deviation.get(quantity), 1) for pull in pulls)]
        for quantity in DEVIATIONS
    ]
    groups = {"Measured": measured, "Distance from the recipe, in tolerances": distances}
    caption = "Pulls: what was measured, and how far from the recipe"
    table = build_grouped_table(caption, headings, groups, figures=range(1, len(pulls) + 1))
    if len(pulls) > _PULLS_THAT_FIT:
        frame = 'class="scroll" role="group" aria-label="Table of pulls, scrolls sideways" tabindex="0"'
        table = f"<div {frame}>{table}</div>\n"
    notes = "".join(f"<li>Pull {number}: {esc(pull.note)}</li>" for number, pull in enumerate(pulls, 1) if pull.note)
    return f'{table}<ul class="after">{notes}</ul>\n' if notes else table


def _extraction(value: float | None, sd: float | None) -> str:
    if value is None:
        return format_number(None)
    spread = "" if sd is None else f" ±&nbsp;{format_number(sd, 1)}"
    return f"{format_number(value, 1)}{spread}"
