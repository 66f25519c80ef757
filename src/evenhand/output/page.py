"""Builds the page: one HTML file that needs nothing else, for a phone, a desk and a printer.

It loads nothing and runs nothing. The overview comes first, with what needs somebody on top; each batch follows in a
section of its own; then come the variances, the caffeine, the cautions, and how to read all this.
"""

from evenhand.output._document import INVENTED_MARK, build_definitions, build_document
from evenhand.output._markup import build_badge, build_grouped_table, build_table, esc
from evenhand.output._page_batch import build_batch
from evenhand.output.cautions import list_cautions, note_caffeine
from evenhand.output.words import (
    READING,
    count_decisions,
    describe_counts,
    format_number,
    format_share,
    group_variances,
    sort_for_attention,
)
from evenhand.verdict.judgement import BatchVerdict, Judgement


def page(judgement: Judgement) -> str:
    """Build the page of a judgement.

    Parameters
    ----------
    judgement
        The judgement to be shown; any number of batches, also none.

    Returns
    -------
    str
        A whole HTML document with its style inside, without script and without any outside reference.
    """
    verdicts = sort_for_attention(judgement)
    mark = INVENTED_MARK if judgement.invented else ""
    parts = [
        ("verdicts", "Verdicts", _overview(verdicts)),
        ("batches", "Batch by batch", "".join(build_batch(v, n) for n, v in enumerate(verdicts, start=1))),
        ("variances", "Where the differences come from", _variances(judgement)),
        ("warnings", "Warnings", _warnings(judgement)),
        ("caffeine", "Caffeine offered", _caffeine(judgement)),
        ("cautions", "Cautions", build_definitions([(c.heading, c.text) for c in list_cautions(judgement)])),
        ("reading", "How to read this page", build_definitions(READING)),
    ]
    return build_document(
        title=f"{judgement.title}: verdicts",
        skip_to="verdicts",
        header=(
            f'<h1>{esc(judgement.title)}</h1>\n<p class="soft">Judged on {esc(judgement.judged_on)}. '
            f"{describe_counts(judgement)}</p>\n{mark}{_counts(judgement)}{_warning_line(judgement)}"
        ),
        parts=parts,
        invented=judgement.invented,
    )


def _counts(judgement: Judgement) -> str:
    if not judgement.batches:
        return ""
    counts = count_decisions(judgement).items()
    items = "".join(f"<li><b>{number}</b> {build_badge(choice)}</li>" for choice, number in counts)
    return f'<ul class="counts">{items}</ul>\n'


def _warning_line(judgement: Judgement) -> str:
    number = len(judgement.warnings)
    if not number:
        return ""
    said = "One warning bears" if number == 1 else f"{number} warnings bear"
    return f'<p class="warn">{said} on how far these verdicts can be trusted: <a href="#warnings">read them</a>.</p>\n'


def _overview(verdicts: tuple[BatchVerdict, ...]) -> str:
    if not verdicts:
        return "<p>No batch was judged.</p>\n"
    rows = []
    for number, verdict in enumerate(verdicts, start=1):
        cost = verdict.expected_cost
        rows.append(
            (
                f'<a href="#b{number}">{esc(verdict.batch)}</a><span class="sub">{esc(verdict.coffee)}</span>',
                build_badge(verdict.decision),
                f"<b>{format_share(verdict.p_good)}</b>",
                format_share(verdict.p_within),
                format_share(verdict.p_fault),
                format_number(cost["hold"]),
                format_number(cost["taste_again"]),
                format_number(cost["release"]),
                format_number(verdict.next_cup.worth),
                format_number(verdict.next_cup.cost),
            )
        )
    headings = (
        "Batch",
        "Decision",
        "P good",
        "P within",
        "P fault",
        "Hold costs",
        "Taste again costs",
        "Release costs",
        "Next cup is worth",
        "Next cup costs",
    )
    table = build_table(
        "Every batch, what needs somebody first", headings, rows, figures=range(2, 10), wide=range(3, 10)
    )
    return f'<div class="overview">{table}</div>\n'


def _variances(judgement: Judgement) -> str:
    if not judgement.variances:
        return ""
    groups = {
        esc(name): [
            (
                esc(row.attribute),
                *map(format_number, (row.batch, row.taster, row.batch_taster, row.pull, row.residual)),
                format_number(row.log_likelihood, 1),
            )
            for row in rows
        ]
        for name, rows in group_variances(judgement)
    }
    headings = ("Attribute", "Batch", "Taster", "Batch × taster", "Pull", "Rest", "Log-likeli&shy;hood")
    table = build_grouped_table("Variance components, points squared", headings, groups, figures=range(1, 7), wide=(6,))
    lead = (
        '<p class="prose">How much of the spread of scores comes from each source, in points squared. A large batch '
        "figure means that batches truly differ; a large taster figure, that tasters use the scale differently.</p>\n"
    )
    return f'{lead}<div class="overview figures">{table}</div>\n'


def _warnings(judgement: Judgement) -> str:
    items = "".join(f"<li>{esc(warning)}</li>" for warning in judgement.warnings)
    return f'<ul class="prose">{items}</ul>\n' if items else ""


def _caffeine(judgement: Judgement) -> str:
    if not judgement.caffeine:
        return ""
    groups: dict[str, list[tuple[str, ...]]] = {}
    for row in judgement.caffeine:
        cells = (str(row.cups), format_number(row.caffeine_mg, 0), note_caffeine(row.caffeine_mg))
        groups.setdefault(f"Table {esc(row.table)}", []).append((esc(row.taster), *cells))
    table = build_grouped_table(
        "Caffeine offered to each taster at each table",
        ("Taster", "Cups", "Caffeine, mg", "Note"),
        groups,
        figures=(1, 2),
    )
    lead = '<p class="prose">An estimate for each taster and table, if every sip is swallowed.</p>\n'
    return f'{lead}<div class="overview figures">{table}</div>\n'
