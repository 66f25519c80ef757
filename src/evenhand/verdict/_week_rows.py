"""The rows of a week: batches by risk, lots by the age of their green, tasters by their need of control cups."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from evenhand.panel import mixed
from evenhand.panel.assessors import Drift, assess
from evenhand.season.plan import Kind, Row, Way, chance_drifted
from evenhand.verdict._green_lots import DAYS_A_MONTH, MONTHS_OF_SALES, day_of
from evenhand.verdict._green_records import AttributeOutlook, GreenReading, LotOutlook
from evenhand.verdict._offers import believe, list_offers
from evenhand.verdict._season_columns import SeasonBench
from evenhand.verdict.cost import Costs
from evenhand.verdict.judgement import BatchVerdict, Judgement
from evenhand.verdict.levels import estimate
from evenhand.verdict.profile import profile
from evenhand.verdict.worth import best, one_attribute
from evenhand.words import Words, join, say

_SEED = 20260107
_MOST_BATCHES = 40
_WAYS = (1, 2, 3, 4)  # numbers of tasters that are tried
_PULLS_OF_LOT = 2
_DAYS_A_WEEK = 7.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekHabits:
    """How a shop tastes, where nobody states otherwise; all of it common practice, no source.

    Attributes
    ----------
    minutes_a_cup, minutes_a_pull
        Of a taster, and at the machine.
    fresh_days
        Batches roasted longer ago are sold, and are not tasted again.
    control_cups
        Cups of known coffee by which a taster is checked.
    wander_sd
        How far a taster's level wanders in one week, points.
    spoiled_share
        Share of batches that go out wrongly while a taster has drifted unseen.
    check_weeks
        How long a drift stays unseen if nobody looks for it.
    unseen_weeks
        How long ago somebody tasted of whom there is no sheet.
    """

    minutes_a_cup: float = 3.0
    minutes_a_pull: float = 4.0
    fresh_days: float = 28.0
    control_cups: int = 3
    wander_sd: float = 0.1
    spoiled_share: float = 0.02
    check_weeks: float = 13.0
    unseen_weeks: float = 52.0


@dataclass(frozen=True, slots=True)
class Listed:
    """A row with the reason why it is on the list, and the label of its batch where it is one."""

    row: Row
    why: str
    batch: str = ""


def batch_rows(bench: SeasonBench, judgement: Judgement, people: int, habits: WeekHabits) -> list[Listed]:
    """List the batches that are fresh and whose next cup is worth something, each with up to four tasters.

    Parameters
    ----------
    bench, judgement
        The same tastings, fitted and judged.
    people
        How many may taste.
    habits
        How the shop tastes.
    """
    now = day_of(judgement.judged_on)
    fresh = [one for one in judgement.batches if 0 <= now - day_of(one.roasted_on) <= habits.fresh_days]
    fresh = [one for one in fresh if one.next_cup.worth > 0]
    fresh.sort(key=lambda one: (-(one.next_cup.worth - one.next_cup.cost), one.batch))
    if not fresh:
        return []
    arrangement, costs = bench.arrangement, bench.tastings.costs
    columns = estimate(arrangement.tables, arrangement.panel)
    profiles = profile(arrangement.panel, arrangement.tables, columns)
    found = []
    for one in fresh[:_MOST_BATCHES]:
        index = arrangement.panel.batches.index(one.batch)
        asked = np.flatnonzero(np.isfinite(profiles.target[index]))
        panel = max(len(arrangement.panel.tasters), people)
        belief = believe(profiles, bench.heard, one.batch, index, asked, one.p_within, panel=panel)
        shapes = dict.fromkeys(offer.pulls for offer in list_offers(arrangement, belief))
        ways = []
        for tasters in [count for count in _WAYS if count <= people]:
            # Offers with one number of tasters are weighed against each other; the plan weighs the numbers.
            offers = [replace(list_offers(arrangement, belief)[0], pulls=shape, tasters=tasters) for shape in shapes]
            rng = np.random.default_rng([_SEED, tasters, *one.batch.encode()])
            tasting, worth = best(belief, offers, costs, rng)
            pulls = sum(number for _, number in tasting.pulls)
            ways.append(
                Way(
                    tasters=tasters,
                    worth=worth,
                    price=tasting.price(costs),
                    cups=pulls,
                    minutes=pulls * habits.minutes_a_cup,
                    bench_minutes=pulls * habits.minutes_a_pull,
                )
            )
        row = Row(name=join((one.batch, one.coffee)), kind=Kind.BATCH, ways=tuple(ways))
        found.append(Listed(row, _why_batch(one), one.batch))
    return found


def _why_batch(one: BatchVerdict) -> Words:
    words = {"release": say("released"), "taste_again": say("to be tasted again"), "hold": say("held")}
    return say(
        "Roasted {day}, {decision} by what is known; good with probability {chance:.2f}.",
        day=one.roasted_on,
        decision=words[one.decision],
        chance=one.p_good,
    )


def lot_rows(bench: SeasonBench, green: GreenReading, people: int, habits: WeekHabits) -> list[Listed]:
    """List the lots in use, worth what a month's roasts from an aged lot would cost and a tasting would save.

    Parameters
    ----------
    bench, green
        The same tastings, fitted, and their green.
    people
        How many may taste.
    habits
        How the shop tastes.
    """
    costs = bench.tastings.costs
    fits = {
        (work.table.service, attribute): fit
        for work, informed in zip(bench.fitted.works, bench.fitted.informed, strict=True)
        for attribute, fit in zip(work.table.attributes, informed, strict=True)
    }
    now = day_of(green.read_on)
    found = []
    for coffee in green.coffees:
        recent = [
            one
            for one in bench.tastings.batches
            if one.coffee == coffee.coffee and 0 <= now - day_of(one.roasted_on) <= MONTHS_OF_SALES * DAYS_A_MONTH
        ]
        for lot in coffee.lots:
            of_lot = sum(one.green_lot == lot.lot for one in recent)
            if not lot.attributes or lot.months_now is None or not (lot.current or of_lot):
                continue
            a_month = max(of_lot / MONTHS_OF_SALES, 1.0)
            stakes = replace(costs, wrong_release=a_month * costs.wrong_release, wrong_hold=a_month * costs.wrong_hold)
            ways: list[Way] = []
            why: str = ""
            for tasters in [count for count in _WAYS if count <= people]:
                worths = [_worth_of_lot(one, lot, fits, stakes, tasters) for one in lot.attributes]
                first = int(np.argmax(worths))
                ways.append(
                    Way(
                        tasters=tasters,
                        worth=worths[first],
                        price=_PULLS_OF_LOT * (costs.one_pull + tasters * costs.one_taste),
                        cups=_PULLS_OF_LOT,
                        minutes=_PULLS_OF_LOT * habits.minutes_a_cup,
                        bench_minutes=_PULLS_OF_LOT * habits.minutes_a_pull,
                    )
                )
                why = _why_lot(lot, lot.attributes[first])
            name = say("Lot {lot} of {coffee}", lot=lot.lot, coffee=coffee.coffee)
            found.append(Listed(Row(name=name, kind=Kind.AGEING, ways=tuple(ways)), why))
    return found


def _worth_of_lot(
    one: AttributeOutlook, lot: LotOutlook, fits: dict[tuple[str, str], mixed.Fit], stakes: Costs, tasters: int
) -> float:
    """Worth of tasting a new batch of the lot, for one attribute over the month to come."""
    middle = (lot.months_now or 0.0) + 0.5
    mean, sd = float(np.interp(middle, one.months, one.level)), float(np.interp(middle, one.months, one.level_sd))
    of = fits[one.service, one.attribute].variances
    noise = (
        of["batch"]
        + of["pull"] / _PULLS_OF_LOT
        + of["batch_taster"] / tasters
        + of["residual"] / (_PULLS_OF_LOT * tasters)
    )
    low, high = -np.inf if one.low is None else one.low, np.inf if one.high is None else one.high
    return max(one_attribute(mean, max(sd, 1e-9), low, high, max(float(np.sqrt(noise)), 1e-9), stakes), 0.0)


def _why_lot(lot: LotOutlook, one: AttributeOutlook) -> Words:
    lead = say(
        "{months:.0f} months since harvest; {attribute} is at {level:.1f} ± {sd:.1f}",
        months=lot.months_now or 0.0,
        attribute=one.name,
        level=one.now.value,
        sd=one.now.sd,
    )
    if not one.likely:
        return say("{age}.", age=lead)
    if one.toward == "below":
        return say("{age}, likely below its tolerance from {month} on.", age=lead, month=one.likely)
    return say("{age}, likely above its tolerance from {month} on.", age=lead, month=one.likely)


def taster_rows(bench: SeasonBench, names: Sequence[str], habits: WeekHabits) -> list[Listed]:
    """List control cups for each taster, by how likely their level has moved since they last tasted with others.

    Parameters
    ----------
    bench
        Fitted tastings.
    names
        Who may taste.
    habits
        How the shop tastes.
    """
    tastings, costs = bench.tastings, bench.tastings.costs
    scores = tastings.scores
    day = {one.pull.name: day_of(one.pulled_on) for one in tastings.pulls if one.pulled_on}
    dated = np.array([name in day for name in scores.pull.tolist()], dtype=bool)
    drifts: dict[str, list[Drift | None]] = {}
    last: dict[str, float] = {}
    if dated.any():
        when = np.array([day[name] for name in scores.pull[dated].tolist()]) / _DAYS_A_WEEK
        of = np.char.add(np.char.add(scores.attribute[dated], ", "), scores.service[dated])
        for one in assess(scores.score[dated], scores.batch[dated], scores.taster[dated], of, when=np.floor(when)):
            drifts.setdefault(one.taster, []).append(one.drift)
        for taster in np.unique(scores.taster[dated]).tolist():
            mine = when[scores.taster[dated] == taster]
            last[taster] = float(mine.max())
    spread = [fit.variances for informed in bench.fitted.informed for fit in informed]
    noise = (
        float(np.sqrt(np.median([of["pull"] + of["residual"] + of["batch_taster"] for of in spread]))) if spread else 1
    )
    tolerance = [goal.tolerance for of in tastings.targets.values() for goal in of.values()]
    limit = 0.5 * float(np.median(tolerance)) if tolerance else 0.5
    now = day_of(tastings.judged_on) / _DAYS_A_WEEK
    at_stake = habits.check_weeks * habits.spoiled_share * costs.wrong_release * _batches_a_week(bench, now)
    price = habits.control_cups * (costs.one_pull + costs.one_taste)
    found = []
    for name in names:
        since = now - last[name] if name in last else habits.unseen_weeks
        each = [chance_drifted(since, limit, wander_sd=habits.wander_sd, drift=one) for one in drifts.get(name, [None])]
        p_moved = float(np.mean(each)) if each else 0.0
        way = Way(
            tasters=1,
            worth=worth_of_control(p_moved, at_stake, price, limit, noise / float(np.sqrt(habits.control_cups))),
            price=price,
            cups=habits.control_cups,
            minutes=habits.control_cups * habits.minutes_a_cup,
            bench_minutes=habits.control_cups * habits.minutes_a_pull,
        )
        row = Row(
            name=say("Control cups, {taster}", taster=name), kind=Kind.CALIBRATION, ways=(way,), who=frozenset({name})
        )
        found.append(Listed(row, _why_taster(since if name in last else None, limit, p_moved)))
    return found


def _why_taster(since: float | None, limit: float, p_moved: float) -> Words:
    told = {"limit": limit, "chance": 100 * p_moved}
    if since is None:
        return say(
            "No sheet of theirs is here; an attribute has moved by more than {limit:.1f} points with a chance of "
            "{chance:.0f} %.",
            **told,
        )
    return say(
        "Last tasted {weeks:.0f} weeks ago; an attribute has moved by more than {limit:.1f} points with a chance of "
        "{chance:.0f} %.",
        weeks=since,
        **told,
    )


def worth_of_control(p_moved: float, at_stake: float, repeat: float, limit: float, sd: float) -> float:
    """Worth of a taster's control cups: the drift they hear in time, less what it costs to follow a false alarm up.

    Parameters
    ----------
    p_moved
        Chance that the taster's level has moved by the limit.
    at_stake
        Cost of a drift that nobody hears.
    repeat
        Cost of the cups that are tasted again after an alarm, before anything is believed.
    limit, sd
        The move that matters, and the standard uncertainty of the mean of the cups, points.

    Notes
    -----
    The alarm is given from that mean on at which it is worth most.
    """
    from scipy.special import ndtr

    reach = limit * np.linspace(0.2, 2.0, 37)
    hears = ndtr((limit - reach) / sd) + ndtr((-limit - reach) / sd)
    cries = 2.0 * ndtr(-reach / sd)
    return max(float(np.max(p_moved * hears * at_stake - (1.0 - p_moved) * cries * repeat)), 0.0)


def _batches_a_week(bench: SeasonBench, now: float) -> float:
    weeks = MONTHS_OF_SALES * DAYS_A_MONTH / _DAYS_A_WEEK
    return sum(0 <= now - day_of(one.roasted_on) / _DAYS_A_WEEK <= weeks for one in bench.tastings.batches) / weeks
