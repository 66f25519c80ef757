"""The records of the shop, as tables of a database; every one of them is written by `evenhand.records.audit.Pen`."""

from evenhand.records.models._coffee import (
    Attribute,
    Coffee,
    CoffeeVersion,
    CostsVersion,
    Fault,
    Person,
    Recipe,
    RecipeVersion,
    Shop,
    Target,
    Word,
)
from evenhand.records.models._green import GreenLot, GreenReading, GreenStorage, LotProducer, LotVariety
from evenhand.records.models._history import Entry
from evenhand.records.models._kept import Kept
from evenhand.records.models._tasting import (
    Batch,
    BatchLot,
    Cup,
    FaultAnswer,
    Pull,
    Score,
    Serving,
    Sheet,
    Table,
)
from evenhand.records.models._verdict import Verdict, Withdrawal

__all__ = [
    "Attribute",
    "Batch",
    "BatchLot",
    "Coffee",
    "CoffeeVersion",
    "CostsVersion",
    "Cup",
    "Entry",
    "Fault",
    "FaultAnswer",
    "GreenLot",
    "GreenReading",
    "GreenStorage",
    "Kept",
    "LotProducer",
    "LotVariety",
    "Person",
    "Pull",
    "Recipe",
    "RecipeVersion",
    "Score",
    "Serving",
    "Sheet",
    "Shop",
    "Table",
    "Target",
    "Verdict",
    "Withdrawal",
    "Word",
]
