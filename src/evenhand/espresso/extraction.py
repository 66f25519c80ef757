"""What a pull gave, by arithmetic: ratio, flow, dissolved solids and extraction yield, each with its uncertainty.

A standard uncertainty rides on every input (see `Measured`); correlations between the inputs of one pull are taken as
nil, since scale, clock and refractometer are different instruments.
"""

from dataclasses import dataclass

from evenhand.errors import QuantityError
from evenhand.units import Measured, pct_from_share, share_from_pct
from evenhand.words import say

__all__ = ["Extraction", "extraction_dry_pct", "extraction_pct", "flow_g_per_s", "measure", "ratio", "solids_g"]

# Standard uncertainties used where a shop states none. Common practice, no source: a 0.1 g scale, a hand on a stopwatch
# and a refractometer read to 0.1 point.
SCALE_SD_G = 0.1
HAND_SD_S = 0.2
TDS_SD_PCT = 0.1


def _check_dose(dose_g: Measured) -> None:
    if dose_g.value <= 0:
        raise QuantityError(say("The dose must be more than 0 g, not {dose_g:g} g.", dose_g=dose_g.value))


def _check_beverage(beverage_g: Measured) -> None:
    if beverage_g.value <= 0:
        raise QuantityError(
            say("The beverage mass must be more than 0 g, not {beverage_g:g} g.", beverage_g=beverage_g.value)
        )


def ratio(dose_g: Measured, beverage_g: Measured) -> Measured:
    """Grams of beverage per gram of dose (a "1:2" pull has the ratio 2).

    Raises
    ------
    QuantityError
        If a mass is not positive.
    """
    _check_dose(dose_g)
    _check_beverage(beverage_g)
    return beverage_g / dose_g


def flow_g_per_s(beverage_g: Measured, time_s: Measured) -> Measured:
    """Mean flow over the whole pull, first drip and wetting included, in grams per second.

    Raises
    ------
    QuantityError
        If the mass or the time is not positive.
    """
    _check_beverage(beverage_g)
    if time_s.value <= 0:
        raise QuantityError(say("The time must be more than 0 s, not {time_s:g} s.", time_s=time_s.value))
    return beverage_g / time_s


def solids_g(beverage_g: Measured, tds_pct: Measured) -> Measured:
    """Dissolved solids in the cup, in grams, from beverage mass and total dissolved solids by mass.

    Raises
    ------
    QuantityError
        If the mass is not positive, or the reading is not between 0 and 100 %.
    """
    _check_beverage(beverage_g)
    if not 0 <= tds_pct.value <= 100:
        raise QuantityError(
            say("Dissolved solids must lie between 0 and 100 %, not {tds_pct:g} %.", tds_pct=tds_pct.value)
        )
    return beverage_g * share_from_pct(tds_pct)


def extraction_pct(dose_g: Measured, beverage_g: Measured, tds_pct: Measured) -> Measured:
    """Extraction yield as is: dissolved solids in the cup as a percentage of the dose.

    Parameters
    ----------
    dose_g, beverage_g
        Masses of ground coffee and of beverage, g.
    tds_pct
        Total dissolved solids of the beverage, % by mass.

    Raises
    ------
    QuantityError
        If a mass is not positive or the reading is not between 0 and 100 %.
    """
    _check_dose(dose_g)
    return pct_from_share(solids_g(beverage_g, tds_pct) / dose_g)


def extraction_dry_pct(dose_g: Measured, beverage_g: Measured, tds_pct: Measured, moisture_pct: Measured) -> Measured:
    """Extraction yield on dry basis: dissolved solids as a percentage of the dose less its moisture.

    Parameters
    ----------
    moisture_pct
        Moisture of the roasted coffee, % of its mass as is.

    Raises
    ------
    QuantityError
        As `extraction_pct`, or if the moisture is not between 0 and 100 %.
    """
    if not 0 <= moisture_pct.value < 100:
        raise QuantityError(
            say("Roast moisture must lie between 0 and 100 %, not {moisture_pct:g} %.", moisture_pct=moisture_pct.value)
        )
    dry_share = Measured(1.0) - share_from_pct(moisture_pct)
    return extraction_pct(dose_g, beverage_g, tds_pct) / dry_share


@dataclass(frozen=True, slots=True)
class Extraction:
    """All that arithmetic says of one pull; None where dissolved solids or moisture were not measured."""

    ratio: Measured
    flow_g_per_s: Measured
    solids_g: Measured | None
    extraction_pct: Measured | None
    extraction_dry_pct: Measured | None


def measure(
    dose_g: float,
    beverage_g: float,
    time_s: float,
    tds_pct: float | None = None,
    moisture_pct: float | None = None,
    *,
    scale_sd_g: float = SCALE_SD_G,
    hand_sd_s: float = HAND_SD_S,
    tds_sd_pct: float = TDS_SD_PCT,
    moisture_sd_pct: float = 0.0,
) -> Extraction:
    """Work out one pull from the numbers as they were written down.

    Parameters
    ----------
    dose_g, beverage_g, time_s
        The pull: grams in, grams out, seconds.
    tds_pct, moisture_pct
        Dissolved solids of the beverage and moisture of the roast, %; None where not measured.
    scale_sd_g, hand_sd_s, tds_sd_pct, moisture_sd_pct
        Standard uncertainties of the instruments.

    Raises
    ------
    QuantityError
        If a number cannot be what it is said to be.
    """
    dose = Measured(dose_g, scale_sd_g)
    beverage = Measured(beverage_g, scale_sd_g)
    time = Measured(time_s, hand_sd_s)
    tds = None if tds_pct is None else Measured(tds_pct, tds_sd_pct)
    dry = None
    if tds is not None and moisture_pct is not None:
        dry = extraction_dry_pct(dose, beverage, tds, Measured(moisture_pct, moisture_sd_pct))
    return Extraction(
        ratio=ratio(dose, beverage),
        flow_g_per_s=flow_g_per_s(beverage, time),
        solids_g=None if tds is None else solids_g(beverage, tds),
        extraction_pct=None if tds is None else extraction_pct(dose, beverage, tds),
        extraction_dry_pct=dry,
    )
