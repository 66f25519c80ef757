"""What waits: batches to taste in order of risk, verdicts to sign, tables under way, coffees that need somebody."""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from evenhand.bench._judging_text import RunNotes, read_json, read_notes
from evenhand.bench.models import JudgingRun, SeasonRead
from evenhand.bench.table.watching import blind_batches, progress_counts
from evenhand.bench.telling import told
from evenhand.bench.verdict import board
from evenhand.output.words import format_number, format_share
from evenhand.records.coffees import current_costs
from evenhand.records.models import Batch, Table

SHOWN = 12
"""So many batches of each list are shown; the others are a link away."""

_STATE_ORDER = {"shifted": 0, "alert": 1}


@dataclass(frozen=True, slots=True)
class ToTaste:
    """A batch that waits to be tasted, and why."""

    batch: Batch
    why: str


@dataclass(frozen=True, slots=True)
class UnderWay:
    """A table that is planned or open: sheets handed in, sheets expected, and pulls still to be made."""

    table: Table
    sheets: int
    expected: int
    unpoured: int


@dataclass(frozen=True, slots=True)
class Needs:
    """What the season needs of one coffee."""

    coffee: int
    name: str
    state: str
    says: tuple[str, ...]


def to_taste(today: dt.date) -> tuple[list[ToTaste], int]:
    """Return the batches to taste next with the reason, and how many more there are.

    Never tasted ones come first, the riskiest and then the oldest before the others; then those whose advice is to
    taste again, by what that would save beyond its price. What is on a table already is left out.
    """
    busy = blind_batches()
    untasted, more_untasted = _first(board.in_state("untasted").exclude(pk__in=busy), SHOWN)
    again, more_again = _first(board.to_taste_again().exclude(pk__in=busy), SHOWN // 2)
    costs = current_costs()
    prior_bad = costs.prior_bad if costs is not None else None
    found = [ToTaste(batch, _why_untasted(batch, prior_bad, today)) for batch in untasted]
    found += [ToTaste(batch, _why_again(batch)) for batch in again]
    return found, more_untasted + more_again


def to_sign() -> tuple[list[Batch], int]:
    """Return the batches whose judgement waits for a signature, the riskiest first, and how many more there are."""
    clear = board.in_state("waiting").filter(judged__decision__in=("release", "hold"))
    return _first(clear.exclude(pk__in=blind_batches()), SHOWN)


def _first(batches: QuerySet[Batch], shown: int) -> tuple[list[Batch], int]:
    """Return the first few batches, and how many more there are."""
    numbers = batches.values_list("pk", flat=True)
    first = list(numbers[:shown])
    more = numbers.count() - shown if len(first) == shown else 0
    return board.with_verdicts(first), more


def tables_under_way() -> list[UnderWay]:
    """Return the tables that are planned or open, open ones first, with their progress."""
    tables = list(Table.objects.exclude(state="closed").filter(plan__isnull=False).order_by("state", "pk"))
    counts = progress_counts(tables)
    return [UnderWay(table, *counts[table.pk]) for table in tables]


def season_needs() -> list[Needs]:
    """Return the coffees whose charts alert or have shifted, and those whose green asks for something."""
    found = []
    for read in SeasonRead.objects.select_related("coffee").defer("html").order_by("coffee__name"):
        kept = read_json(read.text)
        lots = [_asks(lot) for lot in kept.get("lots", ()) if lot.get("current")]
        says = (*_seen(kept), *(said for said in lots if said))
        if read.state in _STATE_ORDER or any(lots):
            found.append(Needs(read.coffee_id, read.coffee.name, read.state, says))
    return sorted(found, key=lambda one: (_STATE_ORDER.get(one.state, 2), one.name))


def notes_at_hand() -> RunNotes:
    """Return what the last judging said besides its verdicts: the plan of the week among it."""
    run = JudgingRun.objects.order_by("pk").first()
    return read_notes(run.text if run is not None else "")


def _why_untasted(batch: Batch, prior_bad: float | None, today: dt.date) -> str:
    days = (today - batch.roasted_on).days
    age = ngettext("%(n)d day since its roast", "%(n)d days since its roast", days) % {"n": days}
    judged = getattr(batch, "judged", None)
    bad = 1.0 - judged.p_good if judged is not None else prior_bad
    if bad is None:
        return _("Never tasted; %(age)s.") % {"age": age}
    return _("Never tasted; %(age)s; bad with %(p)s before any sheet.") % {"age": age, "p": format_share(bad)}


def _why_again(batch: Batch) -> str:
    judged = batch.judged
    return _("Tasted, and not clear yet: P good %(p)s. Tasting again saves %(worth)s more than it costs.") % {
        "p": format_share(judged.p_good),
        "worth": told(format_number(judged.net_worth)),
    }


def _seen(kept: dict[str, Any]) -> tuple[str, ...]:
    measures = "; ".join(told(one) for one in kept.get("alerts", ()))
    return (_("Look at: %(measures)s.") % {"measures": measures},) if measures else ()


def _asks(lot: dict[str, Any]) -> str:
    """Return what a lot's stock asks for; empty where it may be sold as it is."""
    if lot.get("action") == "taste sooner":
        return _("Green lot %(lot)s: taste sooner.") % {"lot": lot["lot"]}
    if lot.get("action") == "sell faster or move to a blend":
        return _("Green lot %(lot)s: sell faster or move to a blend.") % {"lot": lot["lot"]}
    return ""
