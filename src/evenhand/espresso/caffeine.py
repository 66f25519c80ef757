"""How much caffeine a pull offers, as a caution for the people who taste.

The figure is a ceiling for one pull shared out, not a measurement: beans differ by a factor of two and more.
"""

from evenhand.errors import QuantityError
from evenhand.words import say

__all__ = [
    "CAFFEINE_EXTRACTED_SHARE",
    "CAFFEINE_MG_PER_G_ROAST",
    "EFSA_DAY_MG",
    "EFSA_PREGNANCY_DAY_MG",
    "EFSA_SINGLE_DOSE_MG",
    "pull_caffeine_mg",
]

# From memory: roasted arabica holds about 1.2 % caffeine by mass, robusta about twice that.
CAFFEINE_MG_PER_G_ROAST = 12.0
# From memory: an espresso carries about four fifths of it into the cup.
CAFFEINE_EXTRACTED_SHARE = 0.8

# EFSA Panel on Dietetic Products, Nutrition and Allergies (2015), Scientific opinion on the safety of caffeine,
# EFSA Journal 13(5):4102: no safety concern for healthy adults up to these; 200 mg a day in pregnancy.
EFSA_SINGLE_DOSE_MG = 200.0
EFSA_DAY_MG = 400.0
EFSA_PREGNANCY_DAY_MG = 200.0


def pull_caffeine_mg(dose_g: float) -> float:
    """Caffeine in the cup of one pull, in milligrams, for a dose in grams.

    Raises
    ------
    QuantityError
        If the dose is not positive.
    """
    if not dose_g > 0:
        raise QuantityError(say("The dose must be more than 0 g, not {dose_g:g} g.", dose_g=dose_g))
    return dose_g * CAFFEINE_MG_PER_G_ROAST * CAFFEINE_EXTRACTED_SHARE
