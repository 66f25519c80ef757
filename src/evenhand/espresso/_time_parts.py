"""Splits what a pull's time was off by into what dose, beverage mass, pressure and water made of it, and the rest."""

from dataclasses import dataclass
from math import hypot, log

from evenhand.espresso.grinder import BELIEFS, Grinder
from evenhand.espresso.recipe import HouseRecipe, Pull
from evenhand.espresso.water import viscosity_mpa_s
from evenhand.units import Measured

_CAUSES = {"dose": "the dose", "beverage": "the beverage mass", "pressure": "the pressure"}


@dataclass(frozen=True, slots=True)
class TimePart:
    """One cause and the seconds that it put on the clock; negative is quicker."""

    cause: str
    time_s: Measured


def split_time(pull: Pull, recipe: HouseRecipe, grinder: Grinder | None = None) -> tuple[TimePart, ...]:
    """Split the time's distance from the recipe by cause.

    Parameters
    ----------
    pull, recipe
        What ran and what was meant.
    grinder
        Where given, its learned exponents are used; otherwise the published ones.

    Returns
    -------
    tuple of TimePart
        A part for each cause that was off and is known; last the rest, "grind, bed and scatter". They add up to the
        time less the recipe's.
    """
    # Shares of ln time make seconds by the mean of the two times by logarithm, so that the parts add up exactly.
    log_ratio = log(pull.time_s / recipe.time_s)
    seconds = recipe.time_s if log_ratio == 0 else (pull.time_s - recipe.time_s) / log_ratio
    parts: list[TimePart] = []
    log_left, log_sd = log_ratio, 0.0
    for name, cause in _CAUSES.items():
        target, measured = recipe.target(name)[0], pull.measured(name)
        if target is None or measured is None or measured == target:
            continue
        belief = BELIEFS[name]
        exponent = Measured(belief.mean, belief.sd) if grinder is None else grinder.coefficient(name)
        log_part = exponent.scaled(log(measured / target) * (-1.0 if name == "pressure" else 1.0))
        parts.append(TimePart(cause, log_part.scaled(seconds)))
        log_left -= log_part.value
        log_sd = hypot(log_sd, log_part.sd)
    if recipe.water_c is not None and pull.water_c is not None and pull.water_c != recipe.water_c:
        log_part = Measured(log(viscosity_mpa_s(pull.water_c).value / viscosity_mpa_s(recipe.water_c).value))
        parts.append(TimePart("the water's viscosity", log_part.scaled(seconds)))
        log_left -= log_part.value
    return (*parts, TimePart("grind, bed and scatter", Measured(log_left, log_sd).scaled(seconds)))
