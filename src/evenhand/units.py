"""Quantities with their uncertainty, and the only place where a unit is converted."""

from dataclasses import dataclass
from math import hypot, isfinite, sqrt

from evenhand.errors import QuantityError
from evenhand.words import say

# Exact: US gallon of 231 cubic inches over 128 (NIST Handbook 44, appendix C).
ML_PER_US_FL_OZ = 29.5735295625

# Exact: the avoirdupois pound (NIST Handbook 44, appendix C).
KG_PER_LB = 0.45359237


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its standard uncertainty, in the same unit.

    Parameters
    ----------
    value
        The best estimate.
    sd
        The standard uncertainty (one standard deviation), 0 for an exact number.

    Raises
    ------
    QuantityError
        If the value is not finite, or the uncertainty is negative or not finite.

    Notes
    -----
    Uncertainties are combined to first order for independent inputs, as in JCGM 100:2008 (GUM), 5.1.2.
    """

    value: float
    sd: float = 0.0

    def __post_init__(self) -> None:
        if not isfinite(self.value):
            raise QuantityError(say("A measured value must be a finite number, not {value}.", value=self.value))
        if not (isfinite(self.sd) and self.sd >= 0):
            raise QuantityError(say("A standard uncertainty must be 0 or more, not {sd}.", sd=self.sd))

    def __mul__(self, other: "Measured") -> "Measured":
        """Multiply two independent quantities."""
        value = self.value * other.value
        return Measured(value, hypot(self.sd * other.value, other.sd * self.value))

    def __truediv__(self, other: "Measured") -> "Measured":
        """Divide by an independent quantity that is not 0."""
        if other.value == 0:
            raise QuantityError(say("A quantity cannot be divided by one of 0."))
        value = self.value / other.value
        return Measured(value, hypot(self.sd / other.value, other.sd * value / other.value))

    def __add__(self, other: "Measured") -> "Measured":
        """Add two independent quantities of the same unit."""
        return Measured(self.value + other.value, hypot(self.sd, other.sd))

    def __sub__(self, other: "Measured") -> "Measured":
        """Subtract an independent quantity of the same unit."""
        return Measured(self.value - other.value, hypot(self.sd, other.sd))

    def scaled(self, factor: float) -> "Measured":
        """Multiply by an exact number."""
        return Measured(self.value * factor, self.sd * abs(factor))


def share_from_pct(pct: Measured) -> Measured:
    """Turn a percentage into a share of one."""
    return pct.scaled(0.01)


def pct_from_share(share: Measured) -> Measured:
    """Turn a share of one into a percentage."""
    return share.scaled(100.0)


def half_width_to_sd(half_width: float) -> float:
    """Turn the half-width of a rectangular distribution into its standard deviation (GUM 4.3.7).

    Raises
    ------
    QuantityError
        If the half-width is negative.
    """
    if half_width < 0:
        raise QuantityError(say("A half-width must be 0 or more, not {half_width}.", half_width=half_width))
    return half_width / sqrt(3.0)


def kg_from_lb(mass_lb: float) -> float:
    """Turn pounds (avoirdupois) into kilograms."""
    return mass_lb * KG_PER_LB


def lb_from_kg(mass_kg: float) -> float:
    """Turn kilograms into pounds (avoirdupois)."""
    return mass_kg / KG_PER_LB


def ml_from_fl_oz(volume_fl_oz: float) -> float:
    """Turn US fluid ounces into millilitres."""
    return volume_fl_oz * ML_PER_US_FL_OZ


def fl_oz_from_ml(volume_ml: float) -> float:
    """Turn millilitres into US fluid ounces."""
    return volume_ml / ML_PER_US_FL_OZ


def c_from_f(temperature_f: float) -> float:
    """Turn a temperature in degrees Fahrenheit into degrees Celsius.

    References
    ----------
    NIST Special Publication 811 (2008), appendix B.8: t/C = (t/F - 32)/1.8, exact.
    """
    return (temperature_f - 32.0) / 1.8


def f_from_c(temperature_c: float) -> float:
    """Turn a temperature in degrees Celsius into degrees Fahrenheit (NIST SP 811, B.8)."""
    return temperature_c * 1.8 + 32.0


def c_span_from_f(span_f: float) -> float:
    """Turn a difference of temperatures, such as a tolerance, from degrees Fahrenheit into degrees Celsius.

    References
    ----------
    NIST Special Publication 811 (2008), appendix B.8: an interval of 1 F is one of 1/1.8 C, exact.
    """
    return span_f / 1.8


def f_span_from_c(span_c: float) -> float:
    """Turn a difference of temperatures from degrees Celsius into degrees Fahrenheit (NIST SP 811, B.8)."""
    return span_c * 1.8
