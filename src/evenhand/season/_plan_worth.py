"""What a check is worth in money: how much better one decides once it is known what the check showed.

It serves for everything that can have gone wrong unseen: a green lot that has aged, a taster who has drifted.
"""

from math import isfinite

import numpy as np

from evenhand.errors import QuantityError
from evenhand.panel.assessors import Drift


def worth_of_check(
    p_bad: float, cost_missed: float, cost_needless: float, *, hears: float = 1.0, false_alarm: float = 0.0
) -> float:
    """Worth of a check that may show a fault: the expected cost without it less that with it.

    Parameters
    ----------
    p_bad
        Chance that something is wrong: that a lot has left its tolerance, that a taster has drifted.
    cost_missed
        Cost of going on when it is.
    cost_needless
        Cost of acting (blending the lot, setting the taster's scores aside) when it is not.
    hears
        Chance that the check shows it when it is.
    false_alarm
        Chance that the check shows it when it is not.

    Returns
    -------
    float
        In the currency of the costs, never below 0.

    Raises
    ------
    QuantityError
        If a chance does not lie between 0 and 1 or a cost is negative.

    Notes
    -----
    With two states, two outcomes and two choices this is the expected value of sample information (Raiffa and Schlaifer
    (1961), Applied Statistical Decision Theory, Harvard).
    """
    for name, value in (("p_bad", p_bad), ("hears", hears), ("false_alarm", false_alarm)):
        if not 0 <= value <= 1:
            raise QuantityError(f"{name} must lie between 0 and 1, not {value}.")
    for name, value in (("cost_missed", cost_missed), ("cost_needless", cost_needless)):
        if not (isfinite(value) and value >= 0):
            raise QuantityError(f"{name} must be 0 or more, not {value}.")
    without = min(p_bad * cost_missed, (1.0 - p_bad) * cost_needless)
    shown = min(p_bad * hears * cost_missed, (1.0 - p_bad) * false_alarm * cost_needless)
    silent = min(p_bad * (1.0 - hears) * cost_missed, (1.0 - p_bad) * (1.0 - false_alarm) * cost_needless)
    return max(without - shown - silent, 0.0)


def chance_drifted(since: float, limit: float, *, wander_sd: float, drift: Drift | None = None) -> float:
    """Chance that a taster's level has moved by more than a limit since the last control cups.

    Parameters
    ----------
    since
        Time since then, in the unit that `drift` was measured in (weeks, sessions).
    limit
        The move that matters, points.
    wander_sd
        How far a taster's level wanders in one unit of time, one standard deviation, points; above 0.
    drift
        The taster's trend, from `evenhand.panel.assessors.assess`, where there is one.

    Returns
    -------
    float
        Two-sided chance: the wandering adds as the root of time, the trend and its standard error as time.

    Raises
    ------
    QuantityError
        If the time is negative or the limit or wandering is not above 0.
    """
    from scipy.special import ndtr

    if not (isfinite(since) and since >= 0 and limit > 0 and wander_sd > 0):
        raise QuantityError("The time must be 0 or more, and the limit and the wandering more than 0.")
    if since == 0:
        return 0.0
    slope, slope_se = (0.0, 0.0) if drift is None else (drift.slope, drift.slope_se)
    mean, sd = slope * since, float(np.sqrt(wander_sd**2 * since + (slope_se * since) ** 2))
    return float(ndtr((-limit - mean) / sd) + ndtr((mean - limit) / sd))
