"""A shop's pulls as the rows from which a grinder is learned, and its settings as numbers."""

import re
from dataclasses import dataclass, fields
from math import gcd, isfinite

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso.water import viscosity_mpa_s
from evenhand.words import say

FloatArray = NDArray[np.float64]
TextArray = NDArray[np.str_]

_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)", re.ASCII)

# Common practice, no source: cold burrs are at their working clearance after about five shots.
_WARM_AFTER_PULLS = 5.0
# Days off roast count by the logarithm of days + 1, against a week: gas leaves fast first and slowly later.
_USUAL_REST_DAYS = 7.0
# The coefficients that every pull shares, in the order of their columns.
SHARED = ("level", "setting", "dose", "beverage", "pressure", "cold", "rest")
LEVEL = 0


def parse_setting(text: str | None) -> float | None:
    """Read what the grinder shows as a number, with decimal point or comma; None where it is no single number.

    Parameters
    ----------
    text
        For example "4.6", "4,6" or "12"; "B 14" or "2 1/2" are no single number.
    """
    if text is None or not _NUMBER.fullmatch(text.strip()):
        return None
    return float(text.strip().replace(",", "."))


def find_step(settings: FloatArray) -> float | None:
    """Find the widest step of which all differences between the settings used are whole multiples.

    Parameters
    ----------
    settings
        Settings as numbers, shape (pulls,); NaN is passed over. They are read to 0.001.

    Returns
    -------
    float or None
        None where fewer than two different settings were used. The grinder's real step may be a part of it.
    """
    thousandths = np.unique(np.rint(settings[np.isfinite(settings)] * 1000).astype(int))
    if len(thousandths) < 2:
        return None
    return gcd(*(int(d) for d in np.diff(thousandths))) / 1000


def _last_place(settings: FloatArray) -> float:
    """Return the place of the last figure of a setting, 0.1 for 4.6: the best guess at a step where one was used."""
    known = settings[np.isfinite(settings)]
    for step in (1.0, 0.1, 0.01):
        if np.allclose(known / step, np.rint(known / step), atol=1e-6):
            return step
    return 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Shots:
    """Pulls on one grinder, one entry a pull; every array has the shape (pulls,).

    Attributes
    ----------
    day
        Whole days on any calendar; the level may drift from one to the next.
    nth
        How many pulls the day had seen before, for the burrs' warming; NaN where the order is not known.
    rest_days
        Days off roast; NaN where not known.
    coffee, batch
        Labels. A batch belongs to one coffee.
    setting
        What the grinder showed, as a number; NaN where it showed none.
    dose_g, beverage_g, time_s
        The pull.
    pressure_bar, water_c
        NaN where not measured: the pull then counts as at the grinder's reference.

    Raises
    ------
    DesignError
        If the arrays are not of one length, or a dose, beverage mass or time is not a positive number.
    """

    day: FloatArray
    nth: FloatArray
    rest_days: FloatArray
    coffee: TextArray
    batch: TextArray
    setting: FloatArray
    dose_g: FloatArray
    beverage_g: FloatArray
    time_s: FloatArray
    pressure_bar: FloatArray
    water_c: FloatArray

    def __post_init__(self) -> None:
        lengths = {field.name: len(getattr(self, field.name)) for field in fields(self)}
        if len(set(lengths.values())) > 1:
            raise DesignError(
                say(
                    "Every array of the shots needs one entry a pull, but their lengths are {lengths}.", lengths=lengths
                )
            )
        if not np.all(np.isfinite(self.day)):
            raise DesignError(say("Every pull needs its day."))
        for name in ("dose_g", "beverage_g", "time_s"):
            values = getattr(self, name)
            if not (np.all(np.isfinite(values)) and np.all(values > 0)):
                raise DesignError(say("Every {name} of a pull must be a number above 0.", name=name))

    def __len__(self) -> int:
        return len(self.time_s)

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> "Shots":
        """Return some of the pulls, in the order asked for."""
        return Shots(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The pull at which every shared column is 0, and the step in which settings count.

    Raises
    ------
    QuantityError
        If a quantity is not positive.
    """

    setting: float
    step: float
    dose_g: float
    beverage_g: float
    pressure_bar: float
    water_c: float

    def __post_init__(self) -> None:
        for name in ("step", "dose_g", "beverage_g", "pressure_bar", "water_c"):
            value = getattr(self, name)
            if not (isfinite(value) and value > 0):
                raise QuantityError(say("The reference {name} must be above 0, not {value:g}.", name=name, value=value))


def choose_reference(shots: Shots, step: float | None) -> Reference:
    """Choose medians as the reference, so that coefficients hardly depend on each other."""

    def median(values: FloatArray, otherwise: float) -> float:
        known = values[np.isfinite(values)]
        return float(np.median(known)) if len(known) else otherwise

    return Reference(
        setting=median(shots.setting, 0.0),
        step=(find_step(shots.setting) or _last_place(shots.setting)) if step is None else step,
        dose_g=median(shots.dose_g, 18.0),
        beverage_g=median(shots.beverage_g, 36.0),
        pressure_bar=median(shots.pressure_bar, 9.0),
        water_c=median(shots.water_c, 93.0),
    )


def shared_columns(shots: Shots, reference: Reference) -> FloatArray:
    """Build the columns of `SHARED`, shape (pulls, 7); what is not known stands at the reference."""

    def known(values: FloatArray) -> FloatArray:
        return np.where(np.isfinite(values), values, 0.0)

    with np.errstate(invalid="ignore", divide="ignore"):
        pressure = -np.log(shots.pressure_bar / reference.pressure_bar)
        rest = np.log((np.maximum(shots.rest_days, 0.0) + 1.0) / (_USUAL_REST_DAYS + 1.0))
    return np.column_stack(
        [
            np.ones(len(shots)),
            known((shots.setting - reference.setting) / reference.step),
            np.log(shots.dose_g / reference.dose_g),
            np.log(shots.beverage_g / reference.beverage_g),
            known(pressure),
            known(np.exp(-shots.nth / _WARM_AFTER_PULLS)),
            known(rest),
        ]
    )


def log_time_at_reference_water(shots: Shots, reference: Reference) -> FloatArray:
    """Take from ln time what the water's viscosity adds; shape (pulls,)."""
    return np.asarray(np.log(shots.time_s) - log_viscosity(shots.water_c, reference), dtype=float)


def log_viscosity(water_c: FloatArray, reference: Reference) -> FloatArray:
    """Return ln of the viscosity over that at the reference's water; 0 where the temperature is not known."""
    distinct, index = np.unique(np.where(np.isfinite(water_c), water_c, reference.water_c), return_inverse=True)
    base = viscosity_mpa_s(reference.water_c).value
    logs = np.log(np.array([viscosity_mpa_s(float(c)).value / base for c in distinct]))
    return np.asarray(logs[index], dtype=float)
