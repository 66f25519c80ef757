"""What to change for the next pull, and how sure: the grind first, then the dose, then the stop mass.

The aim is the greatest probability that the next pull's time lies inside the recipe's tolerance, at the recipe's dose
and beverage mass. A change is proposed only where it raises that probability by five points or more, or, far from home,
where it plainly nears it: chasing the last shot adds scatter and takes none away. Water temperature is never proposed
to mend a taste.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from evenhand.errors import DesignError
from evenhand.espresso._dial_advice import SURE_OF_DIRECTION, Advice, Habit, Option, What
from evenhand.espresso._dial_words import say_advice, say_move, say_setting
from evenhand.espresso._evenness import Evenness, read_evenness
from evenhand.espresso._grinder_rows import log_time_at_reference_water, shared_columns
from evenhand.espresso._time_parts import TimePart, split_time
from evenhand.espresso.bed import size_change
from evenhand.espresso.grinder import SHARED, Grinder, Shots
from evenhand.espresso.recipe import HouseRecipe
from evenhand.words import say

__all__ = [
    "LEAST_GAIN", "SURE_OF_DIRECTION", "Advice", "Habit", "Option", "TimePart", "advise", "read_evenness_of",
    "say_advice", "say_move", "say_setting", "split_time",
]  # fmt: skip

# Common practice, no source: a smaller gain is not worth a purge of the grinder.
LEAST_GAIN = 0.05
# Among settings as good as this, the nearest is taken.
_AS_GOOD = 0.01
# Where no setting within reach hits, a move must take off this share of the distance in ln time.
_NEARER = 0.2
# Further than this in one go the slope is not trusted: move, pull, look again. Common practice, no source.
_MOST_STEPS = 4
# A habit of dosing or stopping off the recipe is read from this many of the latest pulls, and from three at least.
_HABIT_PULLS = 6
_DOSE_NUDGE_G, _STOP_NUDGE_G = 0.1, 0.5

Expect = Callable[[int, float, float], Option]


def advise(
    grinder: Grinder, shots: Shots, recipe: HouseRecipe, coffee: str, evenness: Evenness | None = None
) -> Advice:
    """Advise on the next pull of one coffee: another shot of its latest batch, with the grinder as it is now.

    Parameters
    ----------
    grinder
        Learned from the shots.
    shots
        All pulls on this grinder.
    recipe
        The coffee's house recipe.
    coffee
        Its label.
    evenness
        As from `read_evenness_of`, where extraction was measured.

    Raises
    ------
    DesignError
        If the coffee has no pull.
    """
    own = np.flatnonzero(shots.coffee == coffee)
    if not len(own):
        raise DesignError(say("There is no pull of {coffee} to advise on.", coffee=coffee))
    own = own[np.lexsort((np.nan_to_num(shots.nth[own]), shots.day[own]))]
    numbered = own[np.isfinite(shots.setting[own])]
    own = numbered if len(numbered) else own
    last = int(own[-1])
    setting = float(shots.setting[last]) if np.isfinite(shots.setting[last]) else None
    step = grinder.reference.step

    def expect(moved: int, dose_g: float, beverage_g: float) -> Option:
        there = None if setting is None else round(setting + moved * step, 6)
        forecast = grinder.forecast(
            coffee=coffee,
            batch=str(shots.batch[last]),
            setting=there,
            dose_g=dose_g,
            beverage_g=beverage_g,
            pressure_bar=recipe.pressure_bar,
            water_c=recipe.water_c,
            rest_days=float(shots.rest_days[last]) if np.isfinite(shots.rest_days[last]) else None,
        )
        inside = forecast.p_inside(recipe.time_s - recipe.time_tol_s, recipe.time_s + recipe.time_tol_s)
        return Option(
            setting=there,
            moved=moved,
            dose_g=dose_g,
            beverage_g=beverage_g,
            time_s=forecast.time_s,
            p_inside=inside,
        )

    now = expect(0, recipe.dose_g, recipe.beverage_g)
    moves = () if setting is None else range(-_MOST_STEPS, _MOST_STEPS + 1)
    slope = grinder.coefficient("setting")
    step_s = now.time_s.value * abs(float(np.expm1(slope.value)))
    advice = Advice(
        coffee=coffee,
        batch=str(shots.batch[last]),
        recipe=recipe,
        change="leave",
        now=now,
        then=now,
        options=tuple(expect(moved, recipe.dose_g, recipe.beverage_g) for moved in moves),
        p_higher_is_finer=grinder.p_higher_is_finer,
        step=step,
        step_s=step_s,
        too_coarse=setting is not None and step_s > 2 * recipe.time_tol_s and abs(slope.value) > 2 * slope.sd,
        size=size_change(now.time_s.value, recipe.time_s),
        evenness=evenness or read_evenness_of(grinder, shots.take(np.zeros(0, dtype=np.intp)), [], []),
        scatter_s=grinder.scatter * now.time_s.value,
        pulls=grinder.pulls,
        habits=_habits(shots.take(own[-_HABIT_PULLS:]), recipe),
        beyond_seen=False,
    )
    advice = _choose(advice, expect)
    seen, to = shots.setting[np.isfinite(shots.setting)], advice.then.setting
    beyond = to is not None and not (seen.min() - 1e-9 <= to <= seen.max() + 1e-9)
    return replace(advice, beyond_seen=beyond)


def _choose(advice: Advice, expect: Expect) -> Advice:
    """Choose the change: grind, then dose, then stop mass, each only for a gain worth having."""
    now, recipe = advice.now, advice.recipe
    if now.setting is None:
        return advice if advice.is_inside(now) else replace(advice, change="grind by eye")
    if not advice.knows_direction:
        # One step in either direction teaches which way the numbers run; the likelier way home is tried.
        if advice.is_inside(now):
            return advice
        toward_slower = now.time_s.value < recipe.time_s
        wanted = 1 if toward_slower == (advice.p_higher_is_finer >= 0.5) else -1
        return replace(advice, change="trial", then=next(o for o in advice.options if o.moved == wanted))
    settings = advice.options
    chosen = _better(now, settings, recipe)
    if advice.evenness.uneven and advice.finer_by(chosen) > 0:
        chosen = _better(now, tuple(option for option in settings if advice.finer_by(option) <= 0), recipe)
    advice = replace(advice, then=chosen, change="leave" if chosen is now else "grind")
    more_grind_to_come = abs(chosen.moved) == _MOST_STEPS
    if more_grind_to_come or (advice.is_inside(chosen) and not advice.too_coarse):
        return advice
    return _nudge(advice, expect)


def _nudge(advice: Advice, expect: Expect) -> Advice:
    """Add what the recipe's tolerance of dose, and then of stop mass, can do where the grind alone does not hit."""
    recipe, at = advice.recipe, advice.then
    doses = _within(recipe.dose_g, recipe.dose_tol_g, _DOSE_NUDGE_G)
    dosed = _likeliest([expect(at.moved, dose_g, at.beverage_g) for dose_g in doses], recipe)
    if dosed.p_inside - at.p_inside >= LEAST_GAIN:
        advice = replace(advice, then=dosed, change="dose" if advice.change == "leave" else advice.change)
        if advice.is_inside(dosed):
            return advice
    stops = _within(recipe.beverage_g, recipe.beverage_tol_g, _STOP_NUDGE_G)
    stopped = _likeliest([expect(at.moved, dosed.dose_g, beverage_g) for beverage_g in stops], recipe)
    if stopped.p_inside - advice.then.p_inside < LEAST_GAIN:
        return advice
    first: What = "stop" if stopped.dose_g == recipe.dose_g else "dose"
    return replace(advice, then=stopped, change=first if advice.change == "leave" else advice.change)


def _within(centre: float, tolerance: float, nudge: float) -> list[float]:
    """List what lies within a tolerance, the middle first."""
    count = int(tolerance / nudge + 1e-9)
    return [centre + i * nudge for i in sorted(range(-count, count + 1), key=abs)]


def _likeliest(options: list[Option], recipe: HouseRecipe) -> Option:
    """Take the option most probably inside; among equals, the one that nears the time most."""
    return max(options, key=lambda option: (round(option.p_inside, 3), -_off(option, recipe)))


def _off(option: Option, recipe: HouseRecipe) -> float:
    """Distance of the expected time from the recipe's, in ln time."""
    return float(abs(np.log(option.time_s.value / recipe.time_s)))


def _better(now: Option, options: tuple[Option, ...], recipe: HouseRecipe) -> Option:
    """Take the most probable option if it gains enough; far from home, where none hits yet, the one that nears it."""
    top = max(option.p_inside for option in options)
    if top - now.p_inside >= LEAST_GAIN:
        good = [option for option in options if option.p_inside >= top - _AS_GOOD]
        return min(good, key=lambda option: abs(option.moved))
    nearest = min(options, key=lambda option: _off(option, recipe))
    outside = abs(now.time_s.value - recipe.time_s) > recipe.time_tol_s
    return nearest if outside and _off(nearest, recipe) <= (1 - _NEARER) * _off(now, recipe) else now


def _habits(latest: Shots, recipe: HouseRecipe) -> tuple[Habit, ...]:
    """Name dose and stop mass where the latest pulls are off by more than half a tolerance, and not by chance."""
    found: list[Habit] = []
    if len(latest) < 3:
        return ()
    dose = Habit("dose", float(np.mean(latest.dose_g) - recipe.dose_g), len(latest))
    stop = Habit("beverage", float(np.mean(latest.beverage_g) - recipe.beverage_g), len(latest))
    for habit, values, tolerance in (
        (dose, latest.dose_g, recipe.dose_tol_g),
        (stop, latest.beverage_g, recipe.beverage_tol_g),
    ):
        sd_of_mean = float(np.std(values, ddof=1)) / len(values) ** 0.5
        if abs(habit.off_g) > max(0.5 * tolerance, 2 * sd_of_mean):
            found.append(habit)
    return tuple(found)


def read_evenness_of(grinder: Grinder, shots: Shots, extraction_pct: ArrayLike, recipe_ratio: ArrayLike) -> Evenness:
    """Read uneven flow from a grinder's shots; nothing is read while it is unknown which way the numbers run.

    Parameters
    ----------
    grinder, shots
        The grinder and the shots that it learned from.
    extraction_pct, recipe_ratio
        Extraction yield (NaN where not measured), %, and the ratio that was aimed at; shape (pulls,).
    """
    p = grinder.p_higher_is_finer
    numbered = np.isfinite(shots.setting) & (max(p, 1 - p) >= SURE_OF_DIRECTION)
    shots = shots.take(numbered)
    sign = 1.0 if p >= 0.5 else -1.0
    # What dose, beverage mass and pressure put on the clock is no scatter of the bed.
    columns = shared_columns(shots, grinder.reference)
    explained = [SHARED.index(name) for name in ("dose", "beverage", "pressure", "cold")]
    known = columns[:, explained] @ (grinder.weight @ grinder.mean[:, explained])
    ratio = shots.beverage_g / shots.dose_g
    return read_evenness(
        fineness=sign * (shots.setting - grinder.reference.setting) / grinder.reference.step,
        extraction_pct=np.asarray(extraction_pct, dtype=float)[numbered],
        log_ratio=np.log(ratio / np.asarray(recipe_ratio, dtype=float)[numbered]),
        log_time=log_time_at_reference_water(shots, grinder.reference) - known,
        group=shots.coffee,
        cell=shots.batch,
    )
