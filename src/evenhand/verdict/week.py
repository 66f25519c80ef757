"""The week's tasting: batches by risk, coffees by the age of their green, tasters by need of control cups, in one plan.

Puts the tasting plan together from a judgement and a season. Every row has its worth in the currency of the costs file.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from math import inf

from evenhand.errors import DesignError
from evenhand.season.plan import LeftOut, Palate, Planned, plan_tasting
from evenhand.verdict._green_lots import DAYS_A_MONTH, MONTHS_OF_SALES, day_of
from evenhand.verdict._green_records import GreenReading
from evenhand.verdict._season_columns import SeasonBench, lay_out
from evenhand.verdict._season_records import SeasonReading
from evenhand.verdict._week_records import TasterWeek, WeekPlan, WeekRow
from evenhand.verdict._week_rows import Listed, WeekHabits, batch_rows, lot_rows, taster_rows
from evenhand.verdict.judgement import Judgement
from evenhand.verdict.tastings import Tastings
from evenhand.words import Words, join, say

__all__ = ["Palate", "TasterWeek", "WeekHabits", "WeekPlan", "WeekRow", "plan_week", "tasters_of_late"]


def plan_week(
    tastings: Tastings,
    judgement: Judgement,
    season: SeasonReading,
    green: GreenReading,
    palates: Sequence[Palate],
    *,
    money: float = inf,
    bench_minutes: float = inf,
    habits: WeekHabits | None = None,
    bench: SeasonBench | None = None,
) -> WeekPlan:
    """Choose what to taste this week, in which way and by whom, so that worth less price is largest.

    Parameters
    ----------
    tastings
        All that was tasted.
    judgement, season, green
        The same tastings judged, charted, and their green read.
    palates
        Who tastes this week, with the cups and minutes they have.
    money, bench_minutes
        What the tasting may cost, and minutes at the machine.
    habits
        How the shop tastes; common practice where not given.
    bench
        The same tastings as `lay_out` fitted them, where that was done already.

    Returns
    -------
    WeekPlan
        Deterministic. An alert of the charts is named beside its batch; it adds nothing to its worth, which is that of
        the next cup.

    Raises
    ------
    DesignError
        If nobody tastes, or two palates have one name.
    """
    if not palates:
        raise DesignError(say("Nobody tastes this week; give at least one palate."))
    names = sorted(one.name for one in palates)
    twice = next((one for one, other in pairwise(names) if one == other), None)
    if twice is not None:
        raise DesignError(say("Two palates have the name {name}; give each a name of its own.", name=twice))
    bench = lay_out(tastings) if bench is None else bench
    habits = WeekHabits() if habits is None else habits
    people = len(palates)
    listed = [
        *batch_rows(bench, judgement, people, habits),
        *lot_rows(bench, green, people, habits),
        *taster_rows(bench, names, habits),
    ]
    odd = _odd_batches(season)
    by_name = {one.row.name: _with_alert(one, odd) for one in listed}
    plan = plan_tasting([one.row for one in listed], palates, money=money, bench_minutes=bench_minutes)
    return WeekPlan(
        title=tastings.title,
        read_on=tastings.judged_on,
        invented=tastings.invented,
        planned=tuple(_week_row(one, by_name[one.row.name]) for one in plan.planned),
        left_out=tuple(_week_row(one, by_name[one.row.name]) for one in plan.left_out),
        tasters=tuple(
            TasterWeek(
                name=one.name,
                cups=plan.cups.get(one.name, 0),
                minutes=plan.minutes.get(one.name, 0.0),
                cups_there=one.cups,
                minutes_there=one.minutes,
            )
            for one in sorted(palates, key=lambda palate: palate.name)
        ),
        worth=plan.worth,
        price=plan.price,
        bench_minutes=plan.bench_minutes,
        says=plan.says,
        assumptions=_assume(habits, listed),
    )


def tasters_of_late(tastings: Tastings) -> tuple[str, ...]:
    """Who tasted in the three months before the day of reading; everybody with a sheet where no pull is dated then."""
    now = day_of(tastings.judged_on)
    late = {
        one.pull.name
        for one in tastings.pulls
        if one.pulled_on and 0 <= now - day_of(one.pulled_on) <= MONTHS_OF_SALES * DAYS_A_MONTH
    }
    scores = tastings.scores
    recent = {taster for taster, pull in zip(scores.taster.tolist(), scores.pull.tolist(), strict=True) if pull in late}
    return tuple(sorted(recent or set(scores.taster.tolist())))


def _with_alert(one: Listed, odd: Mapping[str, Words]) -> Listed:
    return replace(one, why=join((one.why, odd[one.batch]), " ")) if one.batch in odd else one


def _odd_batches(season: SeasonReading) -> dict[str, Words]:
    """Batches that the charts of single batches or of all measures signal, with a sentence that says so."""
    found: dict[str, Words] = {}
    for coffee in season.coffees:
        for measure in coffee.measures:
            for alert in measure.alerts:
                if alert.chart == "single":
                    for name in coffee.batches[alert.first : alert.last + 1]:
                        found.setdefault(name, say("The charts call it odd among its fellows."))
        for joint in coffee.joint:
            for i in joint.signals:
                found.setdefault(coffee.batches[i], say("The charts call it odd as a whole."))
    return found


def _week_row(one: Planned | LeftOut, listed: Listed) -> WeekRow:
    return WeekRow(
        name=one.row.name,
        kind=one.row.kind.value,
        batch=listed.batch,
        tasters=one.tasters if isinstance(one, Planned) else (),
        cups=one.way.cups,
        minutes=one.way.minutes,
        bench_minutes=one.way.bench_minutes,
        worth=one.way.worth,
        price=one.way.price,
        why=listed.why,
        says=one.says,
    )


def _assume(habits: WeekHabits, listed: Sequence[Listed]) -> tuple[str, ...]:
    kinds = {one.row.kind.value for one in listed}
    said = [
        say(
            "A cup takes a taster {cup:g} minutes and a pull {pull:g} minutes at the machine. Batches roasted more "
            "than {days:g} days ago are taken as sold.",
            cup=habits.minutes_a_cup,
            pull=habits.minutes_a_pull,
            days=habits.fresh_days,
        )
    ]
    if "ageing" in kinds:
        said.append(
            say(
                "A lot is worth what a wrong choice would cost over a month of its roasts, for the attribute that "
                "matters most; a lot's aged cup counts like a batch's wrong one."
            )
        )
    if "calibration" in kinds:
        said.append(
            say(
                "A taster's level is taken to wander by {points:g} points in a week besides any trend, and a drift to "
                "stay unseen for {weeks:g} weeks and spoil {share:g} % of their verdicts. Nobody knows these well.",
                points=habits.wander_sd,
                weeks=habits.check_weeks,
                share=100 * habits.spoiled_share,
            )
        )
    said.append(say("Worths are added up, though what one row tells may make another needless."))
    return tuple(said)
