"""A pull against its house recipe: how far off, in tolerances, and whether its cups may be judged."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from types import MappingProxyType

from evenhand.errors import QuantityError
from evenhand.words import join, say

__all__ = ["HouseRecipe", "Pull", "describe", "deviation", "judgeable"]

# A pull further off than this in anything measured says too little of the roast to be judged: pull it again.
# Common practice, no source: past about four tolerances a barista would not serve the shot.
JUDGEABLE_TOLERANCES = 4.0

QUANTITIES = ("dose", "beverage", "time", "water", "pressure")
_UNITS = {"dose": "g", "beverage": "g", "time": "s", "water": "°C", "pressure": "bar"}
_NAMES = {
    "dose": say("dose"),
    "beverage": say("beverage"),
    "time": say("time"),
    "water": say("water"),
    "pressure": say("pressure"),
}
# What a practitioner says of a pull that is above or below its recipe.
_WORDS = {
    "dose": (say("dosed heavy"), say("dosed light")),
    "beverage": (say("ran long"), say("ran short")),
    "time": (say("ran slow"), say("ran fast")),
    "water": (say("was hot"), say("was cool")),
    "pressure": (say("had high pressure"), say("had low pressure")),
}
# The time of a pull that "ran long" or "ran short" already: nobody says "ran" twice.
_TIME_AFTER_BEVERAGE = (say("slow"), say("fast"))


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRecipe:
    """Dose, beverage mass and time, each with a tolerance (half-width); water and pressure if stated.

    Masses in g, time in s, water in °C, pressure in bar.

    Raises
    ------
    QuantityError
        If a target or tolerance is not positive, or a target stands without its tolerance.
    """

    name: str
    dose_g: float
    dose_tol_g: float
    beverage_g: float
    beverage_tol_g: float
    time_s: float
    time_tol_s: float
    water_c: float | None = None
    water_tol_c: float | None = None
    pressure_bar: float | None = None
    pressure_tol_bar: float | None = None

    def __post_init__(self) -> None:
        for quantity in QUANTITIES:
            target, tolerance = self.target(quantity)
            for number in (target, tolerance):
                if number is not None and not (isfinite(number) and number > 0):
                    raise QuantityError(
                        say(
                            "House recipe {recipe}: {quantity} and its tolerance must be above 0, not {number:g}.",
                            recipe=self.name,
                            quantity=_NAMES[quantity],
                            number=number,
                        )
                    )

    def target(self, quantity: str) -> tuple[float | None, float | None]:
        """Give the target and the tolerance of one of `QUANTITIES`."""
        return {
            "dose": (self.dose_g, self.dose_tol_g),
            "beverage": (self.beverage_g, self.beverage_tol_g),
            "time": (self.time_s, self.time_tol_s),
            "water": (self.water_c, self.water_tol_c),
            "pressure": (self.pressure_bar, self.pressure_tol_bar),
        }[quantity]

    @property
    def ratio(self) -> float:
        """Grams of beverage per gram of dose."""
        return self.beverage_g / self.dose_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One espresso shot as it really ran; None where not measured. Masses in g, time in s, water in °C."""

    name: str
    dose_g: float
    beverage_g: float
    time_s: float
    water_c: float | None = None
    pressure_bar: float | None = None
    tds_pct: float | None = None

    def measured(self, quantity: str) -> float | None:
        """Give the measured value of one of `QUANTITIES`."""
        return {
            "dose": self.dose_g,
            "beverage": self.beverage_g,
            "time": self.time_s,
            "water": self.water_c,
            "pressure": self.pressure_bar,
        }[quantity]


def deviation(pull: Pull, recipe: HouseRecipe) -> Mapping[str, float | None]:
    """Signed distance of each quantity from the recipe, in tolerances.

    Returns
    -------
    Mapping
        The keys are `QUANTITIES`; None where the pull was not measured or the recipe asks for nothing.
    """
    found: dict[str, float | None] = {}
    for quantity in QUANTITIES:
        target, tolerance = recipe.target(quantity)
        value = pull.measured(quantity)
        known = target is not None and tolerance is not None and value is not None
        found[quantity] = (value - target) / tolerance if known else None  # type: ignore[operator]
    return MappingProxyType(found)


def judgeable(deviations: Mapping[str, float | None], limit: float = JUDGEABLE_TOLERANCES) -> bool:
    """Whether every measured quantity lies within `limit` tolerances of the recipe."""
    return all(abs(value) <= limit + 1e-9 for value in deviations.values() if value is not None)


def describe(pull: Pull, recipe: HouseRecipe, *, beyond: float = 1.0) -> str:
    """Say what was off in a practitioner's words, or nothing where all lay within `beyond` tolerances.

    Returns
    -------
    str
        For example "ran long by 3.0 g (2.0 tolerances) and slow by 4.0 s (2.0 tolerances)".
    """
    off = {
        quantity: value
        for quantity, value in deviation(pull, recipe).items()
        if value is not None and abs(value) > beyond + 1e-9
    }
    parts: list[str] = []
    for quantity, value in off.items():
        high, low = _TIME_AFTER_BEVERAGE if quantity == "time" and "beverage" in off else _WORDS[quantity]
        target = recipe.target(quantity)[0]
        measured = pull.measured(quantity)
        assert target is not None
        assert measured is not None
        parts.append(
            say(
                "{how} by {distance:.1f} {unit} ({tolerances:.1f} tolerances)",
                how=high if value > 0 else low,
                distance=abs(measured - target),
                unit=_UNITS[quantity],
                tolerances=abs(value),
            )
        )
    if len(parts) < 2:
        return parts[0] if parts else ""
    return join([join(parts[:-1]), parts[-1]], " and ")
