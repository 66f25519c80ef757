"""Heat milk with a steam wand: the energy balance that says how much water the steam leaves behind."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from evenhand.errors import QuantityError
from evenhand.espresso._milk_kinds import MILKS, Milk
from evenhand.espresso._milk_spread import propagate
from evenhand.espresso._milk_steam import STANDARD_AMBIENT_BAR, saturation_c, steam_j_per_g, water_j_per_g
from evenhand.units import Measured, half_width_to_sd

# Exact, for checks and for what-if; a real wand is `WAND`.
_GAUGE_BAR: Final = Measured(1.2)
_DRY: Final = Measured(1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Steam:
    """Saturated steam as it leaves the boiler: gauge pressure, bar, and the share of its mass that is vapour."""

    gauge_bar: Measured = _GAUGE_BAR
    quality: Measured = _DRY
    ambient_bar: float = STANDARD_AMBIENT_BAR

    def __post_init__(self) -> None:
        if not 0.5 <= self.quality.value <= 1.0:
            raise QuantityError(f"The quality of steam lies between 0.5 and 1 (dry), not {self.quality.value:g}.")
        for gauge_bar in (self.gauge_bar.value - self.gauge_bar.sd, self.gauge_bar.value + self.gauge_bar.sd):
            saturation_c(gauge_bar + self.ambient_bar)


WAND: Final = Steam(gauge_bar=Measured(1.2, half_width_to_sd(0.1)), quality=Measured(0.95, half_width_to_sd(0.05)))
"""A wand after purging: 1.2 bar on the gauge, 90 to 100 % dry. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel:
    """A jug or cup that is warmed by what it holds: mass in g, J/(g K), temperature before in °C."""

    mass_g: Measured
    heat_j_per_g_k: float
    start_c: Measured

    def __post_init__(self) -> None:
        if self.mass_g.value < 0 or self.heat_j_per_g_k <= 0:
            raise QuantityError("A vessel needs a mass of 0 g or more and a heat capacity above 0.")


STEEL_J_PER_G_K: Final = 0.50  # stainless steel; from memory of engineering handbooks
PORCELAIN_J_PER_G_K: Final = 0.9  # stoneware and porcelain, 0.8 to 1.0; from memory

JUG_200_G: Final = Vessel(
    mass_g=Measured(200.0, half_width_to_sd(20.0)),
    heat_j_per_g_k=STEEL_J_PER_G_K,
    start_c=Measured(20.0, half_width_to_sd(5.0)),
)
"""A small steel jug at room temperature. Common practice, no source."""


# Common practice, no source: fridge and thermometer as a bar has them, foam fine enough to pour.
FRIDGE_C: Final = Measured(5.0, half_width_to_sd(1.0))
HOT_C: Final = Measured(60.0, half_width_to_sd(2.0))
FINE_FOAM_SHARE: Final = Measured(0.15, half_width_to_sd(0.05))


@dataclass(frozen=True, slots=True, kw_only=True)
class Steaming:
    """How milk is heated: which, from and to what temperature, with what steam, in what jug, with how much air.

    `air_share` is the volume of air in the foam over that of the hot milk.
    """

    milk: Milk = MILKS["whole"]
    start_c: Measured = FRIDGE_C
    end_c: Measured = HOT_C
    steam: Steam = WAND
    jug: Vessel | None = JUG_200_G
    air_share: Measured = FINE_FOAM_SHARE

    def __post_init__(self) -> None:
        if not 0 <= self.start_c.value < self.end_c.value <= 95:
            raise QuantityError(
                "Milk is heated from 0 °C or more to at most 95 °C, not from "
                f"{self.start_c.value:g} to {self.end_c.value:g} °C."
            )
        if self.jug is not None and self.jug.start_c.value > self.end_c.value:
            raise QuantityError("The jug must not be hotter than the milk is meant to become.")
        if not 0 <= self.air_share.value <= 2:
            raise QuantityError(f"Air takes 0 to 2 times the volume of the milk, not {self.air_share.value:g}.")


def steam_need(
    heat: float, start_c: float, end_c: float, gauge: float, quality: float, ambient: float, jug: Sequence[float]
) -> tuple[float, float]:
    """Grams of steam for each gram of milk, and for the jug."""
    given = steam_j_per_g(gauge + ambient, quality) - water_j_per_g(end_c)
    mass_g, jug_heat, jug_start_c = jug
    return heat * (end_c - start_c) / given, mass_g * jug_heat * (end_c - jug_start_c) / given


def condensate_g(milk_g: Measured, steaming: Steaming) -> Measured:
    """Water that the steam leaves in the milk, g.

    Parameters
    ----------
    milk_g
        Milk before heating, g.
    steaming
        Milk, temperatures, steam and jug. Its air does not matter here.

    Raises
    ------
    QuantityError
        If the mass is not positive.

    Notes
    -----
    All steam condenses and cools to the final temperature; the heat it gives up warms milk and jug and nothing else.
    120 g of whole milk, 5 to 60 °C, dry steam at 1.2 bar gauge, no jug: 120 x 3.93 x 55 / (2710.9 - 251.2) = 10.55 g.
    """
    if milk_g.value <= 0:
        raise QuantityError(f"The milk must be more than 0 g, not {milk_g.value:g} g.")
    jug = steaming.jug

    def need(
        milk: float, heat: float, start: float, end: float, gauge: float, quality: float, jug_g: float, jug_c: float
    ) -> tuple[float]:
        shape = (jug_g, jug.heat_j_per_g_k if jug else 1.0, jug_c)
        a_gram, for_jug = steam_need(heat, start, end, gauge, quality, steaming.steam.ambient_bar, shape)
        return (milk * a_gram + for_jug,)

    inputs = (steaming.milk.heat_j_per_g_k, steaming.start_c, steaming.end_c, steaming.steam.gauge_bar)
    return propagate(need, milk_g, *inputs, steaming.steam.quality, *vessel_inputs(jug))[0]


def vessel_inputs(vessel: Vessel | None) -> tuple[Measured, Measured]:
    """Give mass and temperature of a vessel, or of none, which takes no heat."""
    return (vessel.mass_g, vessel.start_c) if vessel else (Measured(0.0), Measured(0.0))
