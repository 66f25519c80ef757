"""Builds the paper: a tagged PDF of a judgement to read, to file and to sign, on A4 or US Letter.

All text goes to the template as data, never as markup. The same judgement gives the same bytes.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from importlib.resources import files
from json import dumps
from typing import Any, Final

from evenhand.errors import OutputError
from evenhand.output.cautions import list_cautions, note_caffeine
from evenhand.output.charts import PAPER_INK, Chart, draw_profile, draw_pulls, shorten
from evenhand.output.words import (
    DECISION_SIGN,
    DECISION_WORD,
    DEVIATIONS,
    READING,
    UNKNOWN,
    clean_text,
    describe_counts,
    describe_next_cup,
    describe_tasted,
    find_chance,
    format_number,
    format_share,
    format_signed,
    group_variances,
    sort_for_attention,
)
from evenhand.verdict.judgement import AttributeVerdict, BatchVerdict, Decision, Judgement, PullReading
from evenhand.words import join, say

PAPER_SIZES: Final = ("a4", "us-letter")
"""The sizes of paper that a judgement can be printed on."""

_LEGEND: Final = (
    "Charts: the band is one tolerance to either side of what was wanted; a line is a 90 % interval; a round dot lies "
    "within, a square outside; a hollow diamond is the raw mean of the sheets; a numbered disc is a pull."
)
_LONG_WORD: Final = 18
_REPLACED: Final = (
    "Some letters of names cannot be printed with the fonts on this computer and are shown as "
    "\N{REPLACEMENT CHARACTER}; the page and the judgement file have them in full."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A verdict that was signed in the records: what was decided, by whom, on which day, and their note."""

    decision: Decision
    name: str
    day: str
    note: str = ""


def paper(judgement: Judgement, size: str = "a4", *, signed: Mapping[str, Signed] | None = None) -> bytes:
    """Build the PDF of a judgement.

    Parameters
    ----------
    judgement
        The judgement to be printed; any number of batches, also none.
    size
        "a4" or "us-letter".
    signed
        By batch, the verdict that stands signed in the records; the others get an empty line to sign.

    Returns
    -------
    bytes
        A PDF that is tagged for screen readers (PDF/UA-1), with an overview, the batches that are not released in full,
        the released ones in short, and a table to sign.

    Raises
    ------
    OutputError
        If the size is not one of the two, or the typesetter refuses the document.
    """
    if size not in PAPER_SIZES:
        raise OutputError(
            say("The paper size {size} is not known; choose {sizes}.", size=repr(size), sizes=join(PAPER_SIZES, " or "))
        )
    data = _tell(judgement, size, signed or {})
    problem = ""
    for system_fonts, replaced in ((False, False), (True, False), (False, True)):
        if replaced:
            data = _replace_missing(data)
        try:
            return _typeset(_template(), dumps(data), date_of(judgement), system_fonts=system_fonts)
        except OutputError as refusal:
            problem = refusal.args[0]
            if not _is_about_fonts(problem):
                break
    raise OutputError(
        say("The PDF could not be made: {problem}; write the page instead, which holds the same.", problem=problem)
    )


def date_of(judgement: Judgement) -> date | None:
    """Return the day of a judgement as a date, or None where it is not written as YYYY-MM-DD.

    Parameters
    ----------
    judgement
        The judgement.

    Returns
    -------
    date or None
        The day.
    """
    try:
        return date.fromisoformat(judgement.judged_on)
    except ValueError:
        return None


@cache
def _template() -> bytes:
    return files("evenhand.output").joinpath("paper.typ").read_bytes()


def _typeset(source: bytes, data: str, day: date | None, *, system_fonts: bool) -> bytes:
    """Run the typesetter; the only place that knows it. Its own clock is never read."""
    import typst  # costs 0.05 s, and only this needs it

    day = day or date(1970, 1, 1)
    noon = int(datetime(day.year, day.month, day.day, 12, tzinfo=UTC).timestamp())
    try:
        made = typst.compile(
            source,
            format="pdf",
            sys_inputs={"data": data},
            pdf_standards=["ua-1"],
            ignore_system_fonts=not system_fonts,
            timestamp=noon,
        )
    except typst.TypstError as refusal:
        raise OutputError(str(refusal)) from refusal
    if not isinstance(made, bytes):
        raise OutputError(say("the typesetter gave no document"))
    return made


def _is_about_fonts(problem: str) -> bool:
    return "could not be displayed" in problem


def _replace_missing(data: dict[str, Any]) -> dict[str, Any]:
    """Return the data with a replacement sign for each sign that cannot be printed, and a sentence that says so."""
    table = dict.fromkeys(map(ord, _find_missing(_walk_text(data))), "\N{REPLACEMENT CHARACTER}")
    changed: dict[str, Any] = _map_text(data, lambda text: text.translate(table))
    return {**changed, "replaced": _REPLACED}


def _find_missing(texts: Iterable[str]) -> frozenset[str]:
    """Find the signs that the typesetter's own fonts lack, by asking for each one that is not plain Latin."""
    signs = sorted({sign for text in texts for sign in text if sign > "\N{LATIN SMALL LETTER Z WITH CARON}"})
    return frozenset(_split(signs))


def _split(signs: list[str]) -> list[str]:
    """Halve the signs until each one that cannot be shown stands alone."""
    if not signs or _is_showable("".join(signs)):
        return []
    if len(signs) == 1:
        return signs
    middle = len(signs) // 2
    return _split(signs[:middle]) + _split(signs[middle:])


def _is_showable(signs: str) -> bool:
    source = b"""
        #set document(title: "signs")
        #set text(font: "Libertinus Serif")
        #for sign in json(bytes(sys.inputs.data)) [#sign ]
    """
    try:
        _typeset(source, dumps(list(signs)), None, system_fonts=False)
    except OutputError:
        return False
    return True


def _tell(judgement: Judgement, size: str, signed: Mapping[str, Signed]) -> dict[str, Any]:
    """Return all that the template says, as strings that are ready to be set."""
    verdicts = sort_for_attention(judgement)
    day = date_of(judgement)
    data: dict[str, Any] = {
        "paper": size,
        "title": judgement.title,
        "running": shorten(judgement.title, 80),
        "judged_on": judgement.judged_on,
        "date": [day.year, day.month, day.day] if day else None,
        "invented": judgement.invented,
        "counts": describe_counts(judgement),
        "warnings": list(judgement.warnings),
        "legend": _LEGEND,
        "overview_headings": [
            "Batch",
            "Coffee",
            "Decision",
            "P good",
            "P within",
            "P fault",
            "Hold\ncosts",
            "Taste again\ncosts",
            "Release\ncosts",
            "Next cup\nworth / cost",
        ],
        "batches": [_tell_batch(verdict, signed.get(verdict.batch)) for verdict in verdicts],
        "variances": _tell_variances(judgement),
        "caffeine": [
            [row.table, row.taster, str(row.cups), format_number(row.caffeine_mg, 0), note_caffeine(row.caffeine_mg)]
            for row in judgement.caffeine
        ],
        "cautions": [[caution.heading, caution.text] for caution in list_cautions(judgement)],
        "reading": [list(pair) for pair in READING],
        "replaced": "",
    }
    told: dict[str, Any] = _map_text(data, _set_apart)
    for batch, verdict in zip(told["batches"], verdicts, strict=True):
        batch["profile_chart"] = _tell_chart(draw_profile(verdict, PAPER_INK)) if verdict.profile else None
        batch["pulls_chart"] = _tell_chart(draw_pulls(verdict, PAPER_INK)) if verdict.pulls else None
    return told


def _tell_decision(decision: Decision) -> dict[str, str]:
    return {"key": decision, "word": DECISION_WORD[decision], "sign": DECISION_SIGN[decision]}


def _tell_batch(verdict: BatchVerdict, signed: Signed | None) -> dict[str, Any]:
    cost = verdict.expected_cost
    least = min(cost.values())
    shares = [format_share(p) for p in (verdict.p_good, verdict.p_within, verdict.p_fault)]
    return {
        "batch": verdict.batch,
        "coffee": verdict.coffee,
        "roasted_on": verdict.roasted_on,
        "decision": _tell_decision(verdict.decision),
        "signed": None
        if signed is None
        else {
            "decision": _tell_decision(signed.decision),
            "name": signed.name,
            "day": signed.day,
            "note": signed.note,
        },
        "overview": [
            *shares,
            *(format_number(cost[choice]) for choice in ("hold", "taste_again", "release")),
            f"{format_number(verdict.next_cup.worth)} / {format_number(verdict.next_cup.cost)}",
        ],
        "shares": "P good {}, P within {}, P fault {}.".format(*shares),
        "costs": [
            {"word": word, "cost": format_number(cost[choice]), "least": cost[choice] == least}
            for choice, word in DECISION_WORD.items()
        ],
        "next_cup": describe_next_cup(verdict.next_cup),
        "tasted": describe_tasted(verdict.tasted),
        "reasons": list(verdict.reasons),
        "faults": _tell_faults(verdict),
        "profile": [
            {
                "service": service.capitalize(),
                "rows": [_tell_attribute(row) for row in verdict.profile if row.service == service],
            }
            for service in dict.fromkeys(row.service for row in verdict.profile)
        ],
        "pulls": [_tell_pull(number, pull) for number, pull in enumerate(verdict.pulls, start=1)],
        "pull_notes": [
            f"Pull {number}: {pull.note}" for number, pull in enumerate(verdict.pulls, start=1) if pull.note
        ],
    }


def _tell_attribute(row: AttributeVerdict) -> list[str]:
    scored = row.raw_mean is not None
    return [
        row.attribute,
        format_number(row.estimate),
        f"{format_number(row.lower90)} to {format_number(row.upper90)}",
        f"{format_number(row.target)} ± {format_number(row.tolerance)}",
        format_share(row.p_within),
        format_number(row.raw_mean),
        format_signed(row.shot_effect) if scored else UNKNOWN,
        format_signed(row.taster_effect) if scored else UNKNOWN,
        format_signed(find_chance(row)),
    ]


def _tell_faults(verdict: BatchVerdict) -> str:
    """Name each fault that was heard or may be there; the others in one breath."""
    if not verdict.faults:
        return "No fault was asked for."
    ranked = sorted(verdict.faults, key=lambda one: -one.p_present)
    loud = [one for one in ranked if one.heard or one.p_present >= 0.01]
    quiet = [one.fault for one in ranked if one not in loud]
    said = [f"{one.fault} {format_share(one.p_present)} (heard {one.heard} of {one.asked})" for one in loud]
    text = f"{', '.join(said).capitalize()}." if said else ""
    if quiet:
        each = f"{'Not heard, each' if said else 'None heard; each'} below 1\N{NO-BREAK SPACE}%"
        text = f"{text} {each}: {', '.join(quiet)}."
    return text.strip()


def _tell_pull(number: int, pull: PullReading) -> list[str]:
    return [
        str(number),
        pull.pull if pull.judgeable else f"{pull.pull} (not judged)",
        format_number(pull.ratio),
        format_number(pull.flow_g_per_s),
        format_number(pull.extraction_pct, 1),
        *(format_signed(pull.deviation.get(quantity)) for quantity in DEVIATIONS),
    ]


def _tell_variances(judgement: Judgement) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "rows": [
                [
                    row.attribute,
                    *map(format_number, (row.batch, row.taster, row.batch_taster, row.pull, row.residual)),
                    format_number(row.log_likelihood, 1),
                ]
                for row in rows
            ],
        }
        for name, rows in group_variances(judgement)
    ]


def _tell_chart(chart: Chart) -> dict[str, str]:
    return {"svg": chart.svg, "alt": f"{chart.title}. {chart.description}"}


def _set_apart(text: str) -> str:
    """Return harmless text whose very long words may break, so that a name never runs out of its column."""
    lines = (clean_text(line) for line in text.split("\n"))
    return "\n".join(" ".join(_soften(word) for word in line.split(" ")) for line in lines)


def _soften(word: str) -> str:
    if len(word) <= _LONG_WORD:
        return word
    step = _LONG_WORD // 3
    return "\N{ZERO WIDTH SPACE}".join(word[i : i + step] for i in range(0, len(word), step))


def _map_text(node: Any, change: Callable[[str], str]) -> Any:
    if isinstance(node, str):
        return change(node)
    if isinstance(node, dict):
        return {key: _map_text(value, change) for key, value in node.items()}
    if isinstance(node, list):
        return [_map_text(value, change) for value in node]
    return node


def _walk_text(node: Any) -> Iterable[str]:
    if isinstance(node, str):
        yield node
    elif isinstance(node, dict):
        for value in node.values():
            yield from _walk_text(value)
    elif isinstance(node, list):
        for value in node:
            yield from _walk_text(value)
