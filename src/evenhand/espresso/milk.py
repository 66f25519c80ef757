"""Milk drinks by arithmetic: steam and temperature, coffee and caffeine in any size, and what a larger one asks for.

The energy balance is exact bookkeeping; what is uncertain (steam, heat capacity, temperatures, caffeine of the bean)
carries its standard uncertainty through it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor, hypot
from typing import Final

from evenhand.errors import QuantityError
from evenhand.espresso._milk_carry import Carry, SizeHeard, find_carry
from evenhand.espresso._milk_heat import (
    JUG_200_G,
    PORCELAIN_J_PER_G_K,
    STEEL_J_PER_G_K,
    WAND,
    Steam,
    Steaming,
    Vessel,
    condensate_g,
    steam_need,
    vessel_inputs,
)
from evenhand.espresso._milk_kinds import MILKS, Milk, find_milk, heat_capacity_from_label
from evenhand.espresso._milk_spread import propagate
from evenhand.espresso._milk_steam import saturation_c
from evenhand.espresso.caffeine import (
    CAFFEINE_EXTRACTED_SHARE,
    CAFFEINE_MG_PER_G_ROAST,
    EFSA_SINGLE_DOSE_MG,
)
from evenhand.espresso.extraction import SCALE_SD_G, TDS_SD_PCT, extraction_pct, solids_g
from evenhand.units import ML_PER_US_FL_OZ, Measured, half_width_to_sd

__all__ = [
    "JUG_200_G",
    "MILKS",
    "ML_PER_US_FL_OZ",
    "PORCELAIN_J_PER_G_K",
    "STEEL_J_PER_G_K",
    "WAND",
    "Carry",
    "Drink",
    "MenuRow",
    "Milk",
    "Shot",
    "SizeHeard",
    "Steam",
    "Steaming",
    "Vessel",
    "build_drink",
    "caffeine_mg",
    "condensate_g",
    "find_carry",
    "find_milk",
    "heat_capacity_from_label",
    "match_strength",
    "menu",
    "saturation_c",
    "shot_from_extraction",
    "within_caffeine",
]


WATER_HEAT_J_PER_G_K: Final = 4.18
# From memory: what dissolves out of coffee is mostly carbohydrate, acids and minerals, at about 1.6 J/(g K).
SOLIDS_HEAT_J_PER_G_K: Final = 1.6
# Common practice, no source: espresso in the cup without its foam weighs about 1 g/mL.
ESPRESSO_G_PER_ML: Final = Measured(1.0, half_width_to_sd(0.02))

# From memory: arabica holds 0.9 to 1.5 % caffeine, and 70 to 90 % of it reaches the cup; as a share of the product.
CAFFEINE_RELATIVE_SD: Final = hypot(half_width_to_sd(0.25), half_width_to_sd(0.125))


# Common practice, no source: a 1:2 shot at 20 % extraction, which stands at 65 to 75 °C in the cup.
HOUSE_DOSE_G: Final = Measured(16.0, SCALE_SD_G)
HOUSE_BEVERAGE_G: Final = Measured(32.0, SCALE_SD_G)
HOUSE_TDS_PCT: Final = Measured(10.0, TDS_SD_PCT)
ESPRESSO_C: Final = Measured(70.0, half_width_to_sd(5.0))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """The espresso in a drink: grams in, grams out, dissolved solids in %, and its temperature in the cup, °C."""

    dose_g: Measured = HOUSE_DOSE_G
    beverage_g: Measured = HOUSE_BEVERAGE_G
    tds_pct: Measured = HOUSE_TDS_PCT
    cup_c: Measured = ESPRESSO_C

    def __post_init__(self) -> None:
        extraction = extraction_pct(self.dose_g, self.beverage_g, self.tds_pct)
        if extraction.value > 35:
            raise QuantityError(
                f"{extraction.value:.1f} % of the dose cannot dissolve, about 30 % is the most; "
                "check dose, beverage mass and dissolved solids."
            )

    @property
    def solids_g(self) -> Measured:
        """Dissolved coffee, g."""
        return solids_g(self.beverage_g, self.tds_pct)

    @property
    def extraction_pct(self) -> Measured:
        """Dissolved coffee over dose, %."""
        return extraction_pct(self.dose_g, self.beverage_g, self.tds_pct)

    def times(self, factor: float) -> "Shot":
        """Scale dose and beverage alike, so that strength, ratio and extraction stay."""
        return replace(self, dose_g=self.dose_g.scaled(factor), beverage_g=self.beverage_g.scaled(factor))


def shot_from_extraction(dose_g: Measured, beverage_g: Measured, extraction: Measured) -> Shot:
    """Describe a shot by its extraction yield in % where dissolved solids were not read.

    Raises
    ------
    QuantityError
        If a mass is not positive, or more would be dissolved than the beverage or the coffee can hold.
    """
    if beverage_g.value <= 0:
        raise QuantityError(f"The beverage mass must be more than 0 g, not {beverage_g.value:g} g.")
    return Shot(dose_g=dose_g, beverage_g=beverage_g, tds_pct=dose_g * extraction / beverage_g)


def caffeine_mg(dose_g: Measured, mg_per_g: float = CAFFEINE_MG_PER_G_ROAST) -> Measured:
    """Caffeine in a drink made from a dose, mg.

    Parameters
    ----------
    dose_g
        Ground coffee, g.
    mg_per_g
        Caffeine of the roasted coffee, mg in a gram; about 12 for arabica and twice that for robusta (from memory).

    Raises
    ------
    QuantityError
        If a number is not positive.
    """
    if not (dose_g.value > 0 and mg_per_g > 0):
        raise QuantityError("The dose and its caffeine must be more than 0.")
    share = Measured(CAFFEINE_EXTRACTED_SHARE * mg_per_g, CAFFEINE_EXTRACTED_SHARE * mg_per_g * CAFFEINE_RELATIVE_SD)
    return dose_g * share


@dataclass(frozen=True, slots=True)
class Drink:
    """One milk drink: what goes in, how hot it is, and how much coffee is in it."""

    size_ml: float
    shot: Shot
    milk_g: Measured
    condensate_g: Measured
    drink_g: Measured
    temperature_c: Measured
    solids_g: Measured
    strength_g_per_100ml: Measured
    caffeine_mg: Measured


def build_drink(
    size_ml: float,
    shot: Shot,
    steaming: Steaming,
    *,
    cup: Vessel | None = None,
    caffeine_mg_per_g: float = CAFFEINE_MG_PER_G_ROAST,
) -> Drink:
    """Fill a size with a shot and steamed milk, and say what is in it.

    Parameters
    ----------
    size_ml
        Volume of the finished drink, foam included, mL.
    shot, steaming
        The espresso and the milk.
    cup
        What the drink warms; None for a paper cup, or a cup as hot as the drink.
    caffeine_mg_per_g
        Caffeine of the roasted coffee, mg/g.

    Returns
    -------
    Drink
        Solids and strength count coffee only. Strength is grams of dissolved coffee in 100 mL of drink.

    Raises
    ------
    QuantityError
        If the shot leaves no room for milk.
    """
    jug, ambient = steaming.jug, steaming.steam.ambient_bar
    jug_heat = jug.heat_j_per_g_k if jug else 1.0
    cup_heat = cup.heat_j_per_g_k if cup else 1.0

    def fill(
        beverage: float, tds: float, shot_c: float, espresso_density: float, heat: float, density: float, start: float,
        end: float, gauge: float, quality: float, jug_g: float, jug_c: float, air: float, cup_g: float, cup_c: float,
    ) -> tuple[float, ...]:  # fmt: skip
        room_g = (size_ml - beverage / espresso_density) * density / (1.0 + air)
        a_gram, for_jug = steam_need(heat, start, end, gauge, quality, ambient, (jug_g, jug_heat, jug_c))
        milk_g = (room_g - for_jug) / (1.0 + a_gram)
        water_g = a_gram * milk_g + for_jug
        solids = beverage * tds / 100.0
        capacities = (
            milk_g * heat + water_g * WATER_HEAT_J_PER_G_K,
            (beverage - solids) * WATER_HEAT_J_PER_G_K + solids * SOLIDS_HEAT_J_PER_G_K,
            cup_g * cup_heat,
        )
        warmth = capacities[0] * end + capacities[1] * shot_c + capacities[2] * cup_c
        return milk_g, water_g, milk_g + water_g + beverage, warmth / sum(capacities), solids, 100.0 * solids / size_ml

    inputs = (
        shot.beverage_g, shot.tds_pct, shot.cup_c, ESPRESSO_G_PER_ML, steaming.milk.heat_j_per_g_k,
        steaming.milk.density_hot_g_per_ml, steaming.start_c, steaming.end_c, steaming.steam.gauge_bar,
        steaming.steam.quality, *vessel_inputs(jug), steaming.air_share, *vessel_inputs(cup),
    )  # fmt: skip
    if not size_ml > 0 or fill(*(quantity.value for quantity in inputs))[0] <= 0:
        raise QuantityError(
            f"A drink of {size_ml:.0f} mL has no room for milk beside {shot.beverage_g.value:.0f} g of espresso; "
            "choose a larger size or a smaller shot."
        )
    milk_g, water_g, drink_g, temperature_c, solids, strength = propagate(fill, *inputs)
    caffeine = caffeine_mg(shot.dose_g, caffeine_mg_per_g)
    return Drink(size_ml, shot, milk_g, water_g, drink_g, temperature_c, solids, strength, caffeine)


def match_strength(size_ml: float, reference_ml: float, shot: Shot) -> Shot:
    """Give the dose and yield that make a drink as strong as a reference drink made with a shot.

    Raises
    ------
    QuantityError
        If a size is not positive.

    Notes
    -----
    Ratio and extraction stay, so dose and yield grow with the size: twice the drink, twice the shot.
    """
    if not (size_ml > 0 and reference_ml > 0):
        raise QuantityError("Sizes of drinks must be more than 0 mL.")
    return shot.times(size_ml / reference_ml)


def within_caffeine(
    shot: Shot, limit_mg: float = EFSA_SINGLE_DOSE_MG, caffeine_mg_per_g: float = CAFFEINE_MG_PER_G_ROAST
) -> Shot:
    """Cut a shot to the largest whole gram of dose whose best estimate of caffeine stays within a limit.

    Raises
    ------
    QuantityError
        If not even one gram stays within it.
    """
    if caffeine_mg(shot.dose_g, caffeine_mg_per_g).value <= limit_mg:
        return shot
    dose_g = floor(limit_mg / caffeine_mg(Measured(1.0), caffeine_mg_per_g).value + 1e-9)
    if dose_g < 1:
        raise QuantityError(f"A limit of {limit_mg:g} mg of caffeine leaves no dose at all; choose a higher one.")
    return shot.times(dose_g / shot.dose_g.value)


@dataclass(frozen=True, slots=True)
class MenuRow:
    """One size of the menu, made three ways; shares are strengths over that of the reference drink.

    `as_is` has the house shot (None where it leaves no room for milk), `equal` as much coffee as the reference has in
    each 100 mL, and `within` as much as the limit on caffeine allows (None where `equal` stays within it).
    """

    size_ml: float
    as_is: Drink | None
    as_is_share: float
    equal: Drink
    within: Drink | None
    within_share: float


def menu(
    sizes_ml: Sequence[float],
    shot: Shot,
    steaming: Steaming,
    *,
    reference_ml: float = 6 * ML_PER_US_FL_OZ,
    limit_mg: float = EFSA_SINGLE_DOSE_MG,
    cup: Vessel | None = None,
    caffeine_mg_per_g: float = CAFFEINE_MG_PER_G_ROAST,
) -> tuple[MenuRow, ...]:
    """Work out every size with the house shot, at the reference's strength, and within a limit on caffeine.

    Parameters
    ----------
    sizes_ml
        Sizes of drinks, mL.
    shot, steaming, cup, caffeine_mg_per_g
        As in `build_drink`.
    reference_ml
        The size in which the house shot has the strength to be matched; 6 US fluid ounces unless stated (common
        practice, no source: a small traditional cappuccino).
    limit_mg
        Caffeine of one drink above which a smaller dose is shown as well.

    Raises
    ------
    QuantityError
        If the reference drink cannot be made.
    """
    rows = []
    build_drink(reference_ml, shot, steaming, cup=cup, caffeine_mg_per_g=caffeine_mg_per_g)
    for size_ml in sizes_ml:

        def make(kind: Shot, size_ml: float = size_ml) -> Drink:
            return build_drink(size_ml, kind, steaming, cup=cup, caffeine_mg_per_g=caffeine_mg_per_g)

        try:
            as_is = make(shot)
        except QuantityError:
            as_is = None
        matched = match_strength(size_ml, reference_ml, shot)
        cut = within_caffeine(matched, limit_mg, caffeine_mg_per_g)
        rows.append(
            MenuRow(
                size_ml=size_ml,
                as_is=as_is,
                as_is_share=reference_ml / size_ml,
                equal=make(matched),
                within=None if cut is matched else make(cut),
                within_share=cut.dose_g.value / matched.dose_g.value,
            )
        )
    return tuple(rows)
