"""How water runs through the bed: Darcy's law with Kozeny-Carman exponents, used for ratios and not for levels.

The law gives how the time to a beverage mass scales when grind, dose, pressure, basket or water change. The level comes
from a shot that was really pulled: no theory knows how a grinder's cloud of fines packs. Times are to a fixed beverage
mass and count from the start of the pump, wetting included, as a shop writes them down.
"""

from dataclasses import dataclass
from math import exp, hypot, log, pi

from evenhand.errors import QuantityError
from evenhand.espresso._evenness import Evenness, read_evenness
from evenhand.espresso.water import density_kg_m3, viscosity_mpa_s
from evenhand.units import Measured, half_width_to_sd
from evenhand.words import say

__all__ = [
    "BULK_KG_M3",
    "Change",
    "Evenness",
    "Exponents",
    "TimePrediction",
    "bed_depth_mm",
    "predict_time",
    "read_evenness",
    "read_permeability_m2",
    "size_change",
    "size_seen_um",
]

# Constant of Kozeny and Carman for beds of grains: Carman (1937), Transactions of the Institution of Chemical
# Engineers 15, 150-166 (from memory: 180 with the grain diameter, 5 with the surface by volume).
_KOZENY_CARMAN = 180.0
# From memory: about 0.4 g/ml for a tamped dry bed, as in Cameron et al. (2020), Matter 2(3) 631, who take 399 kg/m³.
BULK_KG_M3 = Measured(400.0, 40.0)
# From memory: the same authors take 0.17 of a wet bed as open to flow; the spread is common practice, no source.
_OPEN_SHARE = Measured(0.17, 0.04)
_PA_PER_BAR = 1e5


@dataclass(frozen=True, slots=True, kw_only=True)
class Exponents:
    """How the time to a fixed beverage mass scales with each quantity: time ~ quantity ** exponent.

    Attributes
    ----------
    size
        With grain size: -2 by Kozeny and Carman at equal packing (Carman 1937). The uncertainty is common practice, no
        source: a finer setting also makes more fines.
    dose
        1 by Darcy (1856) in one basket: depth is proportional to dose.
    beverage
        1 by Darcy at a steady flow; in a cup the flow rises, so a little less.
    pressure
        Lowest and highest of n in time ~ pressure ** -n: 1 by Darcy, less where the bed packs under pressure. Where it
        falls is not known beforehand (common practice, no source), so the whole range is carried.
    """

    size: Measured = Measured(-2.0, 0.3)  # noqa: RUF009 - a frozen dataclass
    dose: Measured = Measured(1.0, 0.2)  # noqa: RUF009
    beverage: Measured = Measured(1.0, 0.15)  # noqa: RUF009
    pressure: tuple[float, float] = (0.5, 1.0)

    def __post_init__(self) -> None:
        low, high = self.pressure
        if not 0 <= low <= high:
            raise QuantityError(f"The pressure exponent runs from low to high, 0 or more, not {low:g} to {high:g}.")


DARCY = Exponents()


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is changed between two pulls, each as new over old; 1 is unchanged.

    Attributes
    ----------
    size, dose, beverage, pressure
        Ratios of grain size, dose, beverage mass and pressure.
    basket_diameter
        Ratio of basket diameters: at equal dose the bed gets thinner and wider, so time goes with the fourth power
        downwards.
    water_c
        Old and new temperature of the water, °C, or None if unchanged or unknown.

    Raises
    ------
    QuantityError
        If a ratio is not positive.
    """

    size: float = 1.0
    dose: float = 1.0
    beverage: float = 1.0
    pressure: float = 1.0
    basket_diameter: float = 1.0
    water_c: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        for name in ("size", "dose", "beverage", "pressure", "basket_diameter"):
            if not getattr(self, name) > 0:
                raise QuantityError(f"The ratio of {name} must be more than 0, not {getattr(self, name):g}.")


@dataclass(frozen=True, slots=True)
class TimePrediction:
    """A predicted time.

    Attributes
    ----------
    time_s
        The time with its standard uncertainty; the pressure exponent is taken as rectangular over its range.
    range_s
        Shortest and longest time over the range of the pressure exponent alone, s.
    """

    time_s: Measured
    range_s: tuple[float, float]


def predict_time(time_s: Measured, change: Change, exponents: Exponents = DARCY) -> TimePrediction:
    """Predict the time of a pull from one that was pulled and what is changed.

    Parameters
    ----------
    time_s
        Time of the pull that was pulled, s; its uncertainty should hold the scatter between like pulls.
    change
        What is changed, as ratios.
    exponents
        How time scales.

    Raises
    ------
    QuantityError
        If the time is not positive or a temperature is outside the table of viscosity.

    References
    ----------
    Darcy (1856), Les fontaines publiques de la ville de Dijon, note D; Carman (1937).
    """
    if time_s.value <= 0:
        raise QuantityError(f"The time must be more than 0 s, not {time_s.value:g} s.")
    log_time, log_sd = log(time_s.value), time_s.sd / time_s.value
    log_area = 2.0 * log(change.basket_diameter)
    # Depth goes with dose over area; at one depth the flow goes with the area once more.
    scaled = (
        (exponents.size, log(change.size)),
        (exponents.dose, log(change.dose) - log_area),
        (exponents.beverage, log(change.beverage)),
        (Measured(1.0), -log_area),
    )
    for exponent, log_ratio in scaled:
        log_time += exponent.value * log_ratio
        log_sd = hypot(log_sd, exponent.sd * log_ratio)
    if change.water_c is not None:
        old, new = (viscosity_mpa_s(water_c) for water_c in change.water_c)
        log_time += log(new.value / old.value)
    low, high = exponents.pressure
    log_pressure = log(change.pressure)
    ends = sorted(exp(log_time - n * log_pressure) for n in (low, high))
    middle = exp(log_time - 0.5 * (low + high) * log_pressure)
    log_sd = hypot(log_sd, half_width_to_sd(0.5 * (high - low)) * log_pressure)
    return TimePrediction(Measured(middle, middle * log_sd), (ends[0], ends[1]))


def size_change(time_s: float, target_s: float, exponents: Exponents = DARCY) -> Measured:
    """Give the grain size that turns one time into another, as new size over old: 1.07 is 7 % coarser.

    Parameters
    ----------
    time_s, target_s
        The time as it is and as it should be, s.

    Raises
    ------
    QuantityError
        If a time is not positive, or the exponent of size is 0.
    """
    if not (time_s > 0 and target_s > 0):
        raise QuantityError(
            say(
                "Both times must be more than 0 s, not {time_s:g} s and {target_s:g} s.",
                time_s=time_s,
                target_s=target_s,
            )
        )
    if exponents.size.value == 0:
        raise QuantityError(say("With a size exponent of 0 no grind changes the time."))
    log_ratio = log(target_s / time_s)
    ratio = exp(log_ratio / exponents.size.value)
    return Measured(ratio, ratio * abs(log_ratio) * exponents.size.sd / exponents.size.value**2)


def bed_depth_mm(dose_g: float, diameter_mm: float, bulk_kg_m3: Measured = BULK_KG_M3) -> Measured:
    """Depth of the tamped bed in a straight-walled basket, mm.

    Raises
    ------
    QuantityError
        If the dose, the diameter or the density is not positive.
    """
    for name, value in (("dose", dose_g), ("diameter", diameter_mm), ("bulk density", bulk_kg_m3.value)):
        if not value > 0:
            raise QuantityError(f"The {name} must be more than 0, not {value:g}.")
    area_mm2 = pi * diameter_mm**2 / 4
    # g / (mm² kg/m³) is 1e6 mm.
    return Measured(dose_g * 1e6 / area_mm2) / bulk_kg_m3


def read_permeability_m2(
    *,
    dose_g: Measured,
    beverage_g: Measured,
    time_s: Measured,
    pressure_bar: Measured,
    water_c: float,
    diameter_mm: float,
    bulk_kg_m3: Measured = BULK_KG_M3,
) -> Measured:
    """Read the mean permeability of a bed off one pull by Darcy's law, m².

    The mean flow over the whole time is used, wetting included, so this is a figure to compare like pulls by; that of
    the wet bed alone is higher.

    Parameters
    ----------
    pressure_bar
        Pressure over the bed (gauge), bar.
    diameter_mm
        Inner diameter of the basket, mm.

    Raises
    ------
    QuantityError
        If a quantity is not positive or the temperature is outside the table of viscosity.
    """
    for name, quantity in (("beverage", beverage_g), ("time", time_s), ("pressure", pressure_bar)):
        if quantity.value <= 0:
            raise QuantityError(f"The {name} must be more than 0, not {quantity.value:g}.")
    depth_m = bed_depth_mm(dose_g.value, diameter_mm, bulk_kg_m3).scaled(1e-3)
    depth_m = Measured(depth_m.value, hypot(depth_m.sd, depth_m.value * dose_g.sd / dose_g.value))
    area_m2 = pi * (diameter_mm * 1e-3) ** 2 / 4
    flow_m3_s = beverage_g.scaled(1e-3) / time_s / density_kg_m3(water_c)
    viscosity_pa_s = viscosity_mpa_s(water_c).scaled(1e-3)
    return flow_m3_s * viscosity_pa_s * depth_m / pressure_bar.scaled(_PA_PER_BAR * area_m2)


def size_seen_um(permeability_m2: Measured, open_share: Measured = _OPEN_SHARE) -> Measured:
    """Turn a permeability into the one grain size that would give it by Kozeny and Carman, µm.

    It is a yardstick for one grinder and one way of tamping, not a size that a sieve would show: the fines rule it.

    Parameters
    ----------
    permeability_m2
        As from `read_permeability_m2`.
    open_share
        Share of the bed's volume that is open to flow.

    Raises
    ------
    QuantityError
        If the permeability is not positive or the share is not between 0 and 1.
    """
    share = open_share.value
    if not permeability_m2.value > 0:
        raise QuantityError(f"The permeability must be more than 0 m², not {permeability_m2.value:g} m².")
    if not 0 < share < 1:
        raise QuantityError(f"The open share must lie between 0 and 1, not {share:g}.")
    size_um = 1e6 * (_KOZENY_CARMAN * permeability_m2.value * (1 - share) ** 2 / share**3) ** 0.5
    # d ln size / d share = -1 / (1 - share) - 3 / (2 share)
    by_share = open_share.sd * (1 / (1 - share) + 1.5 / share)
    return Measured(size_um, size_um * hypot(0.5 * permeability_m2.sd / permeability_m2.value, by_share))
