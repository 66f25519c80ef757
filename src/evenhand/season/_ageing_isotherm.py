"""The GAB isotherm ties the moisture of green coffee to its water activity; the moisture's method travels with it.

The isotherm of Guggenheim, Anderson and de Boer, on dry basis, with x = k times water activity:

    moisture = monolayer * c * x / ((1 - x) * (1 - x + c * x))

References
----------
van den Berg and Bruin (1981), "Water activity and its estimation in food systems", in Rockland and Stewart (eds), Water
Activity: Influences on Food Quality, Academic Press (the GAB equation for foods). ISO 6673, Green coffee,
Determination of loss in mass at 105 degrees C; ISO 1446, Green coffee, Determination of water content.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.units import Measured
from evenhand.words import say

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MoistureMethod:
    """How a moisture was found: a standard with its year, or a meter by the name that the shop gives it.

    Two editions of one standard are two methods: ISO 6673 was revised in 2025 (from memory), and a number by the text
    of 2003 need not be the number that the text of 2025 would give.

    Attributes
    ----------
    name
        As in "ISO 6673", "ISO 1446", or "capacitance meter".
    edition
        Year of the edition; None where there is none (a meter) or it is not known.
    """

    name: str
    edition: int | None = None

    def __str__(self) -> str:
        return self.name if self.edition is None else f"{self.name}:{self.edition}"


@dataclass(frozen=True, slots=True)
class Moisture:
    """A moisture on wet basis (g of water in 100 g of green coffee) with the method that found it.

    Raises
    ------
    QuantityError
        If the moisture does not lie between 0 and 100 %.
    """

    wet_pct: Measured
    method: MoistureMethod

    def __post_init__(self) -> None:
        if not 0 < self.wet_pct.value < 100:
            raise QuantityError(
                say("A moisture lies between 0 and 100 %, not {moisture:g} %.", moisture=self.wet_pct.value)
            )

    @property
    def dry_pct(self) -> Measured:
        """The same on dry basis: g of water on 100 g of dry matter."""
        wet = self.wet_pct.value / 100.0
        return Measured(100.0 * wet / (1.0 - wet), self.wet_pct.sd / (1.0 - wet) ** 2)

    def compared(self, other: "Moisture", offset: Measured | None = None) -> Measured:
        """Give this moisture less another, in points of per cent on wet basis.

        Parameters
        ----------
        other
            The moisture to take off.
        offset
            By how much this one's method reads above the other's on the same green coffee; needed where they differ.

        Raises
        ------
        DesignError
            If the methods or their editions differ and no offset is given, or the method is the same and one is given.
        """
        if self.method == other.method:
            if offset is not None:
                raise DesignError(say("Two moistures by one method need no offset; leave it out."))
            return self.wet_pct - other.wet_pct
        if offset is None:
            raise DesignError(
                say(
                    "A moisture by {method} cannot be set against one by {other}: measure both by one method, or state "
                    "by how much one reads above the other.",
                    method=self.method,
                    other=other.method,
                )
            )
        return self.wet_pct - other.wet_pct - offset


@dataclass(frozen=True, slots=True)
class Isotherm:
    """A GAB isotherm with what it rests on.

    Attributes
    ----------
    monolayer_pct
        Water that covers the surfaces once, g on 100 g of dry matter.
    c
        Strength of the first layer's bond, no unit.
    k
        Strength of the further layers' bond, no unit, at most 1.
    activity_sd
        How far real lots scatter about the line, one standard deviation of water activity.
    method
        The method by which its moistures were found; None for a line wide enough for any.
    source
        Where the parameters come from.

    Raises
    ------
    QuantityError
        If a parameter is not positive, k is above 1, or the scatter is negative.
    """

    monolayer_pct: float
    c: float
    k: float
    activity_sd: float
    method: MoistureMethod | None
    source: str

    def __post_init__(self) -> None:
        if not (self.monolayer_pct > 0 and self.c > 0 and 0 < self.k <= 1 and self.activity_sd >= 0):
            raise QuantityError(
                say("An isotherm needs a monolayer, c and k above 0, k at most 1, and no negative scatter.")
            )

    def moisture_dry_pct(self, water_activity: ArrayLike) -> Array:
        """Moisture on dry basis at a water activity.

        Parameters
        ----------
        water_activity
            From 0 up to, not including, 1; any shape.

        Returns
        -------
        ndarray
            g of water on 100 g of dry matter, of the same shape.

        Raises
        ------
        QuantityError
            If a water activity is outside its range.
        """
        x = self.k * _activities(water_activity)
        return np.asarray(self.monolayer_pct * self.c * x / ((1.0 - x) * (1.0 - x + self.c * x)))

    def water_activity(self, moisture: Moisture) -> Measured:
        """Water activity at a moisture, with the scatter of lots about the line in its uncertainty.

        Raises
        ------
        DesignError
            If the moisture was found by another method than the isotherm's.
        QuantityError
            If so much water lies beyond the isotherm.
        """
        if self.method is not None and moisture.method != self.method:
            raise DesignError(
                say(
                    "This isotherm holds for moistures by {method}, not by {other}; measure by that method, or fit an "
                    "isotherm of your own.",
                    method=self.method,
                    other=moisture.method,
                )
            )
        dry = moisture.dry_pct
        x = self._solve(dry.value)
        activity = x / self.k
        if activity >= 1:
            raise QuantityError(
                say(
                    "A moisture of {moisture:g} % lies beyond this isotherm, which ends at a water activity of 1; "
                    "check the moisture.",
                    moisture=moisture.wet_pct.value,
                )
            )
        step = 1e-4 * dry.value
        slope = (self._solve(dry.value + step) - self._solve(dry.value - step)) / (2.0 * step * self.k)
        return Measured(activity, float(np.hypot(slope * dry.sd, self.activity_sd)))

    def _solve(self, dry_pct: float) -> float:
        """Give k times water activity: the root of a quadratic that lies between 0 and 1."""
        square = dry_pct * (self.c - 1.0)
        line = self.monolayer_pct * self.c - dry_pct * (self.c - 2.0)
        return float(2.0 * dry_pct / (line + np.sqrt(line**2 + 4.0 * square * dry_pct)))


GREEN_ISOTHERM: Final = Isotherm(
    monolayer_pct=7.2,
    c=15.0,
    k=0.80,
    activity_sd=0.05,
    method=None,
    source="chosen by us for green coffee near 25 degrees C; common practice, no source: 11 % moisture at about 0.58",
)
"""A line of last resort: wide, and to be replaced by one fitted to the shop's own pairs."""


def fit_isotherm(
    water_activity: ArrayLike, moisture_wet_pct: ArrayLike, method: MoistureMethod, *, source: str
) -> Isotherm:
    """Fit an isotherm to the shop's own pairs of water activity and moisture, by least squares in the moisture.

    Parameters
    ----------
    water_activity
        Shape (n,), n at least 4, at one temperature.
    moisture_wet_pct
        Wet basis, shape (n,), all by one method.
    method
        That method.
    source
        What was measured, in the shop's words.

    Returns
    -------
    Isotherm
        Its scatter is that of the pairs about the line, read across in water activity.

    Raises
    ------
    DesignError
        If the arrays do not fit together, there are fewer than four different water activities, or no curve fits.
    QuantityError
        If a value is outside its range.
    """
    from scipy.optimize import least_squares

    activity, wet = _activities(water_activity), np.asarray(moisture_wet_pct, dtype=float)
    if activity.ndim != 1 or activity.shape != wet.shape:
        raise DesignError(say("Water activities and moistures must be lists of the same length."))
    if np.unique(activity).size < 4:
        raise DesignError(say("An isotherm needs pairs at four water activities or more; add some, drier and damper."))
    if not np.all((wet > 0) & (wet < 100)):
        raise QuantityError(say("Every moisture must lie between 0 and 100 %."))
    dry = 100.0 * wet / (100.0 - wet)

    def curve(unknown: Array) -> Array:
        monolayer, c, k = np.exp(unknown[0]), np.exp(unknown[1]), 1.0 / (1.0 + np.exp(-unknown[2]))
        x = k * activity
        return np.asarray(monolayer * c * x / ((1.0 - x) * (1.0 - x + c * x)))

    start = np.array([np.log(GREEN_ISOTHERM.monolayer_pct), np.log(GREEN_ISOTHERM.c), np.log(0.8 / 0.2)])
    limits = ([np.log(0.1), np.log(0.1), -4.0], [np.log(100.0), np.log(1e4), 12.0])
    found = least_squares(
        lambda unknown: curve(unknown) - dry, start, bounds=limits, xtol=1e-12, ftol=1e-12, gtol=1e-12
    )
    if not found.success:
        raise DesignError(say("No isotherm fits these pairs; check for a mistyped value."))
    monolayer, c = float(np.exp(found.x[0])), float(np.exp(found.x[1]))
    k = float(1.0 / (1.0 + np.exp(-found.x[2])))
    line = Isotherm(monolayer, c, k, 0.0, method, source)
    slope = (line.moisture_dry_pct(activity * (1 + 1e-5)) - line.moisture_dry_pct(activity * (1 - 1e-5))) / (
        2e-5 * activity
    )
    across = found.fun / slope
    scatter = float(np.sqrt(across @ across / max(activity.size - 3, 1)))
    return Isotherm(monolayer, c, k, scatter, method, source)


def _activities(water_activity: ArrayLike) -> Array:
    activity = np.asarray(water_activity, dtype=float)
    if not np.all((activity >= 0) & (activity < 1)):
        raise QuantityError(
            say("A water activity lies from 0 up to, not including, 1; 55 % relative humidity is 0.55.")
        )
    return activity
