"""The house recipe carried to another basket, dose, ratio or machine pressure, with extraction or strength held.

The kinetics say which time brings the extraction home; Darcy's law says which grind brings the time. Both depend on
the particle size, so they are solved together. Extraction is strength times ratio: at another ratio only one of the
two can be held, and the answer says which is lost and by how much.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, hypot, isfinite, log, sqrt
from typing import Literal

import numpy as np

from evenhand.errors import QuantityError
from evenhand.espresso._kinetics_fit import KineticsFit
from evenhand.espresso._kinetics_model import Brew, extraction_pct, strength_pct
from evenhand.espresso._kinetics_plug_flow import FloatArray
from evenhand.espresso._kinetics_priors import Kinetics
from evenhand.espresso._kinetics_sensitivity import interval90, predict_extraction
from evenhand.espresso.bed import DARCY, Exponents
from evenhand.espresso.caffeine import EFSA_SINGLE_DOSE_MG, pull_caffeine_mg
from evenhand.espresso.recipe import HouseRecipe
from evenhand.units import Measured, half_width_to_sd

Hold = Literal["extraction", "strength"]

# Natural-logarithm units. Common practice, no source: what another basket, bed or pump does to the extraction of a
# pull beyond the model (holes, headspace, evenness of the flow).
TRANSFER_SD_LOG = 0.03
# A pull faster than half or slower than twice the house time is another drink. Common practice, no source.
TIME_RANGE = (0.5, 2.0)
# Beyond these shares of the house time, and for a grind finer by more than this, the answer says that it guesses.
# Common practice, no source.
_USUAL = (0.7, 1.4)
_MUCH_FINER_PCT = 10.0
# Changes below these are no change: exact arithmetic is all that is left.
_SAME = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """A recipe carried over.

    Attributes
    ----------
    dose_g, beverage_g, water_c, pressure_bar
        The recipe to pull; the pressure is None where it was never stated.
    time_s
        The time that holds what was to be held, with its standard uncertainty.
    size_change_pct
        Change in particle size that brings that time, %: plus is coarser.
    extraction_pct, strength_pct
        What the cup will be.
    extraction_change_points, strength_change_points
        Against the house recipe. Their uncertainty is that of the change alone, and is the one to read for "held".
    held, lost
        Of extraction and strength: what stays and what cannot.
    sentences
        All of it in words.
    """

    dose_g: float
    beverage_g: float
    water_c: float
    pressure_bar: float | None
    time_s: Measured
    size_change_pct: Measured
    extraction_pct: Measured
    strength_pct: Measured
    extraction_change_points: Measured
    strength_change_points: Measured
    held: tuple[str, ...]
    lost: tuple[str, ...]
    sentences: tuple[str, ...]

    @property
    def ratio(self) -> float:
        """Grams of beverage per gram of dose."""
        return self.beverage_g / self.dose_g


def transfer_recipe(
    fit: KineticsFit,
    recipe: HouseRecipe,
    *,
    dose_g: float | None = None,
    beverage_g: float | None = None,
    ratio: float | None = None,
    pressure_bar: float | None = None,
    bed_mm: tuple[float, float] | None = None,
    hold: Hold = "extraction",
    exponents: Exponents = DARCY,
) -> Transfer:
    """Carry the house recipe over to another dose, beverage, ratio, pressure or bed diameter.

    Parameters
    ----------
    fit
        The kinetics of this coffee, fitted at this recipe.
    recipe
        The house recipe.
    dose_g
        The new dose; a basket of another rating is another dose. The house dose where None.
    beverage_g, ratio
        The new beverage mass or the new ratio, not both; the house ratio where neither is given.
    pressure_bar
        The new machine pressure; needs a recipe that states its own.
    bed_mm
        Diameters of the old and the new bed, where they differ.
    hold
        What to hold where the ratio changes: extraction or strength.
    exponents
        How time scales with grind, dose, beverage and pressure.

    Raises
    ------
    QuantityError
        If a number cannot be what it is said to be, both beverage and ratio are given, or a pressure has nothing to be
        compared with.
    """
    if hold not in ("extraction", "strength"):
        raise QuantityError(f"A transfer can hold extraction or strength, not {hold}.")
    house = Brew.of_recipe(recipe)
    new = _new_brew(house, dose_g, beverage_g, ratio)
    widening = 1.0 if bed_mm is None else _positive("The new bed", bed_mm[1]) / _positive("The old bed", bed_mm[0])
    plan = _Plan(house, new, _pressing(recipe, pressure_bar), widening, hold)
    law, law_sd = _read_exponents(exponents)

    best = plan.solve(fit.kinetics, law)
    pulled = plan.at(best.time_s, law)
    extra = 0.0 if plan.changes_nothing else TRANSFER_SD_LOG
    time = Measured(best.time_s)
    if best.reached and not plan.changes_nothing:
        by_law = _spread(lambda laws: plan.solve(fit.kinetics, laws).time_s, law, law_sd)
        by_place = extra * plan.time_per_log_extraction(fit.kinetics, best.time_s, law)
        time = _widen(fit.propagate(lambda kinetics: plan.solve(kinetics, law).time_s), by_law, by_place)
    # The size is the one that Darcy's law asks for at the planned time; a grinder is set by the time, not by the size.
    size_sd = _spread(lambda laws: 100 * plan.at(best.time_s, laws).size_ratio, law, law_sd)
    size = Measured(100 * (pulled.size_ratio / house.size_ratio - 1), size_sd)
    by_law = _spread(lambda laws: extraction_pct(fit.kinetics, plan.at(best.time_s, laws)), law, law_sd)
    by_place = extra * extraction_pct(fit.kinetics, pulled)

    def change_of(kinetics: Kinetics) -> float:
        return extraction_pct(kinetics, pulled) - extraction_pct(kinetics, house)

    def strength_change_of(kinetics: Kinetics) -> float:
        return strength_pct(kinetics, pulled) - strength_pct(kinetics, house)

    extraction = _widen(predict_extraction(fit, pulled), by_law, by_place)
    change = _widen(fit.propagate(change_of), by_law, by_place)
    strength_change = _widen(fit.propagate(strength_change_of), by_law / new.ratio, by_place / new.ratio)
    same_ratio = abs(new.ratio / house.ratio - 1) <= _SAME
    both: tuple[str, ...] = ("extraction", "strength")
    wanted = both if same_ratio else (hold,)
    held = wanted if best.reached else ()
    result = Transfer(
        dose_g=new.dose_g,
        beverage_g=new.beverage_g,
        water_c=new.water_c,
        pressure_bar=recipe.pressure_bar if pressure_bar is None else pressure_bar,
        time_s=time,
        size_change_pct=size,
        extraction_pct=extraction,
        strength_pct=extraction.scaled(1 / new.ratio),
        extraction_change_points=change,
        strength_change_points=strength_change,
        held=held,
        lost=tuple(name for name in both if name not in held),
        sentences=(),
    )
    return replace(result, sentences=_tell(result, house, same_ratio, hold, best.reached))


@dataclass(frozen=True, slots=True)
class _Solved:
    time_s: float
    reached: bool


@dataclass(frozen=True, slots=True)
class _Plan:
    """The new pull as a function of its time, with the grind that Darcy's law asks for at that time."""

    house: Brew
    new: Brew
    pressing: float
    widening: float
    hold: Hold

    @property
    def changes_nothing(self) -> bool:
        """Whether the new pull is the old one."""
        ratios = (
            self.new.dose_g / self.house.dose_g,
            self.new.beverage_g / self.house.beverage_g,
            self.pressing,
            self.widening,
        )
        return all(abs(value - 1) <= _SAME for value in ratios)

    def at(self, time_s: float, law: FloatArray) -> Brew:
        """Give the new pull at a time; `law` holds the exponents of time by size, dose, beverage and pressure."""
        log_area = 2 * log(self.widening)
        # As in `bed.predict_time`: depth goes with dose over area, and flow with area once more.
        log_time_at_old_grind = (
            log(self.house.time_s)
            + law[1] * (log(self.new.dose_g / self.house.dose_g) - log_area)
            + law[2] * log(self.new.beverage_g / self.house.beverage_g)
            + law[3] * log(self.pressing)
            - log_area
        )
        size = exp((log(time_s) - log_time_at_old_grind) / law[0])
        return replace(self.new, time_s=time_s, size_ratio=self.house.size_ratio * size)

    def _short(self, kinetics: Kinetics, time_s: float, law: FloatArray) -> float:
        """How far the extraction at a time lies from the one wanted, points."""
        aim = extraction_pct(kinetics, self.house)
        if self.hold == "strength":
            aim *= self.new.ratio / self.house.ratio
        return extraction_pct(kinetics, self.at(time_s, law)) - aim

    def solve(self, kinetics: Kinetics, law: FloatArray) -> _Solved:
        """Find the time that holds what is held; the nearest end of the range where none does."""
        from scipy.optimize import brentq

        low, high = (factor * self.house.time_s for factor in TIME_RANGE)
        # A longer time asks for a finer grind, and both raise extraction: there is one root or none.
        if self._short(kinetics, low, law) > 0:
            return _Solved(low, False)
        if self._short(kinetics, high, law) < 0:
            return _Solved(high, False)
        time_s = brentq(lambda t: self._short(kinetics, t, law), low, high, xtol=1e-9, rtol=1e-12)
        return _Solved(float(time_s), True)

    def time_per_log_extraction(self, kinetics: Kinetics, time_s: float, law: FloatArray) -> float:
        """Give the seconds that make up for one unit of log extraction."""
        step = 0.01 * time_s
        above = extraction_pct(kinetics, self.at(time_s + step, law))
        below = extraction_pct(kinetics, self.at(time_s - step, law))
        return (above + below) * step / (above - below)


def _positive(name: str, value: float) -> float:
    if not (isfinite(value) and value > 0):
        raise QuantityError(f"{name} must be a finite number above 0, not {value}.")
    return value


def _new_brew(house: Brew, dose_g: float | None, beverage_g: float | None, ratio: float | None) -> Brew:
    if beverage_g is not None and ratio is not None:
        raise QuantityError("State the new beverage mass or the new ratio, not both.")
    dose = house.dose_g if dose_g is None else _positive("The new dose", dose_g)
    if beverage_g is None:
        beverage_g = dose * (house.ratio if ratio is None else _positive("The new ratio", ratio))
    return replace(house, dose_g=dose, beverage_g=_positive("The new beverage mass", beverage_g))


def _pressing(recipe: HouseRecipe, pressure_bar: float | None) -> float:
    """Give the new pressure over the old."""
    if pressure_bar is None:
        return 1.0
    if recipe.pressure_bar is None:
        raise QuantityError(
            f"House recipe {recipe.name} states no pressure, so {pressure_bar:g} bar cannot be compared with it: add "
            "pressure_bar and pressure_tol_bar to the recipe."
        )
    return _positive("The new pressure", pressure_bar) / recipe.pressure_bar


def _read_exponents(exponents: Exponents) -> tuple[FloatArray, FloatArray]:
    """Give the exponents of time by size, dose, beverage and pressure, and their standard uncertainties."""
    low, high = exponents.pressure
    pressure = Measured(-(low + high) / 2, half_width_to_sd((high - low) / 2))
    law = (exponents.size, exponents.dose, exponents.beverage, pressure)
    return np.array([item.value for item in law]), np.array([item.sd for item in law])


def _spread(answer: Callable[[FloatArray], float], law: FloatArray, law_sd: FloatArray) -> float:
    """Give the standard uncertainty of an answer that comes from the exponents, to first order."""
    total = 0.0
    for index in np.flatnonzero(law_sd > 0):
        move = np.zeros(len(law))
        move[index] = 0.05 * law_sd[index]
        total += ((answer(law + move) - answer(law - move)) / 0.1) ** 2
    return sqrt(total)


def _widen(measured: Measured, *sds: float) -> Measured:
    return Measured(measured.value, hypot(measured.sd, *sds))


def _points(value: float) -> str:
    """Write a change to a tenth of a point, without a minus before nothing."""
    return f"{round(value, 1) + 0.0:+.1f}"


def _between(change: Measured) -> str:
    low, high = interval90(change)
    return f"{_points(low)} to {_points(high)}"


def _tell(result: Transfer, house: Brew, same_ratio: bool, hold: Hold, reached: bool) -> tuple[str, ...]:
    """Say the transfer in words: what to pull, what stays, what is lost, what to mind."""
    low, high = interval90(result.time_s)
    doubt = f" (90 %: {low:.1f} to {high:.1f} s)" if result.time_s.sd > 0 else ""
    size = result.size_change_pct
    grind = "the same grind"
    if abs(size.value) >= 0.05:
        grind = f"particles about {abs(size.value):.1f} % {'coarser' if size.value > 0 else 'finer'}"
    told = []
    if reached:
        told.append(
            f"Pull {result.dose_g:.1f} g to {result.beverage_g:.1f} g in {result.time_s.value:.1f} s{doubt}, "
            f"with {grind}."
        )
    else:
        end = "longest" if result.time_s.value > house.time_s else "shortest"
        told.append(
            f"No time from {TIME_RANGE[0] * house.time_s:.0f} to {TIME_RANGE[1] * house.time_s:.0f} s holds {hold} "
            f"with {result.dose_g:.1f} g to {result.beverage_g:.1f} g; the {end} of them comes nearest, with {grind}."
        )
    for name, change in (
        ("Extraction", result.extraction_change_points),
        ("Strength", result.strength_change_points),
    ):
        word = "is held" if name.lower() in result.held else "is not held"
        told.append(f"{name} {word}: {_points(change.value)} points (90 %: {_between(change)}).")
    if not same_ratio:
        told.append(
            f"Extraction is strength times ratio: going from ratio {house.ratio:.2f} to {result.ratio:.2f}, "
            "the two cannot both be held."
        )
    if not _USUAL[0] <= result.time_s.value / house.time_s <= _USUAL[1]:
        told.append("That time is far from the house time, past what the model was made for: taste before trusting it.")
    if size.value < -_MUCH_FINER_PCT:
        told.append(
            "A grind so much finer may flow unevenly, and then extracts less, not more (Cameron et al. 2020, "
            "Matter 2(3) 631)."
        )
    caffeine_mg = pull_caffeine_mg(result.dose_g)
    if caffeine_mg > EFSA_SINGLE_DOSE_MG:
        told.append(
            f"A pull of {result.dose_g:.1f} g offers about {caffeine_mg:.0f} mg of caffeine, over the "
            f"{EFSA_SINGLE_DOSE_MG:.0f} mg at once that are no safety concern for a healthy adult (EFSA 2015)."
        )
    return tuple(told)
