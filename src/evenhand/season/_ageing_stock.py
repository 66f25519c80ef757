"""Stock against life: whether the bags are sold before the cup is likely to leave its tolerance, and what to do."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.season._ageing_leaving import Leaving
from evenhand.units import Measured
from evenhand.words import Words, join, say

Array = NDArray[np.float64]

_QUANTILE_NODES: Final = (np.arange(15) + 0.5) / 15
_SOON: Final = 0.5  # months
_MANY: Final = 9.95  # from so many bags on a tenth of one is not told


@dataclass(frozen=True, slots=True)
class StockAdvice:
    """What to do about a lot's stock.

    Attributes
    ----------
    action
        "carry on", "taste sooner", or "sell faster or move to a blend".
    attribute
        The attribute that is likely to leave first.
    months_of_sales
        How long the bags last at the present rate.
    months_of_life
        Months from today until that attribute has left with a chance of one half; None beyond the horizon.
    taste_in_months
        Months from today by which to taste: when the chance of having left reaches the lower threshold.
    p_left_before_sold
        Chance that the attribute leaves before the last bag is sold, the uncertainty of sales included.
    bags_beyond
        Bags expected to be sold after it has left.
    bags_a_month_needed
        Sales at which the bags are gone within `months_of_life`; None where there is none or it is over.
    bags_to_blend
        Bags that the present sales leave at `months_of_life`; 0 if none.
    says
        The same in sentences.
    """

    action: str
    attribute: str
    months_of_sales: float
    months_of_life: float | None
    taste_in_months: float | None
    p_left_before_sold: float
    bags_beyond: float
    bags_a_month_needed: float | None
    bags_to_blend: float
    says: str


def stock_against_life(
    bags: float,
    bags_a_month: Measured,
    leavings: Sequence[Leaving],
    *,
    taste_above: float = 0.1,
    act_above: float = 0.5,
    unit: str = say("bags"),
) -> StockAdvice:
    """Set a lot's stock against the month in which its first attribute is likely to leave tolerance.

    Parameters
    ----------
    bags
        Bags left, above 0.
    bags_a_month
        Sales with their uncertainty, above 0.
    leavings
        Of one lot's attributes, all of one day.
    taste_above, act_above
        Chances of leaving before the last bag is sold from which to taste sooner, and to sell faster or blend (common
        practice, no source).
    unit
        What `bags` and `bags_a_month` count, as words for the sentences.

    Returns
    -------
    StockAdvice
        Judged by the attribute with the largest chance of leaving before the bags are sold. The chance that any of them
        leaves is larger still, by how much the attributes' lines are not tied.

    Raises
    ------
    DesignError
        If there is no attribute, they are not of one day, or the thresholds are out of order.
    QuantityError
        If bags or sales are not above 0.
    """
    from scipy.special import ndtri

    if not leavings:
        raise DesignError(say("There is no attribute to set the stock against; give at least one."))
    now = leavings[0].now_months
    if any(abs(one.now_months - now) > 1e-9 for one in leavings):
        raise DesignError(say("The attributes' forecasts are of different days; make them all as of today."))
    if not (bags > 0 and bags_a_month.value > 0):
        raise QuantityError(say("Bags left and bags sold a month must be more than 0."))
    if not 0 < taste_above <= act_above < 1:
        raise DesignError(
            say("The thresholds must lie between 0 and 1, the one for tasting not above the one for acting.")
        )
    # Sales as a lognormal of the same mean and spread, in fifteen equal parts: never 0 or below.
    width = float(np.sqrt(np.log1p((bags_a_month.sd / bags_a_month.value) ** 2)))
    rates = bags_a_month.value * np.exp(width * ndtri(_QUANTILE_NODES) - 0.5 * width**2)
    chances = [float(np.mean([one.chance_by(now + bags / rate) for rate in rates])) for one in leavings]
    first = leavings[int(np.argmax(chances))]
    chance = max(chances)
    months_of_sales = bags / bags_a_month.value
    life = None if first.likely_months is None else first.likely_months - now
    taste_in = _reached(first, taste_above)
    beyond = float(np.mean([_bags_beyond(first, bags, rate) for rate in rates]))
    spare = 0.0 if life is None else max(bags - bags_a_month.value * life, 0.0)
    if chance >= act_above:
        action = "sell faster or move to a blend"
    elif chance >= taste_above:
        action = "taste sooner"
    else:
        action = "carry on"
    needed = bags / life if life is not None and life > 0 else None
    said = _sentence(
        action, first, bags, bags_a_month.value, months_of_sales, life, taste_in, chance, needed, spare, unit
    )
    return StockAdvice(action, first.attribute, months_of_sales, life, taste_in, chance, beyond, needed, spare, said)


def _reached(one: Leaving, chance: float) -> float | None:
    if one.p_left[-1] < chance:
        return None
    return float(one.months[int(np.argmax(one.p_left >= chance))] - one.now_months)


def _bags_beyond(one: Leaving, bags: float, rate: float) -> float:
    """Bags sold after the attribute has left, on average: the chance of having left, summed over the sales."""
    ends = bags / rate
    steps = np.linspace(0.0, ends, 200)
    return float(rate * np.trapezoid(np.interp(one.now_months + steps, one.months, one.p_left), steps))


def _sentence(
    action: str,
    first: Leaving,
    bags: float,
    rate: float,
    months_of_sales: float,
    life: float | None,
    taste_in: float | None,
    chance: float,
    needed: float | None,
    spare: float,
    unit: str,
) -> Words:
    if life is None:
        lives = say("more than {months:.0f} months of life", months=first.months[-1] - first.now_months)
    else:
        lives = say("about {months:.1f} months of life", months=life)
    parts = [
        say(
            "{amount} {unit} left, {months:.1f} months of sales, {life} ({attribute}).",
            amount=_amount(bags),
            unit=unit,
            months=months_of_sales,
            life=lives,
            attribute=first.attribute,
        )
    ]
    if first.toward == "below":
        parts.append(
            say("With a chance of {chance:.0f} % it is below tolerance before the last is sold.", chance=100 * chance)
        )
    else:
        parts.append(
            say("With a chance of {chance:.0f} % it is above tolerance before the last is sold.", chance=100 * chance)
        )
    if action == "carry on":
        parts.append(say("Carry on."))
        if taste_in:
            parts.append(say("Taste it within {months:.0f} months.", months=taste_in))
    elif taste_in is None:
        parts.append(say("Taste it."))
    elif taste_in < _SOON:
        parts.append(say("Taste it now."))
    else:
        parts.append(say("Taste it within {months:.1f} months.", months=taste_in))
    if action == "sell faster or move to a blend":
        if needed is None:
            parts.append(say("If it is as feared: move the stock to a blend."))
        elif needed > rate:
            parts.append(
                say(
                    "If it is as feared: sell {needed} {unit} a month instead of {rate}, or move about {spare} {unit} "
                    "to a blend.",
                    needed=_amount(needed),
                    unit=unit,
                    rate=_amount(rate),
                    spare=_amount(spare),
                )
            )
    parts.append(say("A tasting decides; this is no expiry."))
    return join(parts, " ")


def _amount(number: float) -> Words:
    """Write a number of bags: to a tenth where there are few."""
    is_whole = number >= _MANY or number == round(number)
    return say("{number:.0f}", number=float(number)) if is_whole else say("{number:.1f}", number=float(number))
