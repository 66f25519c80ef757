"""Decides about a sheet that a phone sends: whose it is, whether its cup is there, and whether the table takes it.

The rule for sheets that arrive after the table was closed, when the codes are no secret any more. When a sheet was
finished is what the phone says, and cannot be checked. So a late sheet is taken only

- from somebody whose role is taster: leads and owners can read what each code was from the closing on;
- within twelve hours of the closing: a phone that was out of reach is back by then;
- if it was finished before the closing, with two minutes granted, since the clocks of a room differ;
- if no sheet of theirs stands on the cup: the one that was handed in blind is never corrected afterwards.

It is marked as late in the history, which holds both times. What is refused stays on the phone, with the reason.
"""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from evenhand.bench.hub import hint
from evenhand.bench.models import Seat
from evenhand.bench.taste.reading import find_seat
from evenhand.errors import EvenhandError
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen
from evenhand.records.models import Cup, Entry, Person, Sheet, Table, Target
from evenhand.records.models._history import REMOVED
from evenhand.records.sheets import Taken, standing_sheets, take_sheet

GRACE = dt.timedelta(minutes=2)
"""How long after the closing a sheet may have been finished."""

LATEST = dt.timedelta(hours=12)
"""How long after the closing a sheet that was finished before it may still arrive."""

_CLIENT_ID = re.compile(r"[0-9A-Za-z-]{16,64}")
_CODE = re.compile(r"[0-9A-Za-z]{1,12}")
_LARGEST = 1e12
_FIELDS = {"client_id", "taster", "code", "scores", "faults", "words", "tasted_at", "supersedes"}


class RefusedError(EvenhandError):
    """A sheet that is not taken as it was sent.

    Parameters
    ----------
    sentence
        What is wrong, and how to mend it; never with a batch in it.
    status
        Of the answer (HTTP).
    again
        True when the same sheet may be taken later, so that the phone keeps it and asks again.
    standing
        The client id of the sheet that stands on this cup, where that is what is in the way.
    """

    def __init__(self, sentence: str, status: int, *, again: bool = False, standing: str | None = None) -> None:
        self.status = status
        self.again = again
        self.standing = standing
        super().__init__(sentence)


@dataclass(frozen=True, slots=True)
class Sent:
    """A sheet as it was sent, its fields checked for their kind alone.

    Attributes
    ----------
    taster
        The number of the person who tasted; it need not be the one who is logged in.
    code
        The three digits on the cup.
    """

    client_id: str
    taster: int
    code: str
    scores: Mapping[str, float]
    faults: Mapping[str, bool]
    words: str
    tasted_at: dt.datetime
    supersedes: str | None


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of a sheet: stored now, or before; and whether it came after the closing."""

    taken: Taken
    is_late: bool


def read_sent(body: Any) -> Sent:
    """Return a sheet from the JSON that a phone sends.

    Raises
    ------
    RefusedError
        Status 422, when a field is missing, unknown, or not of its kind.
    """
    if not isinstance(body, dict):
        raise RefusedError(_("A sheet is sent as one JSON object."), 422)
    for unknown in sorted(set(body) - _FIELDS):
        raise RefusedError(_("A sheet has no field named %(name)s.") % {"name": str(unknown)[:40]}, 422)
    client_id: Any = body.get("client_id")
    supersedes: Any = body.get("supersedes")
    taster: Any = body.get("taster")
    code: Any = body.get("code")
    words: Any = body.get("words", "")
    scores: Any = body.get("scores", {})
    faults: Any = body.get("faults", {})
    checks = {
        "client_id": isinstance(client_id, str) and _CLIENT_ID.fullmatch(client_id) is not None,
        "supersedes": supersedes is None or _is_text(supersedes),
        "taster": isinstance(taster, int) and not isinstance(taster, bool),
        "code": isinstance(code, str) and _CODE.fullmatch(code) is not None,
        "words": _is_text(words),
        "scores": _is_mapping(scores) and all(map(_is_number, scores.values())),
        "faults": _is_mapping(faults) and all(isinstance(heard, bool) for heard in faults.values()),
    }
    for name, is_right in checks.items():
        if not is_right:
            raise RefusedError(_("The sheet’s field %(name)s is missing or not of its kind.") % {"name": name}, 422)
    return Sent(
        client_id=client_id,
        taster=taster,
        code=code,
        scores={name: float(value) for name, value in scores.items()},
        faults=faults,
        words=words.strip(),
        tasted_at=_moment(body.get("tasted_at")),
        supersedes=supersedes,
    )


def take(pen: Pen, table_pk: int, person: Person, sent: Sent) -> Answer:
    """Take a sheet in the name of the person who is logged in; at any time, as often as it is sent, once.

    Parameters
    ----------
    pen
        Who is logged in, and when the sheet arrived.
    table_pk
        The table that the sheet was sent to.
    person
        Who is logged in.
    sent
        The sheet.

    Raises
    ------
    RefusedError
        When it is another person's, they do not sit at the table, the cup is not on it, thrown away or not poured yet,
        the table takes no sheets, or the records refuse it.
    """
    if sent.taster != person.pk:
        raise RefusedError(
            _("This sheet is not by %(name)s, who is logged in here; whoever filled it logs in to send it.")
            % {"name": person.name},
            403,
        )
    seat = find_seat(table_pk, person)
    if seat is None:
        raise RefusedError(
            _("%(name)s does not sit at this table; ask the lead for a seat.") % {"name": person.name}, 404
        )
    is_replay = Sheet.objects.filter(client_id=sent.client_id).exists()
    cup = _cup(seat, sent, is_replay=is_replay)
    is_late = False if is_replay else _is_late(seat, sent, pen.at)
    if not is_replay:
        _check_filled(seat, sent)
    writer = pen if not is_late else Pen(who=f"late sheet by {person.name}", at=pen.at, ring=pen.ring)
    try:
        taken = take_sheet(
            writer,
            client_id=sent.client_id,
            cup=cup,
            taster=person,
            scores=sent.scores,
            faults=sent.faults,
            words=sent.words,
            tasted_at=sent.tasted_at,
            supersedes=sent.supersedes,
        )
    except RecordError as error:
        standing = standing_sheets().filter(cup=cup, taster=person).values_list("client_id", flat=True).first()
        clashes = standing is not None and standing != sent.supersedes
        raise RefusedError(error.args[0], 409 if clashes else 422, standing=standing if clashes else None) from error
    if not taken.is_same:
        own = taken.sheet.taster_id == person.pk and taken.sheet.cup_id == cup.pk
        raise RefusedError(
            _("Another sheet arrived under the same number; hand this one in anew."),
            409,
            standing=sent.client_id if own else None,
        )
    if taken.is_new:
        hint(f"table-{table_pk}", "today")
    return Answer(taken, is_late)


def _cup(seat: Seat, sent: Sent, *, is_replay: bool) -> Cup:
    table, code = seat.plan.table, sent.code
    cup = Cup.objects.filter(table=table, code=f"{table.name}-{code}").select_related("pull").first()
    if not is_replay and not _stood_before(cup, sent.tasted_at) and _is_thrown_away(table, code, sent.tasted_at):
        raise RefusedError(
            _("Cup %(code)s was taken off the table after you tasted it. Taste the new one and hand that in anew.")
            % {"code": code[:12]},
            409,
        )
    if cup is not None:
        return cup
    if not seat.places.filter(slot__code=code).exists():
        raise RefusedError(
            _("There is no cup %(code)s for you on this table; compare it with the code on the cup.")
            % {"code": code[:12]},
            422,
        )
    if table.state == "closed":
        raise RefusedError(
            _("Cup %(code)s was never noted as poured, and the table is closed; tell the lead.") % {"code": code}, 409
        )
    raise RefusedError(
        _("Cup %(code)s is not noted as poured yet; the sheet waits until it is.") % {"code": code}, 409, again=True
    )


def _stood_before(cup: Cup | None, moment: dt.datetime) -> bool:
    """Say whether a cup surely stood on the table by then: nearly always, and then nothing more need be asked."""
    at = None if cup is None else cup.pull.pulled_at
    return isinstance(at, dt.datetime) and at.tzinfo is not None and at <= moment


def _is_thrown_away(table: Table, code: str, tasted_at: dt.datetime) -> bool:
    """Say whether a cup of this code was taken off the table after it was tasted: the sheet is about that one."""
    gone = Entry.objects.filter(kind=Cup.kind(), action=REMOVED, title=f"{table.name}-{code}")
    return gone.filter(at__gt=tasted_at).exists()


def _is_late(seat: Seat, sent: Sent, arrived: dt.datetime) -> bool:
    """Say whether a sheet came after the closing; refuse it where it was finished after it, or before the opening."""
    table = seat.plan.table
    if table.state == "planned":
        raise RefusedError(_("The table is not open yet; the sheet waits until it is."), 409, again=True)
    if sent.tasted_at > arrived + GRACE:
        raise RefusedError(_("The sheet says that it was finished in the future; hand it in anew."), 422)
    if table.state == "open":
        return False
    if table.closed_at is None or sent.tasted_at > table.closed_at + GRACE:
        raise RefusedError(
            _("The table was closed before this sheet was finished; it is not taken any more. Tell the lead."), 409
        )
    if sent.supersedes is not None:
        raise RefusedError(
            _("The table is closed, so its sheets are not corrected any more; the one that you handed in stands."),
            409,
        )
    if (seat.taster.role or "taster") != "taster":
        raise RefusedError(
            _(
                "The table is closed, and whoever leads can read what its codes were; so no sheet of theirs is taken "
                "any more. Put what it says into the table’s note."
            ),
            409,
        )
    if arrived > table.closed_at + LATEST:
        raise RefusedError(
            _(
                "The table was closed more than %(hours)s hours ago; its sheets are not taken any more. Tell the lead, "
                "who can put what this one says into the table’s note."
            )
            % {"hours": LATEST // dt.timedelta(hours=1)},
            409,
        )
    return True


def _check_filled(seat: Seat, sent: Sent) -> None:
    """Refuse a sheet on which nothing was done: handed in by a slip, it would say that no fault was heard."""
    if sent.scores or sent.words or any(sent.faults.values()):
        return
    service = seat.places.filter(slot__code=sent.code).values_list("slot__service", flat=True).first()
    batches = seat.plan.slots.values("batch__version")
    if not sent.faults or Target.objects.filter(version__in=batches, service=service).exists():
        raise RefusedError(empty_sheet(), 422)


def empty_sheet() -> str:
    """Return the sentence about a sheet on which nothing was done."""
    return _("Nothing is on this sheet yet: score an attribute, mark a fault or write a word.")


def _is_mapping(value: object) -> bool:
    """Say whether this is a JSON object whose names a database can be asked about."""
    return isinstance(value, dict) and all("\x00" not in name and _is_text(name) for name in value)


def _is_text(value: object) -> bool:
    """Say whether this is text that can be written down: half of a surrogate pair cannot."""
    return isinstance(value, str) and not any("\ud800" <= sign <= "\udfff" for sign in value)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= _LARGEST


def _moment(text: object) -> dt.datetime:
    try:
        found = dt.datetime.fromisoformat(text) if isinstance(text, str) else None
        if found is not None:
            found.astimezone(dt.UTC)  # the first and the last hours of the calendar have no place there
    except (ValueError, OverflowError):
        found = None
    if found is None or found.tzinfo is None:
        raise RefusedError(_("The sheet does not say when it was finished, with the zone."), 422)
    return found
