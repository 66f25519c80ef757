"""Mass loss of a roast on dry basis: what the roast took, without the water that the green brought along."""

from evenhand.errors import QuantityError
from evenhand.units import Measured, half_width_to_sd, pct_from_share, share_from_pct
from evenhand.words import say

# Moisture where nobody measured it. Green: anywhere in 8 to 12.5 %, the range of ICO Resolution 420 (2004; from
# memory). Roasted: common practice, no source.
_GREEN_UNMEASURED_PCT = Measured(10.25, half_width_to_sd(2.25))
_ROASTED_UNMEASURED_PCT = Measured(2.0, 0.7)


def dry_loss_pct(
    green_in_kg: float,
    roasted_out_kg: float,
    green_moisture_pct: float | None,
    roasted_moisture_pct: float | None,
    *,
    scale_sd_kg: float = 0.01,
    green_moisture_sd_pct: float = 0.3,
    roasted_moisture_sd_pct: float = 0.3,
) -> Measured:
    """Share of the green's dry mass that the roast lost, in percent, with its standard uncertainty.

    Parameters
    ----------
    green_in_kg, roasted_out_kg
        Masses as weighed.
    green_moisture_pct, roasted_moisture_pct
        Moisture, percent of the mass as weighed. Where None, 10.25 ± 1.3 % green and 2.0 ± 0.7 % roasted are taken, and
        the uncertainty says so.
    scale_sd_kg, green_moisture_sd_pct, roasted_moisture_sd_pct
        Standard uncertainties (common practice, no source). To compare batches of one shop, give what differs from
        batch to batch; a meter that always reads high moves all batches alike.

    Raises
    ------
    QuantityError
        If a mass is not positive, more came out than went in, or a moisture is not at least 0 and below 100 %.

    Notes
    -----
    100 (1 - out (1 - roasted moisture) / (in (1 - green moisture))), uncertainty to first order (GUM 5.1.2).
    """
    if not (green_in_kg > 0 and roasted_out_kg > 0):
        raise QuantityError(
            say(
                "Green in and roasted out must be more than 0 kg, not {green:g} and {roasted:g}.",
                green=green_in_kg,
                roasted=roasted_out_kg,
            )
        )
    if roasted_out_kg > green_in_kg:
        raise QuantityError(
            say(
                "{roasted:g} kg came out of {green:g} kg of green; were the two exchanged?",
                roasted=roasted_out_kg,
                green=green_in_kg,
            )
        )
    green = _moisture(green_moisture_pct, green_moisture_sd_pct, _GREEN_UNMEASURED_PCT, say("Green moisture"))
    roasted = _moisture(roasted_moisture_pct, roasted_moisture_sd_pct, _ROASTED_UNMEASURED_PCT, say("Roasted moisture"))
    one = Measured(1.0)
    dry_out = Measured(roasted_out_kg, scale_sd_kg) * (one - share_from_pct(roasted))
    dry_in = Measured(green_in_kg, scale_sd_kg) * (one - share_from_pct(green))
    return pct_from_share(one - dry_out / dry_in)


def _moisture(pct: float | None, sd_pct: float, unmeasured: Measured, what: str) -> Measured:
    if pct is None:
        return unmeasured
    if not 0 <= pct < 100:
        raise QuantityError(say("{what} must be at least 0 and below 100 %, not {pct:g} %.", what=what, pct=pct))
    return Measured(pct, sd_pct)
