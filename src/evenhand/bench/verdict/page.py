"""What the page of one verdict tells: decision, profile, shot and roast, faults, risk, pulls, ready for a template."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Q
from django.utils.safestring import SafeString, mark_safe

from evenhand.bench._judging_text import read_verdict
from evenhand.bench.models import Judged, JudgingRun
from evenhand.bench.telling import tongue
from evenhand.bench.verdict import board
from evenhand.output.charts import PAGE_INK, Chart, draw_profile, draw_pulls
from evenhand.output.telling import speaking
from evenhand.output.words import DECISION_WORD, describe_next_cup, describe_tasted, find_chance
from evenhand.records.models import Batch, Cup, Sheet, Verdict
from evenhand.verdict.judgement import BatchVerdict


@dataclass(frozen=True, slots=True)
class AtHand:
    """The judgement of a batch as it is at hand, and whether it is still being worked out.

    Attributes
    ----------
    judged, verdict
        None where the batch was not judged yet.
    weighed
        How many sheets have arrived that it does not know.
    problem
        Why the last judging failed; empty if it did not.
    """

    judged: Judged | None
    verdict: BatchVerdict | None
    weighed: int
    problem: str


def find_batch(number: int) -> Batch | None:
    """Return a batch with its coffee, or None."""
    found = Batch.objects.filter(pk=number).select_related("version__coffee", "version__green_lot")
    return found.first()


def at_hand(batch: Batch) -> AtHand:
    """Return the judgement of a batch that is at hand."""
    judged = Judged.objects.filter(pk=batch.pk).first()
    run = JudgingRun.objects.order_by("pk").only("problem").first()
    verdict = read_verdict(judged.text) if judged is not None else None
    weighed = board.pending(batch, judged.seen if judged is not None else 0)
    return AtHand(judged, verdict, weighed, run.problem if run is not None else "")


def tell(verdict: BatchVerdict) -> dict[str, Any]:
    """Return what the page tells of a verdict."""
    least = min(verdict.expected_cost.values())
    services = dict.fromkeys(row.service for row in verdict.profile)
    with speaking(tongue()):
        profile_chart = _svg(draw_profile(verdict, PAGE_INK, "profile")) if verdict.profile else ""
        pulls_chart = _svg(draw_pulls(verdict, PAGE_INK, "pulls")) if verdict.pulls else ""
    return {
        "verdict": verdict,
        "tasted": describe_tasted(verdict.tasted),
        "next_cup": describe_next_cup(verdict.next_cup),
        "costs": [
            (decision, verdict.expected_cost[decision], verdict.expected_cost[decision] == least)
            for decision in DECISION_WORD
        ],
        "services": [
            (service, [(row, find_chance(row)) for row in verdict.profile if row.service == service])
            for service in services
        ],
        "faults": sorted(verdict.faults, key=lambda one: -one.p_present),
        "profile_chart": profile_chart,
        "pulls_chart": pulls_chart,
    }


def history(batch: Batch) -> list[Verdict]:
    """Return all verdicts that were ever signed on a batch, the last one first, with their withdrawals."""
    found = Verdict.objects.filter(batch=batch).order_by("-pk").defer("judgement_text")
    return list(found.select_related("signed_by", "withdrawal__withdrawn_by"))


def sheets_of(batch: Batch) -> list[dict[str, Any]]:
    """Return the sheets that stand on a batch, cup by cup; only for tables that are closed."""
    closed = Q(table__isnull=True) | Q(table__state="closed")
    cups = Cup.objects.filter(closed, pull__batch=batch).select_related("pull").order_by("pull__pk", "pk")
    standing = Sheet.objects.filter(cup__pull__batch=batch, superseded_by__isnull=True).order_by("pk")
    by_cup: dict[int, list[dict[str, Any]]] = {}
    for sheet in standing.select_related("taster").prefetch_related("scores__attribute", "answers__fault"):
        by_cup.setdefault(sheet.cup_id, []).append(
            {
                "taster": sheet.taster.name,
                "scores": [(row.attribute.name, row.score) for row in sheet.scores.all()],
                "heard": [row.fault.name for row in sheet.answers.all() if row.heard],
                "asked": len(sheet.answers.all()),
                "words": sheet.words,
            }
        )
    return [{"cup": cup, "sheets": by_cup[cup.pk]} for cup in cups if cup.pk in by_cup]


def _svg(chart: Chart) -> SafeString:
    return mark_safe(chart.svg)  # all names in it were escaped when it was drawn
