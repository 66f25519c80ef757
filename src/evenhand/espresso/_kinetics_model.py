"""The kinetic model at one pull: extraction, strength, filling and stream, for given `Kinetics`."""

from dataclasses import dataclass
from math import isfinite

import numpy as np
from numpy.typing import ArrayLike

from evenhand.errors import QuantityError
from evenhand.espresso._kinetics_plug_flow import FloatArray, extracted_share, outlet_share
from evenhand.espresso._kinetics_priors import (
    GAS_CONSTANT_J_PER_MOL_K,
    KELVIN_AT_0_C,
    REFERENCE_WATER_C,
    Kinetics,
)
from evenhand.espresso.recipe import HouseRecipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Brew:
    """What the model needs of a pull.

    Attributes
    ----------
    dose_g, beverage_g, time_s
        Grams in, grams out, seconds from the pump's start to the stop.
    water_c
        Water temperature, °C.
    size_ratio
        Particle size relative to the grind at which the kinetics hold: 1.05 is 5 % coarser.

    Raises
    ------
    QuantityError
        If a number cannot be what it is said to be.
    """

    dose_g: float
    beverage_g: float
    time_s: float
    water_c: float = REFERENCE_WATER_C
    size_ratio: float = 1.0

    def __post_init__(self) -> None:
        for name in ("dose_g", "beverage_g", "time_s", "size_ratio"):
            value = getattr(self, name)
            if not (isfinite(value) and value > 0):
                raise QuantityError(f"Brew: {name} must be a finite number above 0, not {value}.")
        if not 0 < self.water_c < 130:
            raise QuantityError(f"Brew: water_c must lie between 0 and 130 °C, not {self.water_c}.")

    @classmethod
    def of_recipe(cls, recipe: HouseRecipe) -> "Brew":
        """Take the house recipe as if pulled on target; water of 93 °C where it states none."""
        water = REFERENCE_WATER_C if recipe.water_c is None else recipe.water_c
        return cls(dose_g=recipe.dose_g, beverage_g=recipe.beverage_g, time_s=recipe.time_s, water_c=water)

    @property
    def ratio(self) -> float:
        """Grams of beverage per gram of dose."""
        return self.beverage_g / self.dose_g


def rate_factor(kinetics: Kinetics, water_c: ArrayLike, size_ratio: ArrayLike) -> FloatArray:
    """Give what temperature and particle size do to both rates, against the reference temperature and grind."""
    inverse = 1 / (np.asarray(water_c, dtype=float) + KELVIN_AT_0_C) - 1 / (REFERENCE_WATER_C + KELVIN_AT_0_C)
    arrhenius = np.exp(-1000 * kinetics.activation_kj_per_mol / GAS_CONSTANT_J_PER_MOL_K * inverse)
    return np.asarray(arrhenius * np.asarray(size_ratio, dtype=float) ** -kinetics.size_exponent, dtype=float)


def dissolved_shares(
    kinetics: Kinetics, ratio: ArrayLike, time_s: ArrayLike, water_c: ArrayLike, size_ratio: ArrayLike
) -> FloatArray:
    """Give the share of all solubles that each of several pulls carries into the cup; arguments broadcast."""
    grams = np.asarray(ratio, dtype=float)
    factor = rate_factor(kinetics, water_c, size_ratio)
    return extracted_share(
        grams,
        np.asarray(time_s, dtype=float) * grams / (kinetics.held_g_per_g + grams),
        kinetics.fast_share,
        kinetics.fast_per_s * factor,
        kinetics.slow_per_s * factor,
        kinetics.capacity_ratio,
    )


def filling_s(kinetics: Kinetics, brew: Brew) -> float:
    """Give the seconds that the pull's mean flow takes to fill the bed.

    Notes
    -----
    The first drip comes sooner where the pump fills the dry bed faster than it later flows. Extraction hardly cares:
    the column model finds it within 0.15 points for a first drip after 5 to 10 s of 28 s.
    """
    return brew.time_s * kinetics.held_g_per_g / (kinetics.held_g_per_g + brew.ratio)


def dissolved_share(kinetics: Kinetics, brew: Brew) -> float:
    """Give the share of all solubles that the pull carries into the cup."""
    return float(dissolved_shares(kinetics, brew.ratio, brew.time_s, brew.water_c, brew.size_ratio))


def extraction_pct(kinetics: Kinetics, brew: Brew) -> float:
    """Give the extraction yield as is, % of the dose, for given kinetics.

    Notes
    -----
    The kinetics are taken as exact; `predict_extraction` carries their uncertainty.
    """
    return kinetics.soluble_pct * dissolved_share(kinetics, brew)


def strength_pct(kinetics: Kinetics, brew: Brew) -> float:
    """Give the dissolved solids of the beverage, % by mass, for given kinetics."""
    return extraction_pct(kinetics, brew) / brew.ratio


def stream_pct(kinetics: Kinetics, brew: Brew, at_g: ArrayLike) -> FloatArray:
    """Give the strength of the stream when `at_g` grams are in the cup, % by mass, at the pull's steady flow.

    Parameters
    ----------
    at_g
        Beverage masses above 0 g, shape (points,); they may pass the pull's own beverage mass.

    Raises
    ------
    QuantityError
        If a mass is not above 0 g.
    """
    masses = np.asarray(at_g, dtype=float)
    if not (np.all(np.isfinite(masses)) and np.all(masses > 0)):
        raise QuantityError("Every mass in the cup at which the stream is asked for must be above 0 g.")
    contact = brew.time_s - filling_s(kinetics, brew)
    factor = rate_factor(kinetics, brew.water_c, brew.size_ratio)
    share = outlet_share(
        masses / brew.dose_g,
        contact * masses / brew.beverage_g,
        kinetics.fast_share,
        kinetics.fast_per_s * factor,
        kinetics.slow_per_s * factor,
        kinetics.capacity_ratio,
    )
    return np.asarray(kinetics.saturated_pct * share, dtype=float)
