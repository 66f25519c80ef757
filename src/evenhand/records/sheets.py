"""Takes sheets in: each one once, however often it is sent; a correction takes the place of an earlier sheet."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen, writing
from evenhand.records.coffees import on_scale
from evenhand.records.models import Attribute, Cup, Fault, FaultAnswer, Person, Score, Sheet
from evenhand.words import say


@dataclass(frozen=True, slots=True)
class Taken:
    """The answer to a sheet that was sent.

    Attributes
    ----------
    sheet
        What is stored under its client id.
    is_new
        False when it was stored before, so that this was a replay; the first content stays.
    is_same
        False when a replay came with other content: the sender then has a slip to clear up.
    """

    sheet: Sheet
    is_new: bool
    is_same: bool


def standing_sheets() -> QuerySet[Sheet]:
    """Return the sheets that count: those that no other has taken the place of."""
    return Sheet.objects.filter(superseded_by__isnull=True)


def take_sheet(
    pen: Pen,
    *,
    client_id: str,
    cup: Cup,
    taster: Person,
    scores: Mapping[str, float],
    faults: Mapping[str, bool],
    words: str = "",
    tasted_at: dt.datetime | None = None,
    supersedes: str | None = None,
) -> Taken:
    """Store a sheet, unless one is stored under its client id already.

    Parameters
    ----------
    pen
        Who writes, and when it arrived.
    client_id
        Made once by the sending device.
    cup, taster
        What was tasted, and by whom.
    scores
        Intensity by attribute; what was not scored is left out.
    faults
        For each fault that was asked about, whether it was heard.
    words
        Free words.
    tasted_at
        When the taster finished it.
    supersedes
        The client id of the sheet that this one corrects: the taster's standing one on this cup.

    Returns
    -------
    Taken
        The sheet that is stored under the client id.

    Raises
    ------
    RecordError
        When the sheet is empty, names an unknown attribute or fault, is off a scale, is a second one for the same cup
        without naming the first, or corrects one that does not stand.
    """
    with writing():
        stored = Sheet.objects.filter(client_id=client_id).first()
        if stored is not None:
            same = _content(stored) == (cup.pk, taster.pk, dict(scores), dict(faults), words)
            return Taken(stored, is_new=False, is_same=same)
        if not (scores or faults or words):
            raise RecordError(say("The sheet is empty; score an attribute, answer a fault or write a word."))
        sheet = Sheet(
            client_id=client_id,
            cup=cup,
            taster=taster,
            words=words,
            tasted_at=tasted_at,
            supersedes=_corrected(cup, taster, supersedes),
        )
        scales = {row.name: row for row in Attribute.objects.filter(name__in=scores)}
        known = {row.name: row for row in Fault.objects.filter(name__in=faults)}
        for name in faults:
            if name not in known:
                raise RecordError(say("There is no fault {name} on the shop's list; add it first.", name=quoted(name)))
        found = {name: on_scale(scales, name, value, "score") for name, value in scores.items()}
        pen.make(
            sheet,
            scores=[Score(attribute=found[name], score=value) for name, value in scores.items()],
            answers=[FaultAnswer(fault=known[name], heard=heard) for name, heard in faults.items()],
        )
        return Taken(sheet, is_new=True, is_same=True)


def _corrected(cup: Cup, taster: Person, supersedes: str | None) -> Sheet | None:
    standing = standing_sheets().filter(cup=cup, taster=taster).first()
    if supersedes is None:
        if standing is not None:
            sentence = say(
                "{taster} has a sheet on cup {cup} already; a correction names the sheet that it takes the place of.",
                taster=taster,
                cup=cup,
            )
            raise RecordError(sentence)
        return None
    if standing is None or standing.client_id != supersedes:
        sentence = say(
            "The sheet that this one corrects is not the one by {taster} that stands on cup {cup}; look at it again.",
            taster=taster,
            cup=cup,
        )
        raise RecordError(sentence)
    return standing


def _content(sheet: Sheet) -> tuple[int, int, dict[str, float], dict[str, bool], str]:
    scores = dict(sheet.scores.values_list("attribute__name", "score"))
    answers = dict(sheet.answers.values_list("fault__name", "heard"))
    return sheet.cup_id, sheet.taster_id, scores, answers, sheet.words
