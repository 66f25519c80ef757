"""Writes verdicts as JSON text to keep at hand, and reads them back, with all that their sentences hold."""

import json
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from functools import cache
from typing import TYPE_CHECKING, Any

from evenhand import __version__
from evenhand.output.telling import hold, read_held
from evenhand.verdict._week_records import WeekPlan
from evenhand.verdict.judgement import BatchVerdict, CaffeineRow, Judgement, VarianceRow
from evenhand.words import Words

if TYPE_CHECKING:
    from pydantic import TypeAdapter


_FORM = 2
ENGINE = f"{__version__}/{_FORM}"
"""Who judged: the version of Evenhand, and the form in which it keeps what it found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunNotes:
    """What a judging says besides its verdicts.

    Attributes
    ----------
    engine
        As `ENGINE`: another one judges again.
    problems
        Sentences on what could not be read, such as the season.
    plan
        What to taste this week; None where nobody has tasted yet.
    """

    engine: str = ""
    warnings: tuple[str, ...] = ()
    variances: tuple[VarianceRow, ...] = ()
    caffeine: tuple[CaffeineRow, ...] = ()
    problems: tuple[str, ...] = ()
    plan: WeekPlan | None = None


@cache
def _verdicts() -> "TypeAdapter[BatchVerdict]":
    from pydantic import TypeAdapter  # costs 0.2 s, and pages without a judgement need none of it

    return TypeAdapter(BatchVerdict)


@cache
def _notes() -> "TypeAdapter[RunNotes]":
    from pydantic import TypeAdapter

    return TypeAdapter(RunNotes)


def keep_words(value: Any) -> Any:
    """Return a value with every sentence in it, however deep, as text for `evenhand.output.telling.read_held`."""
    return change_texts(value, lambda text: hold(text) if isinstance(text, Words) else text)


def change_texts(value: Any, change: Callable[[str], str]) -> Any:
    """Return a value with every text in it changed.

    Parameters
    ----------
    value
        A text, or a dataclass, mapping, tuple or list of texts and other things, however deep.
    change
        What to do with a text. Keys of mappings are left alone.
    """
    if isinstance(value, str):
        return change(value)
    if isinstance(value, Mapping):
        return {key: change_texts(one, change) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(change_texts(one, change) for one in value)
    if is_dataclass(value) and not isinstance(value, type):
        parts = {field.name: getattr(value, field.name) for field in fields(value) if field.init}
        changed = {name: change_texts(part, change) for name, part in parts.items()}
        return replace(value, **{name: part for name, part in changed.items() if part is not parts[name]})
    return value


def write_verdict(verdict: BatchVerdict) -> str:
    """Write one batch's verdict as JSON; equal verdicts give equal text."""
    # Read-only mappings are written as the plain ones that they wrap.
    return _verdicts().dump_json(keep_words(verdict), fallback=dict, warnings=False).decode()


def read_verdict(text: str) -> BatchVerdict | None:
    """Read a verdict back; None where another version of Evenhand wrote it in a way that is not known here."""
    from pydantic import ValidationError

    try:
        read: BatchVerdict = change_texts(_verdicts().validate_json(text), read_held)
        return read
    except ValidationError:
        return None


def write_notes(notes: RunNotes) -> str:
    """Write what a judging said besides its verdicts as JSON."""
    return _notes().dump_json(keep_words(notes)).decode()


def read_notes(text: str) -> RunNotes:
    """Read the notes of a judging; empty ones where there are none, or none that are known here."""
    from pydantic import ValidationError

    try:
        read: RunNotes = change_texts(_notes().validate_json(text), read_held) if text else RunNotes()
        return read
    except ValidationError:
        return RunNotes()


def rebuild(
    verdict: BatchVerdict,
    notes: RunNotes,
    *,
    title: str,
    judged_on: str,
    invented: bool,
    tables: Collection[str] = (),
) -> Judgement:
    """Put a judgement of one batch together again.

    Parameters
    ----------
    verdict, notes
        The batch, and what was said besides: the variances of its coffee and all warnings are kept.
    title, judged_on, invented
        As in `Judgement`.
    tables
        The tables on which the batch was tasted: their caffeine is kept.
    """
    return Judgement(
        title=title,
        judged_on=judged_on,
        invented=invented,
        batches=(verdict,),
        variances=tuple(row for row in notes.variances if row.coffee == verdict.coffee),
        caffeine=tuple(row for row in notes.caffeine if row.table in tables),
        warnings=notes.warnings,
    )


def read_json(text: str) -> dict[str, Any]:
    """Read a JSON object; an empty one where there is none."""
    try:
        found = json.loads(text) if text else {}
    except ValueError:
        return {}
    return found if isinstance(found, dict) else {}
