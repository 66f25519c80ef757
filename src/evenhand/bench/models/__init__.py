"""What the bench keeps beside the records: accounts, tables under way, and judgements at hand.

Nothing here is a record of the shop: what must never be lost or altered is written by the records' pen.
"""

from evenhand.bench.models._account import Account, Device, FailedLogIn
from evenhand.bench.models._judged import Judged, JudgingRun, SeasonRead
from evenhand.bench.models._table import Place, Seat, Slot, TablePlan

__all__ = [
    "Account",
    "Device",
    "FailedLogIn",
    "Judged",
    "JudgingRun",
    "Place",
    "SeasonRead",
    "Seat",
    "Slot",
    "TablePlan",
]
