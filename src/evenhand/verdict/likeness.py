"""Is this lot like last year's, and like its target: by profile now, and by a blind test as it would be planned.

Puts the science of likeness together from tastings. Lots take the part of coffees in the mixed model, so that the
tasters' levels cancel as far as the same tasters met both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError
from evenhand.panel import mixed
from evenhand.panel.discrimination import ForcedChoice
from evenhand.season.likeness import (
    CUPS_AN_ANSWER,
    Aim,
    PlannedTest,
    ProfileDistance,
    lot_difference,
    plan_difference,
    plan_similarity,
    profile_distance,
)
from evenhand.verdict._green_lots import day_of, months_between
from evenhand.verdict._naming import name_taste
from evenhand.verdict._season_columns import SeasonBench, lay_out
from evenhand.verdict.tables import Goal, Panel, Work
from evenhand.verdict.tastings import Lot, Tastings
from evenhand.words import Words, say

__all__ = ["LotComparison", "compare_lots", "compare_seasons"]

Floats = NDArray[np.float64]

# The same tastings must give the same answer: the draws start here and at the names.
_SEED = 20260106
# Cups at one sitting of one taster, and the difference that matters where nobody states one (common practice, no
# source): d' 1 is heard as the stronger of a pair in three pairs of four.
_CUPS_A_SITTING = 12
_D_PRIME = 1.0
# How far apart two lots are taken to be in truth, as a share of the difference that matters: hardly ever 0.
_TRULY_APART = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class LotComparison:
    """One lot set against another lot of its coffee, or against its target.

    Attributes
    ----------
    coffee, lot, other
        Which; `other` is None for the target.
    batches, months
        Batches tasted of each lot, and between which months since harvest they were roasted (None where unknown).
    distance
        How far the profiles lie apart, in tolerances.
    difference, similarity
        A blind test as it would have to be planned to show the one or the other; None against a target, which nobody
        can pour.
    sittings
        Sittings that each of the two takes.
    sentences
        The same in words, and what a result would not show.
    """

    coffee: str
    lot: str
    other: str | None
    batches: tuple[int, ...]
    months: tuple[tuple[float, float] | None, ...]
    distance: ProfileDistance
    difference: PlannedTest | None
    similarity: PlannedTest | None
    sittings: tuple[int, ...]
    sentences: tuple[str, ...]


def compare_seasons(
    tastings: Tastings, *, coffees: Sequence[str] = (), bench: SeasonBench | None = None
) -> tuple[LotComparison, ...]:
    """Set the present lot of every coffee against that of the harvest before, where it was tasted, and its target.

    Parameters
    ----------
    tastings
        All that was tasted, with the lots that it was roasted from.
    coffees
        Only these; empty for all.
    bench
        The same tastings as `lay_out` fitted them, where that was done already.

    Returns
    -------
    tuple of LotComparison
        By coffee, the other lot first. Coffees whose lots are not named have none.
    """
    bench = lay_out(tastings) if bench is None else bench
    fits = fit_lots(bench)
    tasted = set(fits.scored)
    found = []
    for coffee in sorted({one.coffee for one in bench.tastings.batches}):
        if coffees and coffee not in coffees:
            continue
        lots = [one.green_lot for one in bench.tastings.batches if one.coffee == coffee and one.green_lot]
        order = [name for name in dict.fromkeys(lots[::-1]) if (coffee, name) in tasted]
        if not order:
            continue
        before = _harvest_before(order, {one.lot: one for one in bench.tastings.lots})
        others = (before, None) if before else (None,)
        found += [compare_lots(tastings, coffee, order[0], other, bench=bench, fits=fits) for other in others]
    return tuple(found)


def _harvest_before(order: Sequence[str], lots: dict[str, Lot]) -> str | None:
    """Last year's lot: the newest of an earlier harvest, or else the one roasted before."""
    now = lots.get(order[0])
    if now is not None and now.harvested_on:
        days = {
            name: day_of(lot.harvested_on)
            for name in order[1:]
            if (lot := lots.get(name)) is not None and lot.harvested_on and lot.harvest != now.harvest
        }
        earlier = {name: day for name, day in days.items() if day < day_of(now.harvested_on)}
        if earlier:
            return max(earlier, key=lambda name: earlier[name])
    return order[1] if len(order) > 1 else None


@dataclass(frozen=True, slots=True)
class LotFits:
    """The mixed model with lots as coffees: by service and attribute, and who was scored, as coffee and lot."""

    fits: dict[tuple[str, str], mixed.Fit]
    label: dict[tuple[str, str], str]
    scored: tuple[tuple[str, str], ...]


def fit_lots(bench: SeasonBench) -> LotFits:
    """Fit every attribute with the lots of each coffee as coffees of their own, without leaning on any target.

    Parameters
    ----------
    bench
        Tastings as `lay_out` fitted them.
    """
    panel, batches = bench.arrangement.panel, bench.tastings.batches
    pairs = [(one.coffee, one.green_lot or "") for one in batches]
    names = {pair: f"{number:04d}" for number, pair in enumerate(sorted(set(pairs)))}  # in the order of their labels
    order = sorted(names, key=lambda pair: names[pair])
    coffee_of = np.array([panel.coffees.index(coffee) for coffee, _ in order], dtype=np.intp)
    by_lot = Panel(
        batches=panel.batches,
        coffees=tuple(names[pair] for pair in order),
        tasters=panel.tasters,
        pulls=panel.pulls,
        coffee_of_batch=np.array([order.index(pair) for pair in pairs], dtype=np.intp),
        goals={
            column: Goal(goal.target[coffee_of], goal.tolerance[coffee_of], goal.scale)
            for column, goal in panel.goals.items()
        },
        response=panel.response,
        bad_by_profile=panel.bad_by_profile,
    )
    fits: dict[tuple[str, str], mixed.Fit] = {}
    seen: set[str] = set()
    for table in bench.arrangement.tables:
        work = Work.on(table, by_lot)
        # Drawing lots to their target here would draw them to each other: `profile_distance` does its own drawing in.
        work = replace(work, known=np.zeros_like(work.known))
        for attribute, fit in zip(table.attributes, work.fit_informed(1.0, bench.fitted.priors), strict=True):
            fits[table.service, attribute] = fit
            seen |= set(fit.levels["coffee"])
    return LotFits(fits, names, tuple(pair for pair in order if names[pair] in seen and pair[1]))


def compare_lots(
    tastings: Tastings,
    coffee: str,
    lot: str,
    other: str | None = None,
    *,
    method: ForcedChoice = ForcedChoice.TETRAD,
    d_prime: float = _D_PRIME,
    tasters: int | None = None,
    bench: SeasonBench | None = None,
    fits: LotFits | None = None,
) -> LotComparison:
    """Set one lot of a coffee against another, or against the coffee's target.

    Parameters
    ----------
    tastings
        All that was tasted.
    coffee, lot
        Which.
    other
        Another lot of that coffee; None for its target.
    method, d_prime
        How a blind test would ask, and the smallest difference that matters.
    tasters
        How many would taste; as many as the tastings have by default.
    bench, fits
        From `lay_out` and `fit_lots`, where that was done already.

    Returns
    -------
    LotComparison
        Deterministic.

    Raises
    ------
    DesignError
        If a lot of this coffee was not tasted, or has no attribute with a target in common with the other.
    """
    bench = lay_out(tastings) if bench is None else bench
    fits = fit_lots(bench) if fits is None else fits
    for name in (lot, other):
        if name is not None and (coffee, name) not in fits.scored:
            raise DesignError(
                say(
                    "No batch of {coffee} from the lot {lot} was tasted on a pull that can be judged.",
                    coffee=coffee,
                    lot=name,
                )
            )
    names, difference, sd, tolerance = _differences(bench, fits, coffee, lot, other)
    if not names:
        raise DesignError(
            say("Nothing with a target was tasted of {coffee} in the lot {lot} and the other.", coffee=coffee, lot=lot)
        )
    distance = profile_distance(
        names,
        difference,
        sd,
        tolerance,
        np.random.default_rng([_SEED, *f"{coffee}/{lot}/{other}".encode()]),
        names=(lot, say("its target") if other is None else other),
    )
    people = len(bench.arrangement.panel.tasters) if tasters is None else tasters
    plans: tuple[PlannedTest, ...] = ()
    if other is not None:
        plans = (
            plan_difference(method, people, d_prime=d_prime),
            plan_similarity(method, people, d_prime=d_prime, true_d_prime=_TRULY_APART * d_prime),
        )
    sittings = tuple(
        ceil(one.answers_a_taster / max(_CUPS_A_SITTING // CUPS_AN_ANSWER[one.method], 1)) for one in plans
    )
    both = [lot] if other is None else [lot, other]
    months = tuple(_months(bench.tastings, coffee, name) for name in both)
    return LotComparison(
        coffee=coffee,
        lot=lot,
        other=other,
        batches=tuple(sum(one.coffee == coffee and one.green_lot == name for one in tastings.batches) for name in both),
        months=months,
        distance=distance,
        difference=plans[0] if plans else None,
        similarity=plans[1] if plans else None,
        sittings=sittings,
        sentences=_say(distance, both, months, plans, sittings),
    )


def _differences(
    bench: SeasonBench, fits: LotFits, coffee: str, lot: str, other: str | None
) -> tuple[list[Words], Floats, Floats, Floats]:
    """Attributes with their differences, standard uncertainties and tolerances, points."""
    panel = bench.arrangement.panel
    at = panel.coffees.index(coffee)
    names, difference, sd, tolerance = [], [], [], []
    for (service, attribute), fit in fits.fits.items():
        goal = panel.goals[service, attribute]
        wanted = [fits.label[coffee, name] for name in (lot, other) if name is not None]
        if not np.isfinite(goal.target[at]) or any(name not in fit.levels["coffee"] for name in wanted):
            continue
        if other is None:
            level, spread = fit.posterior().new_batch(wanted[0])
            away = level - float(goal.target[at])
            # The lot's level is meant, without the scatter of a single batch.
            wide = float(np.sqrt(max(spread**2 - fit.variances["batch"], 0.0)))
        else:
            found, error = lot_difference([fit], wanted[0], wanted[1])
            away, wide = float(found[0]), float(error[0])
        names.append(name_taste(attribute, service))
        difference.append(away)
        sd.append(wide)
        tolerance.append(float(goal.tolerance[at]))
    return names, np.array(difference), np.array(sd), np.array(tolerance)


def _months(tastings: Tastings, coffee: str, lot: str) -> tuple[float, float] | None:
    harvested_on = next((one.harvested_on for one in tastings.lots if one.lot == lot), None)
    if harvested_on is None:
        return None
    found = [
        months_between(harvested_on, one.roasted_on)
        for one in tastings.batches
        if one.coffee == coffee and one.green_lot == lot
    ]
    return min(found), max(found)


def _say(
    distance: ProfileDistance,
    lots: Sequence[str],
    months: Sequence[tuple[float, float] | None],
    plans: Sequence[PlannedTest],
    sittings: Sequence[int],
) -> tuple[str, ...]:
    said = [distance.says]
    if len(lots) == 2 and months[0] and months[1]:
        (a, b), (c, d) = months[0], months[1]
        if min(b, d) - max(a, c) < 1.0:
            said.append(
                say(
                    "{lot} was roasted {first:.0f} to {last:.0f} months after harvest, {other} {other_first:.0f} to "
                    "{other_last:.0f}: what age does is in the difference.",
                    lot=lots[0],
                    first=a,
                    last=b,
                    other=lots[1],
                    other_first=c,
                    other_last=d,
                )
            )
    for plan, count in zip(plans, sittings, strict=True):
        told = {"plan": plan.says, "count": count, "cups": _CUPS_A_SITTING}
        if plan.aim is Aim.DIFFERENCE:
            said.append(
                say("To show that they differ: {plan} That is {count} sittings of up to {cups} cups a taster.", **told)
            )
        else:
            said.append(
                say("To show that they do not: {plan} That is {count} sittings of up to {cups} cups a taster.", **told)
            )
    return tuple(said)
