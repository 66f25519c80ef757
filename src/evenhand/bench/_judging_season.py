"""Reads the season of every coffee and keeps it as a fragment of a page, with what lists need."""

import datetime as dt
import json
from typing import TYPE_CHECKING, Any

from django.db import transaction
from django.db.models import Min

from evenhand.bench._judging_keep import keep_notes
from evenhand.bench._judging_text import keep_words
from evenhand.bench._judging_window import collect_season
from evenhand.bench.models import SeasonRead
from evenhand.records.models import Coffee

if TYPE_CHECKING:
    from evenhand.records.seasons import WholeSeason
    from evenhand.verdict.green import CoffeeGreen
    from evenhand.verdict.season import CoffeeSeason, SeasonReading
    from evenhand.verdict.tastings import Tastings
    from evenhand.verdict.week import WeekPlan

_PLANNED_DAYS = 60
"""Batches roasted so many days ago or fewer may stand in the plan of the week."""


def season_seen() -> int:
    """Return the number of the last entry of the history that every season at hand knew; 0 where there is none."""
    return int(SeasonRead.objects.aggregate(seen=Min("seen"))["seen"] or 0)


def note_problem(problem: str) -> None:
    """Keep the sentence that says why the season could not be read."""
    keep_notes(problems=(problem,))


def read_and_keep(now: dt.datetime, today: dt.date) -> tuple[str, ...]:
    """Read the season and keep it.

    Parameters
    ----------
    now, today
        When it is read, and on which day.

    Returns
    -------
    tuple of str
        Topics that pages should ask for again.

    Raises
    ------
    EvenhandError
        When the records cannot be collected or read.
    """
    from evenhand.records.judging import arrange
    from evenhand.records.seasons import read_whole

    seen, folder = collect_season()
    if not folder.batches:
        return ()
    tastings = arrange(folder, judged_on=today)
    whole = read_whole(tastings)
    season, green = whole.season, {one.coffee: one for one in whole.green.coffees}
    plan, problem = _plan(tastings, whole, today)
    numbers = dict(Coffee.objects.values_list("name", "pk"))
    rows = [
        SeasonRead(
            coffee_id=numbers[one.coffee],
            seen=seen,
            read_at=now,
            state=one.state,
            html=_fragment(one, whole, numbers[one.coffee]),
            text=json.dumps(keep_words(_tell(one, green.get(one.coffee), season)), ensure_ascii=False),
        )
        for one in season.coffees
        if one.coffee in numbers
    ]
    with transaction.atomic():
        SeasonRead.objects.bulk_create(
            rows,
            update_conflicts=True,
            unique_fields=["coffee"],
            update_fields=["seen", "read_at", "state", "html", "text"],
        )
        SeasonRead.objects.exclude(pk__in=[row.pk for row in rows]).update(seen=seen)
    keep_notes(plan=plan, problems=(problem,) if problem else ())
    return ("today", *(f"coffee-{row.pk}" for row in rows))


def _plan(tastings: "Tastings", whole: "WholeSeason", today: dt.date) -> tuple["WeekPlan | None", str]:
    """Plan the week from what was just read; where that cannot be, return the sentence that says why."""
    from evenhand.errors import EvenhandError
    from evenhand.records.seasons import CUPS_A_WEEK, MINUTES_A_WEEK
    from evenhand.verdict.judge import judge
    from evenhand.verdict.week import Palate, plan_week, tasters_of_late

    names = tasters_of_late(tastings)
    if not names:
        return None, ""
    since = (today - dt.timedelta(days=_PLANNED_DAYS)).isoformat()
    fresh = [one.batch for one in tastings.batches if one.roasted_on >= since]
    palates = [Palate(name=name, cups=CUPS_A_WEEK, minutes=MINUTES_A_WEEK) for name in names]
    try:
        # Older batches are sold: whoever asks for none of them gets one, since asking for none means all.
        judgement = judge(tastings, batches=fresh or [tastings.batches[-1].batch])
        return plan_week(tastings, judgement, whole.season, whole.green, palates, bench=whole.bench), ""
    except EvenhandError as error:
        return None, error.args[0]


def _fragment(coffee: "CoffeeSeason", whole: "WholeSeason", number: int) -> str:
    from evenhand.output.season_page import coffee_fragment
    from evenhand.output.telling import leaving_holes

    green = next((one for one in whole.green.coffees if one.coffee == coffee.coffee), None)
    with leaving_holes():  # who will read it, and in which language, is not known here
        return coffee_fragment(coffee, green, whole.likeness, ident=f"c{number}", heading=3)


def _tell(coffee: "CoffeeSeason", green: "CoffeeGreen | None", season: "SeasonReading") -> dict[str, Any]:
    """Return what lists say of a coffee: one line, what stands out, and what its lots ask for."""
    from evenhand.output._season_words import describe_coffee, describe_gaps_briefly

    alerts = [one.measure for one in coffee.measures if one.alerts]
    alerts += [one.name for one in coffee.joint if one.signals]
    return {
        "line": describe_coffee(coffee),
        "alerts": alerts,
        "sentences": [*(said for one in coffee.joint for said in one.sentences), *coffee.together],
        "off_target": list(coffee.off_target),
        "gaps": describe_gaps_briefly(coffee),
        "batches": len(coffee.batches),
        "lots": [
            {
                "lot": lot.lot,
                "current": lot.current,
                "sentences": list(lot.sentences),
                "action": lot.advice.action if lot.advice is not None else "",
                "says": lot.advice.says if lot.advice is not None else "",
            }
            for lot in (green.lots if green is not None else ())
        ],
        "across": list(season.across),
    }
