"""Views of this room: the list of coffees, one coffee's season, and the season of all."""

from importlib.resources import files
from typing import Any

from django.db.models import Count, Exists
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.safestring import mark_safe

from evenhand.bench._judging_text import read_json, read_notes
from evenhand.bench.models import JudgingRun, SeasonRead
from evenhand.bench.people.roles import account_of, needs
from evenhand.bench.telling import told_html
from evenhand.bench.verdict import board
from evenhand.bench.verdict.locking import locked_for
from evenhand.records.coffees import current_coffee, targets_of
from evenhand.records.models import Batch, Coffee, GreenLot

_LAST = 20


@needs("lead")
def coffees(request: HttpRequest) -> HttpResponse:
    """Show the list of coffees."""
    by_coffee = Batch.objects.order_by().values_list("version__coffee")
    counts = dict(by_coffee.annotate(Count("pk")))
    unsigned = dict(by_coffee.filter(~Exists(board.standing())).annotate(Count("pk")))
    states = dict(SeasonRead.objects.values_list("pk", "state"))
    rows = [
        {
            "coffee": one,
            "batches": counts.get(one.pk, 0),
            "unsigned": unsigned.get(one.pk, 0),
            "state": states.get(one.pk, "too_little"),
        }
        for one in Coffee.objects.order_by("name")
    ]
    return render(request, "bench/coffee/coffees.html", {"rows": rows, "here": "coffees"})


@needs("lead")
def coffee(request: HttpRequest, number: int) -> HttpResponse:
    """Show one coffee."""
    found = get_object_or_404(Coffee, pk=number)
    return render(request, "bench/coffee/coffee.html", _tell(request, found))


@needs("lead")
def coffee_part(request: HttpRequest, number: int) -> HttpResponse:
    """Show the inside of one coffee's page again."""
    return render(request, "bench/coffee/_coffee.html", _tell(request, get_object_or_404(Coffee, pk=number)))


@needs("lead")
def season(request: HttpRequest) -> HttpResponse:
    """Show the season of all coffees."""
    order = {"shifted": 0, "alert": 1, "steady": 2}
    rows = []
    across: list[str] = []
    for read in SeasonRead.objects.select_related("coffee").defer("html").order_by("coffee__name"):
        told = read_json(read.text)
        across = told.get("across", across)
        rows.append({"read": read, **told, "asking": [lot for lot in told.get("lots", ()) if _asks(lot)]})
    rows.sort(key=lambda row: order.get(row["read"].state, 3))
    run = JudgingRun.objects.order_by("pk").first()
    problems = read_notes(run.text).problems if run is not None else ()
    told = {"rows": rows, "across": across, "problems": problems, "here": "season"}
    return render(request, "bench/coffee/season.html", told)


@needs("lead")
def season_css(request: HttpRequest) -> HttpResponse:
    """Give the style of a season's charts: that of the printed season."""
    text = files("evenhand.output").joinpath("season.css").read_text(encoding="utf-8")
    return HttpResponse(text, content_type="text/css; charset=utf-8", headers={"Cache-Control": "private, max-age=600"})


def _asks(lot: dict[str, Any]) -> bool:
    return bool(lot.get("current")) and lot.get("action") not in ("", None, "carry on")


def _tell(request: HttpRequest, found: Coffee) -> dict[str, Any]:
    read = SeasonRead.objects.filter(pk=found.pk).first()
    version = current_coffee(found.name)
    last = Batch.objects.filter(version__coffee=found).order_by("-roasted_on", "-pk").values_list("pk", flat=True)
    return {
        "coffee": found,
        "version": version,
        "targets": [(*key, *value) for key, value in targets_of(version).items()] if version is not None else [],
        "read": read,
        "fragment": mark_safe(told_html(read.html)) if read is not None else "",  # escaped when it was built
        "told": read_json(read.text) if read is not None else {},
        "batches": board.with_verdicts(list(last[:_LAST])),
        "locked": locked_for(account_of(request).person),
        "lots": _lots_of(found, version.green_lot_id if version is not None else None),
    }


def _lots_of(found: Coffee, named: int | None) -> list[GreenLot]:
    """Return the lots that a coffee names or was roasted from, the latest arrival first."""
    used = set(GreenLot.objects.filter(batches__batch__version__coffee=found).values_list("pk", flat=True))
    lots = GreenLot.objects.filter(pk__in=used | ({named} if named is not None else set()))
    return list(lots.prefetch_related("readings").order_by("-arrived_on", "-pk"))
