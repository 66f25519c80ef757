"""Strength and extraction of a pull from its dose, beverage mass, time and water: two pools washed by a plug of water.

A fast pool (the broken surface of the grounds) and a slow one (their kernels) give solubles to the water that passes;
see docs/explanation/extraction-kinetics.md. The shape comes from stated priors; the level comes from the shop's own
shots, since one shot fixes one number (`fit_kinetics`). What a small change does to the cup is in `list_sensitivities`.
"""

from dataclasses import dataclass
from math import isfinite, sqrt

import numpy as np

from evenhand.errors import QuantityError
from evenhand.espresso._kinetics_fit import (
    Finding,
    KineticsFit,
    Shot,
    believe_kinetics,
    fit_kinetics,
)
from evenhand.espresso._kinetics_model import Brew, extraction_pct, filling_s, stream_pct, strength_pct
from evenhand.espresso._kinetics_priors import PRIORS, REFERENCE_WATER_C, Kinetics, Prior
from evenhand.espresso._kinetics_sensitivity import (
    Sensitivity,
    list_sensitivities,
    predict_extraction,
    predict_strength,
)
from evenhand.units import Measured

__all__ = [
    "DRIP_WINDOW_PCT",
    "PRIORS",
    "REFERENCE_WATER_C",
    "Brew",
    "DripWindow",
    "Finding",
    "Kinetics",
    "KineticsFit",
    "Prior",
    "Sensitivity",
    "Shot",
    "believe_kinetics",
    "extraction_pct",
    "filling_s",
    "fit_kinetics",
    "list_sensitivities",
    "place_in_drip_window",
    "predict_extraction",
    "predict_strength",
    "stream_pct",
    "strength_pct",
]

# From memory: E. E. Lockhart (1957), The soluble solids in beverage coffee as an index to cup quality. Found for drip
# coffee at 1.15 to 1.35 % strength; nothing in it speaks of espresso.
DRIP_WINDOW_PCT = (18.0, 22.0)
# Common practice, no source: the window's edges are no sharper than this.
_EDGE_SD_PCT = 1.0


@dataclass(frozen=True, slots=True)
class DripWindow:
    """Where an extraction lies beside the drip window: a soft band, never a pass mark.

    `inside` is between 0 and 1 and changes smoothly across the edges; `sentence` says it in words.
    """

    inside: float
    sentence: str


def place_in_drip_window(extraction: Measured) -> DripWindow:
    """Say where an extraction yield (%, as is) lies beside the window found for drip coffee.

    Raises
    ------
    QuantityError
        If the extraction is not between 0 and 100 %.
    """
    value = extraction.value
    if not (isfinite(value) and 0 <= value <= 100):
        raise QuantityError(f"An extraction yield must lie between 0 and 100 %, not {value:g} %.")
    from scipy.special import ndtr

    low, high = DRIP_WINDOW_PCT
    sd = sqrt(extraction.sd**2 + _EDGE_SD_PCT**2)
    inside = float(np.clip(ndtr((high - value) / sd) - ndtr((low - value) / sd), 0, 1))
    if low <= value <= high:
        where = f"inside the {low:g} to {high:g} % window known from drip coffee"
    else:
        edge, word = (low, "below") if value < low else (high, "above")
        where = f"{abs(value - edge):.1f} points {word} the {low:g} to {high:g} % window known from drip coffee"
    sentence = (
        f"Extraction {value:.1f} % (± {extraction.sd:.1f}) lies {where}: a habit of drip, no verdict on espresso."
    )
    return DripWindow(inside, sentence)
