"""Ageing of the green: what months and storage do to the cup, when to taste again, and stock against that month.

It is a prompt to taste, never an expiry: no source supports one. This module is the door; the parts are beside it:

- ``_ageing_isotherm``: moisture, its method, and water activity by the GAB isotherm
- ``_ageing_storage``: spells of storage, turned into reference months
- ``_ageing_model``: lines of lots that borrow from each other
- ``_ageing_together``: how large changes are at all, learned from all lines of a shop
- ``_ageing_leaving``: the month in which an attribute is likely to leave its tolerance
- ``_ageing_stock``: bags, sales and that month
"""

from evenhand.season._ageing_isotherm import (
    GREEN_ISOTHERM,
    Isotherm,
    Moisture,
    MoistureMethod,
    fit_isotherm,
)
from evenhand.season._ageing_leaving import Leaving
from evenhand.season._ageing_model import Ageing, learn_ageing, tasted_levels
from evenhand.season._ageing_stock import StockAdvice, stock_against_life
from evenhand.season._ageing_storage import (
    REFERENCE_TEMPERATURE_C,
    REFERENCE_WATER_ACTIVITY,
    History,
    Spell,
)
from evenhand.season._ageing_together import CHANGE_SCALES, TastedLots, learn_ageing_together

__all__ = [
    "CHANGE_SCALES",
    "GREEN_ISOTHERM",
    "REFERENCE_TEMPERATURE_C",
    "REFERENCE_WATER_ACTIVITY",
    "Ageing",
    "History",
    "Isotherm",
    "Leaving",
    "Moisture",
    "MoistureMethod",
    "Spell",
    "StockAdvice",
    "TastedLots",
    "fit_isotherm",
    "learn_ageing",
    "learn_ageing_together",
    "stock_against_life",
    "tasted_levels",
]
