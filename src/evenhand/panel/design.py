"""A table's design: blind codes, serving orders, sets for difference tests, and what it asks of the tasters.

This module is the door; each part has its own file beside it: ``_design_codes``, ``_design_orders``,
``_design_palate``.
"""

from evenhand.panel._design_codes import MOST_CODES, are_alike, blind_codes, is_blind_code
from evenhand.panel._design_orders import (
    OrderBalance,
    ServingPlan,
    discrimination_sets,
    order_balance,
    serving_orders,
    williams,
)
from evenhand.panel._design_palate import (
    BEDTIME_DOSE_MG,
    DAY_MG,
    DAY_PREGNANT_OR_NURSING_MG,
    PALATE_CUPS,
    SINGLE_DOSE_MG,
    LoadFlag,
    TasterLoad,
    most_cups,
    split_into_flights,
    taster_load,
)

__all__ = [
    "BEDTIME_DOSE_MG",
    "DAY_MG",
    "DAY_PREGNANT_OR_NURSING_MG",
    "MOST_CODES",
    "PALATE_CUPS",
    "SINGLE_DOSE_MG",
    "LoadFlag",
    "OrderBalance",
    "ServingPlan",
    "TasterLoad",
    "are_alike",
    "blind_codes",
    "discrimination_sets",
    "is_blind_code",
    "most_cups",
    "order_balance",
    "serving_orders",
    "split_into_flights",
    "taster_load",
    "williams",
]
