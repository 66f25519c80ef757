"""Small pieces of HTML that every part of the page uses: escaped text, tables, decisions, figures.

Nothing from a folder reaches the page but through `esc`.
"""

from collections.abc import Iterable, Mapping, Sequence
from html import escape

from evenhand.output.charts import Chart
from evenhand.output.telling import write
from evenhand.output.words import DECISION_SIGN, DECISION_WORD
from evenhand.verdict.judgement import Decision


def esc(text: str) -> str:
    """Return text that is safe inside an element or a quoted attribute, with control signs made visible.

    Parameters
    ----------
    text
        Any text out of a folder, or words, which are told in the language that is asked for: see `telling`.

    Returns
    -------
    str
        HTML.
    """
    return escape(write(text), quote=True)


def build_badge(decision: Decision) -> str:
    """Return a decision as shape and word; its class adds the colour.

    Parameters
    ----------
    decision
        One of the three.

    Returns
    -------
    str
        HTML; a screen reader hears the word only.
    """
    return (
        f'<span class="badge {decision}"><span class="sign" aria-hidden="true">{DECISION_SIGN[decision]}</span>'
        f"{DECISION_WORD[decision]}</span>"
    )


Row = Sequence[str]
"""The cells of one row, as HTML."""


def build_table(
    caption: str,
    headings: Sequence[str],
    rows: Iterable[Row],
    *,
    figures: Sequence[int] = (),
    wide: Sequence[int] = (),
) -> str:
    """Return a table whose first column heads its rows.

    Parameters
    ----------
    caption
        What the table tells, as HTML; for screen readers, as a heading above says it to the eye.
    headings
        One heading a column, as HTML.
    rows
        The rows.
    figures
        Columns of numbers, set to the right.
    wide
        Columns that a narrow screen leaves out because the same is said elsewhere on the page.

    Returns
    -------
    str
        HTML.
    """
    return build_grouped_table(caption, headings, {"": list(rows)}, figures=figures, wide=wide)


def build_grouped_table(
    caption: str,
    headings: Sequence[str],
    groups: Mapping[str, Sequence[Row]],
    *,
    figures: Sequence[int] = (),
    wide: Sequence[int] = (),
) -> str:
    """Return a table whose rows stand in groups under a heading each; an empty heading is left out.

    Parameters
    ----------
    caption
        What the table tells, as HTML; for screen readers, as a heading above says it to the eye.
    headings
        One heading a column, as HTML.
    groups
        From the group's heading, as HTML, to its rows.
    figures
        Columns of numbers, set to the right.
    wide
        Columns that a narrow screen leaves out because the same is said elsewhere on the page.

    Returns
    -------
    str
        HTML.
    """
    kinds = [" ".join(("n" if i in figures else "", "w" if i in wide else "")).strip() for i in range(len(headings))]
    kinds = [f' class="{kind}"' if kind else "" for kind in kinds]
    head = "".join(f'<th scope="col"{kind}>{words}</th>' for kind, words in zip(kinds, headings, strict=True))
    bodies = []
    for group, rows in groups.items():
        lead = f'<tr class="group"><th scope="rowgroup" colspan="{len(headings)}">{group}</th></tr>\n' if group else ""
        lines = "".join(
            f'<tr><th scope="row"{kinds[0]}>{row[0]}</th>'
            + "".join(f"<td{kind}>{cell}</td>" for kind, cell in zip(kinds[1:], row[1:], strict=True))
            + "</tr>\n"
            for row in rows
        )
        bodies.append(f"<tbody>\n{lead}{lines}</tbody>")
    start = f'<table><caption class="unseen">{caption}</caption>\n<thead><tr>{head}</tr></thead>\n'
    return f"{start}{''.join(bodies)}</table>\n"


def build_figure(chart: Chart, legend: str) -> str:
    """Return a chart with the words that explain its marks.

    Parameters
    ----------
    chart
        A chart with ids of its own.
    legend
        HTML for the caption.

    Returns
    -------
    str
        HTML.
    """
    return f"<figure>{chart.svg}<figcaption>{legend}</figcaption></figure>\n"
