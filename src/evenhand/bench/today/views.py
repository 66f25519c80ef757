"""Views of this room: the page of the day, and its live part."""

from dataclasses import replace
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from evenhand.bench.models import JudgingRun
from evenhand.bench.people.roles import account_of, needs
from evenhand.bench.today import waiting
from evenhand.bench.verdict.locking import locked_for
from evenhand.records.models import Batch, Coffee


def today(request: HttpRequest) -> HttpResponse:
    """Show what waits; a taster is led to the tables."""
    if not account_of(request).may("lead"):
        return redirect("taste:choose")
    return render(request, "bench/today/today.html", _tell(request))


@needs("lead")
def part(request: HttpRequest) -> HttpResponse:
    """Show the inside of the page again."""
    return render(request, "bench/today/_today.html", _tell(request))


@needs("lead")
def week(request: HttpRequest) -> HttpResponse:
    """Show the plan of the week: each row with its worth and its price."""
    notes = waiting.notes_at_hand()
    plan = notes.plan
    if plan is not None:  # what is worth tasting again would tell what was said of it
        locked = locked_for(account_of(request).person)
        hidden = set(Batch.objects.filter(pk__in=locked).values_list("label", flat=True))
        planned, left_out = (
            tuple(row for row in rows if row.batch not in hidden) for rows in (plan.planned, plan.left_out)
        )
        plan = replace(plan, planned=planned, left_out=left_out)
    labels = [row.batch for row in (*plan.planned, *plan.left_out) if row.batch] if plan is not None else []
    told = {
        "plan": plan,
        "problems": notes.problems,
        "batches": dict(Batch.objects.filter(label__in=labels).values_list("label", "pk")),
        "chosen": [row for row in plan.planned if row.batch] if plan is not None else [],
    }
    return render(request, "bench/today/week.html", told)


def _tell(request: HttpRequest) -> dict[str, Any]:
    taste, more_taste = waiting.to_taste(timezone.localdate())
    sign, more_sign = waiting.to_sign()
    run = JudgingRun.objects.order_by("pk").only("problem").first()
    plan = waiting.notes_at_hand().plan
    return {
        "week": plan.says if plan is not None else "",
        "taste": taste,
        "more_taste": more_taste,
        "sign": sign,
        "more_sign": more_sign,
        "tables": waiting.tables_under_way(),
        "season": waiting.season_needs(),
        "locked": locked_for(account_of(request).person),
        "problem": run.problem if run is not None else "",
        "has_coffee": Coffee.objects.exists(),
        "has_batch": Batch.objects.exists(),
        "day": timezone.localdate(),
    }
