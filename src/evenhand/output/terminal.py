"""Shows a judgement on a terminal: one row a batch, then the reasons for what is not released, then the cautions.

Nothing depends on colour: it reads the same in a pipe, with NO_COLOR, and at 80 or 120 columns. Where the terminal
knows no more than ASCII, signs and figures fall back to it.
"""

from collections.abc import Collection, Iterable, Sequence
from typing import Final

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from evenhand.output.cautions import list_cautions
from evenhand.output.words import (
    DECISION_SIGN,
    DECISION_SIGN_ASCII,
    DECISION_WORD,
    clean_text,
    describe_counts,
    describe_next_cup,
    describe_tasted,
    format_number,
    format_share,
    format_signed,
    sort_for_attention,
)
from evenhand.verdict.judgement import BatchVerdict, Decision, Judgement

_COLOUR: Final[dict[Decision, str]] = {"hold": "bold red", "taste_again": "bold yellow", "release": "bold green"}
_ASCII: Final = str.maketrans(
    {
        "\N{NO-BREAK SPACE}": " ",
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{PLUS-MINUS SIGN}": "+/-",
        "\N{BULLET}": "-",
        **{DECISION_SIGN[decision]: DECISION_SIGN_ASCII[decision] for decision in DECISION_WORD},
    }
)
_WIDE: Final = 100
_INDENT: Final = (0, 0, 0, 4)


def show(judgement: Judgement, console: Console, *, only: Collection[str] = ()) -> None:
    """Print the verdicts, the reasons and the cautions.

    Parameters
    ----------
    judgement
        The judgement to be shown.
    console
        A Rich console; its width decides between the compact and the full table.
    only
        Names of batches. If given, only they are shown, with their profile, faults and pulls, and with reasons also
        where they are released.
    """
    screen = _Screen(console)
    verdicts = [v for v in sort_for_attention(judgement) if not only or v.batch in only]
    screen.line(f"{judgement.title}, judged on {judgement.judged_on}", style="bold")
    if judgement.invented:
        screen.line("Invented data: this folder is a made-up example, not a real roastery.")
    for warning in judgement.warnings:
        screen.line(f"Warning: {warning}", style="yellow")
    screen.line("")
    if verdicts:
        _show_overview(verdicts, screen)
    if not only:
        screen.line(describe_counts(judgement))
    elif not verdicts:
        screen.line("No batch of that name was judged.")
    for verdict in verdicts:
        if only or verdict.decision != "release":
            _show_reasons(verdict, screen)
        if only:
            _show_detail(verdict, screen)
    screen.line("")
    screen.line("Cautions", style="bold")
    for caution in list_cautions(judgement):
        screen.line(f"{caution.heading}. {caution.text}", first="  ", rest="  ")


def _show_overview(verdicts: Sequence[BatchVerdict], screen: "_Screen") -> None:
    """One row a batch; under 100 columns the three costs share the place of one: that of the decision."""
    shares = ("P\ngood", "P\nwithin", "P\nfault")
    costs = ("Cost of\nhold", "Cost of\ntaste again", "Cost of\nrelease") if screen.wide else ("\nCost",)
    table = screen.new_table(("\nBatch", "\nCoffee"), ("\nDecision",), (*shares, *costs, "Next cup\nworth/cost"))
    for verdict in verdicts:
        cost = verdict.expected_cost
        shown = ("hold", "taste_again", "release") if screen.wide else (verdict.decision,)
        table.add_row(
            screen.text(verdict.batch),
            screen.text(verdict.coffee),
            screen.decision(verdict.decision),
            *(screen.text(format_share(p)) for p in (verdict.p_good, verdict.p_within, verdict.p_fault)),
            *(screen.text(format_number(cost[choice])) for choice in shown),
            screen.text(f"{format_number(verdict.next_cup.worth)}/{format_number(verdict.next_cup.cost)}"),
        )
    screen.console.print(table)


def _show_reasons(verdict: BatchVerdict, screen: "_Screen") -> None:
    screen.line("")
    heading = screen.decision(verdict.decision)
    rest = screen.text(f"  {verdict.batch}, {verdict.coffee}, roasted {verdict.roasted_on}")
    screen.wrapped(heading.append_text(rest))
    for reason in (*verdict.reasons, describe_next_cup(verdict.next_cup)):
        screen.line(reason, first="  \N{BULLET} ", rest="    ")


def _show_detail(verdict: BatchVerdict, screen: "_Screen") -> None:
    """Print what stands behind one verdict: tasting, profile, faults and pulls."""
    screen.line(describe_tasted(verdict.tasted), first="    ", rest="    ")
    figures = ("At house\nrecipe", "90 %\ninterval", "\nTarget", "P\nwithin", "Raw\nmean", "\nShot", "\nTasters")
    for service in dict.fromkeys(row.service for row in verdict.profile):
        screen.table(
            screen.new_table((f"\nProfile, {service}",), (), figures),
            (
                (
                    row.attribute,
                    format_number(row.estimate),
                    f"{format_number(row.lower90)} to {format_number(row.upper90)}",
                    f"{format_number(row.target)} ± {format_number(row.tolerance)}",
                    format_share(row.p_within),
                    format_number(row.raw_mean),
                    format_signed(row.shot_effect),
                    format_signed(row.taster_effect),
                )
                for row in verdict.profile
                if row.service == service
            ),
        )
    screen.table(
        screen.new_table(("Fault",), (), ("Heard", "P in the roast")),
        ((one.fault, f"{one.heard} of {one.asked}", format_share(one.p_present)) for one in verdict.faults),
    )
    screen.table(
        screen.new_table(("Pull",), (), ("Ratio", "Flow g/s", "Extraction %"), ("Remark",)),
        (
            (
                pull.pull,
                format_number(pull.ratio),
                format_number(pull.flow_g_per_s),
                format_number(pull.extraction_pct, 1),
                pull.note if pull.judgeable else f"Not judged. {pull.note}".strip(),
            )
            for pull in verdict.pulls
        ),
    )


class _Screen:
    """A console that takes only harmless text, in signs that it can show."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.wide = console.width >= _WIDE
        self._unicode = console.encoding.lower().startswith("utf")

    def text(self, words: str, style: str = "") -> Text:
        """Return words as text that no markup or control character in them can change."""
        words = "\n".join(clean_text(line) for line in words.split("\n"))
        if not self._unicode:
            words = words.translate(_ASCII).encode(self.console.encoding, "replace").decode(self.console.encoding)
        plain = Text(words)
        if style:
            plain.stylize(style)
        return plain

    def decision(self, decision: Decision) -> Text:
        """Return a decision as shape and word."""
        return self.text(f"{DECISION_SIGN[decision]} {DECISION_WORD[decision]}", _COLOUR[decision])

    def line(self, words: str, style: str = "", first: str = "", rest: str = "") -> None:
        """Print words wrapped, the first line after `first`, each other after `rest`."""
        self.wrapped(self.text(words, style), first, rest)

    def wrapped(self, text: Text, first: str = "", rest: str = "") -> None:
        """Print text wrapped, without the blanks at the end of lines that a pipe would keep."""
        for number, line in enumerate(text.wrap(self.console, max(20, self.console.width - len(rest)))):
            line.rstrip()
            lead = self.text(rest if number else first)
            self.console.print(lead.append_text(line), highlight=False, soft_wrap=True)

    def new_table(
        self, names: Sequence[str], fixed: Sequence[str], figures: Sequence[str], remarks: Sequence[str] = ()
    ) -> Table:
        """Start a table: names that may fold, words that may not, figures to the right, remarks that may fold."""
        table = Table(box=None, pad_edge=False, padding=(0, 2 if self.wide else 1, 0, 0), header_style="bold")
        for heading in names:
            table.add_column(self.text(heading), overflow="fold", min_width=8)
        for heading in fixed:
            table.add_column(self.text(heading), no_wrap=True)
        for heading in figures:
            table.add_column(self.text(heading), justify="right", no_wrap=True)
        for heading in remarks:
            table.add_column(self.text(heading), overflow="fold")
        return table

    def table(self, table: Table, rows: Iterable[Sequence[str]]) -> None:
        """Fill a table and print it indented after an empty line; print nothing where there are no rows."""
        for row in rows:
            table.add_row(*(self.text(cell) for cell in row))
        if table.row_count:
            self.line("")
            self.console.print(Padding(table, _INDENT, expand=False))
