"""One season judged by Evenhand and by naive averaging: what each got right, wrong, and spent."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from evenhand.study import naive
from evenhand.study.season import Season
from evenhand.study.worlds import FloatArray, World
from evenhand.verdict.cost import Costs
from evenhand.verdict.judge import judge
from evenhand.verdict.judgement import Judgement

BoolArray = NDArray[np.bool_]

# The fixed tasting, on which both are compared at equal cups: two pulls in each service, each tasted by three.
FIXED_PULLS, FIXED_TASTERS = 2, 3
# The adaptive tasting starts with one pull in each service tasted by two, and may go on for this many rounds.
FIRST_TASTERS, MOST_ROUNDS = 2, 4
# Pulls in each service at which naive averaging is tried, to find what it needs for an equal error.
NAIVE_PULLS = (1, 2, 3, 4, 6, 8, 12)


@dataclass(frozen=True, slots=True, kw_only=True)
class Losses:
    """Wrong decisions in one season: shares of all batches, their cost a batch, and cups and tastes a batch."""

    wrong_release: float
    wrong_hold: float
    cost: float
    cups: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What one season showed.

    Attributes
    ----------
    covered
        Share of 90 % intervals that hold the truth, fixed tasting.
    p_within, is_within
        Stated probability and truth of every attribute of every batch, fixed tasting.
    p_good, is_good
        The same of whole batches.
    p_good_adaptive, is_good_adaptive
        The same of whole batches where Evenhand tasted as little or as much as it said.
    fixed, naive_fixed
        Evenhand (release or hold only) and naive averaging on the same cups.
    adaptive
        Evenhand tasting again where it says so.
    naive_at
        Naive averaging at each of `NAIVE_PULLS`.
    """

    covered: float
    p_within: FloatArray
    is_within: BoolArray
    p_good: FloatArray
    is_good: BoolArray
    p_good_adaptive: FloatArray
    is_good_adaptive: BoolArray
    fixed: Losses
    naive_fixed: Losses
    adaptive: Losses
    naive_at: tuple[Losses, ...]


def run(world: World, costs: Costs, seed: Sequence[int]) -> Trial:
    """Draw one season and judge it each way.

    Parameters
    ----------
    world, costs
        The law of the season and the stakes; `prior_bad` of the stakes is replaced by the world's own share.
    seed
        Numbers that fix every draw.

    Returns
    -------
    Trial
        The same for the same arguments.
    """
    costs = Costs(
        wrong_release=costs.wrong_release,
        wrong_hold=costs.wrong_hold,
        one_pull=costs.one_pull,
        one_taste=costs.one_taste,
        prior_bad=world.share_bad(),
    )
    streams = [np.random.default_rng(child) for child in np.random.SeedSequence(tuple(seed)).spawn(3)]
    services = tuple(dict.fromkeys(service for service, _ in world.columns))

    season = Season(world, costs, streams[0])
    for batch in range(world.batches):
        for service in services:
            season.taste(batch, service, pulls=FIXED_PULLS, tasters=FIXED_TASTERS)
    tastings, truth = season.tastings(), season.truth
    judgement = judge(tastings)
    place = {column: index for index, column in enumerate(world.columns)}
    covered, p_within, is_within = [], [], []
    for index, verdict in enumerate(judgement.batches):
        for one in verdict.profile:
            level = truth.level[index, place[(one.service, one.attribute)]]
            covered.append(one.lower90 <= level <= one.upper90)
            p_within.append(one.p_within)
            is_within.append(abs(level - one.target) <= one.tolerance)
    p_good = np.array([verdict.p_good for verdict in judgement.batches])
    adaptive, p_good_adaptive, is_good_adaptive = _adaptive(world, costs, services, streams[1])
    return Trial(
        covered=float(np.mean(covered)),
        p_within=np.array(p_within),
        is_within=np.array(is_within),
        p_good=p_good,
        is_good=truth.good,
        p_good_adaptive=p_good_adaptive,
        is_good_adaptive=is_good_adaptive,
        fixed=_losses(p_good > costs.release_above, truth.good, costs, season.cups),
        naive_fixed=_losses(naive.release(tastings), truth.good, costs, season.cups),
        adaptive=adaptive,
        naive_at=_naive_at(world, costs, services, streams[2]),
    )


def _losses(released: BoolArray, good: BoolArray, costs: Costs, cups: int) -> Losses:
    out, back = float(np.mean(released & ~good)), float(np.mean(~released & good))
    return Losses(
        wrong_release=out,
        wrong_hold=back,
        cost=out * costs.wrong_release + back * costs.wrong_hold,
        cups=cups / len(good),
    )


def _adaptive(
    world: World, costs: Costs, services: Sequence[str], rng: np.random.Generator
) -> tuple[Losses, FloatArray, BoolArray]:
    """Start with little, taste again where Evenhand says so and as it says, decide what is left at the end."""
    season = Season(world, costs, rng)
    for batch in range(world.batches):
        for service in services:
            season.taste(batch, service, pulls=1, tasters=FIRST_TASTERS)
    judgement: Judgement = judge(season.tastings())
    for _ in range(MOST_ROUNDS):
        waiting = [index for index, one in enumerate(judgement.batches) if one.decision == "taste_again"]
        if not waiting:
            break
        for index in waiting:
            cup = judgement.batches[index].next_cup
            for service, pulls in cup.pulls:
                season.taste(index, service, pulls=pulls, tasters=cup.tasters, new_first=True)
        judgement = judge(season.tastings())
    released = np.array([one.expected_cost["release"] <= one.expected_cost["hold"] for one in judgement.batches])
    good = season.truth.good
    p_good = np.array([one.p_good for one in judgement.batches])
    return _losses(released, good, costs, season.cups), p_good, good


def _naive_at(world: World, costs: Costs, services: Sequence[str], rng: np.random.Generator) -> tuple[Losses, ...]:
    season, found, done = Season(world, costs, rng), [], 0
    for pulls in NAIVE_PULLS:
        for batch in range(world.batches):
            for service in services:
                season.taste(batch, service, pulls=pulls - done, tasters=FIXED_TASTERS)
        done = pulls
        found.append(_losses(naive.release(season.tastings()), season.truth.good, costs, season.cups))
    return tuple(found)
