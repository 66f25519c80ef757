"""One season of a world: its hidden truth, and tastings that can be added to, cup by cup."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.study.worlds import FloatArray, Truth, World, draw_effects
from evenhand.verdict.cost import Costs
from evenhand.verdict.tastings import Batch, BatchPull, Reports, Scores, Target, Tastings

RECIPE = HouseRecipe(
    name="house", dose_g=16.0, dose_tol_g=0.3, beverage_g=32.0, beverage_tol_g=2.5, time_s=28.0, time_tol_s=3.0
)


@dataclass(slots=True)
class _Rows:
    """Growing columns of what was written down."""

    pulls: list[BatchPull] = field(default_factory=list)
    scores: list[tuple[str, str, str, str, str, str, float]] = field(default_factory=list)
    reports: list[tuple[str, str, str, str, str, float]] = field(default_factory=list)


class Season:
    """A season drawn from a world; `taste` adds cups, `tastings` gives what a judge may see, `truth` what is so.

    Parameters
    ----------
    world
        The law.
    costs
        Stakes handed to the judge.
    rng
        Source of all randomness; the season keeps it for later tastings.
    """

    def __init__(self, world: World, costs: Costs, rng: np.random.Generator) -> None:
        self.world, self.costs, self._rng = world, costs, rng
        d = len(world.columns)
        self.coffee_of_batch = np.arange(world.batches) % world.coffees
        self._target = np.round(rng.uniform(3.5, 6.5, (world.coffees, d)) * 2) / 2
        coffee = self._target + draw_effects(world, world.coffee_sd, (world.coffees, d), rng, kind="coffee")
        batch = draw_effects(world, world.batch_sds, (world.batches, d), rng, kind="batch")
        taster = draw_effects(world, world.taster_sd, (world.tasters, d), rng, kind="taster")
        # A target is what this panel wrote down, so it is on the scale of the panel's mean taster.
        self._taster = taster - taster.mean(axis=0)
        self._batch_taster = draw_effects(
            world, world.batch_taster_sd, (world.batches, world.tasters, d), rng, kind="batch_taster"
        )
        self._level = coffee[self.coffee_of_batch] + batch
        self._fault = rng.random((world.batches, len(world.faults))) < world.prevalence
        # A taster's rates differ about the panel's as Beta laws worth 8 and 30 reports.
        self._sensitivity = rng.beta(
            8 * world.sensitivity, 8 * (1 - world.sensitivity), (world.tasters, len(world.faults))
        )
        self._alarm = rng.beta(30 * world.false_alarm, 30 * (1 - world.false_alarm), (world.tasters, len(world.faults)))
        self._rows = _Rows()
        self._cups = 0
        self._met: dict[tuple[int, str], NDArray[np.intp]] = {}

    @property
    def truth(self) -> Truth:
        """Levels at the house recipe for the panel's mean taster (over the season), faults, and what is good."""
        # The drifting taster is one of the panel; half of the drift is the mean over the season.
        level = self._level + 0.5 * self.world.drift / self.world.tasters
        away = np.abs(level - self._target[self.coffee_of_batch])
        good = (away <= self.world.tolerance).all(axis=1) & ~self._fault.any(axis=1)
        return Truth(level, self._fault.copy(), np.asarray(good), self.world.columns)

    @property
    def cups(self) -> int:
        """How many cups have been poured."""
        return self._cups

    def taste(self, batch: int, service: str, *, pulls: int, tasters: int, new_first: bool = False) -> None:
        """Pull and taste one batch: `pulls` cups, each by `tasters` members of the panel, drawn anew for each cup.

        With `new_first` those who tasted the batch least in this service are asked first, as the worth of the next
        tasting takes it.
        """
        met = self._met.setdefault((batch, service), np.zeros(self.world.tasters, dtype=np.intp))
        for _ in range(pulls):
            who = self._rng.permutation(self.world.tasters)
            if new_first:
                who = who[np.argsort(met[who], kind="stable")]
            met[who[:tasters]] += 1
            self._taste_cup(batch, service, who[:tasters])

    def _taste_cup(self, batch: int, service: str, who: NDArray[np.intp]) -> None:
        world, rng = self.world, self._rng
        mine = [index for index, column in enumerate(world.columns) if column[0] == service]
        deviation = np.array([world.ratio_sd, world.time_sd]) * np.clip(rng.standard_normal(2), -2.5, 2.5)
        dose_g = 16.0
        beverage_g = round(float(32.0 * np.exp(deviation[0])), 1)
        time_s = round(float(28.0 * np.exp(deviation[1])), 1)
        seen = np.array([np.log(beverage_g / 32.0), np.log(time_s / 28.0)])
        response = np.array(world.response) @ seen
        response = response + world.bend * float(np.sum((deviation / [world.ratio_sd, world.time_sd]) ** 2))
        pull_effect = draw_effects(world, world.pull_sd, (len(world.columns),), rng, kind="pull")
        self._cups += 1
        name, pull, cup = f"B{batch:03d}", f"P{self._cups:04d}", f"C{self._cups:04d}"
        self._rows.pulls.append(
            BatchPull(batch=name, pull=Pull(name=pull, dose_g=dose_g, beverage_g=beverage_g, time_s=time_s))
        )
        season = batch / max(world.batches - 1, 1)
        for taster in who:
            drift = world.drift * season if taster == 0 else 0.0
            residual = draw_effects(world, world.residual_sd, (len(world.columns),), rng, kind="residual")
            value = self._level[batch] + self._taster[taster] + drift + self._batch_taster[batch, taster]
            value = value + response + pull_effect + residual
            scores = np.clip(_round(value, world.step), 0.0, 10.0)
            for column in mine:
                self._rows.scores.append((name, pull, cup, f"T{taster}", *world.columns[column], float(scores[column])))
            rate = np.where(self._fault[batch], self._sensitivity[taster], self._alarm[taster])
            heard = rng.random(len(world.faults)) < rate
            for fault, yes in zip(world.faults, heard, strict=True):
                self._rows.reports.append((name, pull, cup, f"T{taster}", fault, float(yes)))

    def tastings(self) -> Tastings:
        """Give everything written down so far, as a judge sees it."""
        world = self.world
        batch, pull, cup, taster, service, attribute, score = zip(*self._rows.scores, strict=True)
        r_batch, r_pull, r_cup, r_taster, fault, heard = zip(*self._rows.reports, strict=True)
        return Tastings(
            title=f"study world {world.name}",
            judged_on="2026-01-01",
            invented=True,
            batches=tuple(
                Batch(batch=f"B{number:03d}", coffee=f"K{coffee}", roasted_on="2026-01-01")
                for number, coffee in enumerate(self.coffee_of_batch)
            ),
            recipes={f"K{coffee}": RECIPE for coffee in range(world.coffees)},
            targets={
                f"K{coffee}": {
                    column: Target(float(self._target[coffee, index]), world.tolerance)
                    for index, column in enumerate(world.columns)
                }
                for coffee in range(world.coffees)
            },
            scales={attribute_name: (0.0, 10.0) for _, attribute_name in world.columns},
            pulls=tuple(self._rows.pulls),
            scores=Scores(
                batch=np.array(batch),
                pull=np.array(pull),
                cup=np.array(cup),
                taster=np.array(taster),
                service=np.array(service),
                attribute=np.array(attribute),
                score=np.array(score),
            ),
            reports=Reports(
                batch=np.array(r_batch),
                pull=np.array(r_pull),
                cup=np.array(r_cup),
                taster=np.array(r_taster),
                fault=np.array(fault),
                heard=np.array(heard),
            ),
            costs=self.costs,
        )


def _round(value: FloatArray, step: float) -> FloatArray:
    return np.round(value / step) * step if step else value
