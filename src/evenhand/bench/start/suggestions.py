"""What the first set-up suggests: a starting point that every shop overwrites with its own."""

from dataclasses import dataclass

from django.utils.translation import gettext_noop as _


@dataclass(frozen=True, slots=True)
class Suggested:
    """An attribute, with a target in each service where it is usually scored.

    Attributes
    ----------
    black, milk
        A target to begin with on a scale from 0 to 10; None where the attribute is not asked about.
    """

    name: str
    black: float | None
    milk: float | None


ATTRIBUTES = (
    Suggested(_("acidity"), 4, None),
    Suggested(_("sweetness"), 6, 6),
    Suggested(_("bitterness"), 4, 3),
    Suggested(_("body"), 6, None),
    Suggested(_("coffee strength"), None, 6),
)
TOLERANCE = 1.2
SCALE = (0.0, 10.0)

FAULTS = ("smoky", "ashy", "scorched", "baked", "green", "harsh")

RECIPE = {
    "dose_g": 18.0,
    "dose_tol_g": 0.3,
    "beverage_g": 36.0,
    "beverage_tol_g": 1.5,
    "time_s": 28.0,
    "time_tol_s": 2.0,
    "milk_drink_ml": 180.0,
}
"""A double shot at 1 to 2 and its tolerances: common practice, no source."""

COSTS = {"wrong_release": 400.0, "wrong_hold": 150.0, "one_pull": 3.0, "one_taste": 2.0, "prior_bad": 0.12}
"""Those of the demo, whose roastery is invented."""
