"""What water and its steam hold in heat, from a short table: all that is needed to heat milk with a steam wand."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import QuantityError

STANDARD_AMBIENT_BAR: Final = 1.01325
"""Pressure of the air at sea level, bar; a gauge reads what is above it."""

# Saturation line of water. Columns: temperature °C, pressure bar (absolute), enthalpy of the liquid and of the dry
# steam, kJ/kg. Source: steam tables after the IAPWS formulation of 1995 (W. Wagner and A. Pruß, J. Phys. Chem. Ref.
# Data 31 (2002) 387-535). A test compares them with an independent implementation.
_SATURATION: Final[NDArray[np.float64]] = np.array(
    [
        (90, 0.70182, 377.04, 2659.53),
        (95, 0.84608, 398.09, 2667.61),
        (100, 1.01418, 419.17, 2675.57),
        (105, 1.20903, 440.27, 2683.39),
        (110, 1.43379, 461.42, 2691.06),
        (115, 1.69182, 482.59, 2698.58),
        (120, 1.98674, 503.81, 2705.93),
        (125, 2.32238, 525.07, 2713.10),
        (130, 2.70280, 546.38, 2720.08),
        (135, 3.13229, 567.74, 2726.87),
        (140, 3.61539, 589.16, 2733.44),
        (145, 4.15685, 610.64, 2739.80),
        (150, 4.76165, 632.18, 2745.93),
    ]
)
# Liquid water on the same line; at kitchen pressures its enthalpy differs by less than 0.1 kJ/kg.
_LIQUID_C: Final[NDArray[np.float64]] = np.arange(0.0, 101.0, 10.0)
_LIQUID_KJ_PER_KG: Final[NDArray[np.float64]] = np.array(
    [0.00, 42.02, 83.91, 125.73, 167.53, 209.34, 251.18, 293.07, 335.01, 377.04, 419.17]
)
_KELVIN: Final = 273.15


def saturation_c(pressure_bar: float) -> float:
    """Temperature of saturated steam, °C, at an absolute pressure in bar.

    Raises
    ------
    QuantityError
        If the pressure lies outside the table, 0.70 to 4.76 bar.

    Notes
    -----
    1/T (in kelvin) is nearly straight in the logarithm of the pressure (Clausius and Clapeyron), so the table is read
    on that scale; the reading is good to 0.01 °C.
    """
    pressures = _SATURATION[:, 1]
    if not pressures[0] <= pressure_bar <= pressures[-1]:
        raise QuantityError(
            f"Steam must be at {pressures[0]:.2f} to {pressures[-1]:.2f} bar absolute, not {pressure_bar:g} bar; "
            "a gauge shows about 1 bar less than that."
        )
    inverse = 1.0 / (_SATURATION[:, 0] + _KELVIN)
    return float(1.0 / np.interp(np.log(pressure_bar), np.log(pressures), inverse) - _KELVIN)


def steam_j_per_g(pressure_bar: float, quality: float) -> float:
    """Enthalpy of wet or dry saturated steam, J/g, counted from liquid water at 0 °C.

    Parameters
    ----------
    pressure_bar
        Absolute pressure, bar.
    quality
        Share of the mass that is vapour; 1 is dry.
    """
    at_c = saturation_c(pressure_bar)
    liquid = float(np.interp(at_c, _SATURATION[:, 0], _SATURATION[:, 2]))
    vapour = float(np.interp(at_c, _SATURATION[:, 0], _SATURATION[:, 3]))
    return liquid + quality * (vapour - liquid)


def water_j_per_g(water_c: float) -> float:
    """Enthalpy of liquid water, J/g, counted from 0 °C."""
    return float(np.interp(water_c, _LIQUID_C, _LIQUID_KJ_PER_KG))
