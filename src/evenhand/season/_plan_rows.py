"""What may be tasted, who may taste, and what was chosen: the words of a tasting plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite
from typing import Final

from evenhand.errors import QuantityError
from evenhand.words import Words, say


class Kind(StrEnum):
    """Why a row is on the list."""

    BATCH = "batch"
    AGEING = "ageing"
    CALIBRATION = "calibration"


KIND_WORD: Final[Mapping[Kind, Words]] = {
    Kind.BATCH: say("batch"),
    Kind.AGEING: say("ageing"),
    Kind.CALIBRATION: say("calibration"),
}
"""The same as it stands in a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of tasting a row: with so many tasters, each so many cups.

    Attributes
    ----------
    tasters
        How many taste it.
    worth
        What it is worth, in money: from `evenhand.verdict.worth` for a batch, `worth_of_check` for the rest.
    price
        What it costs: coffee, milk, and the time of tasters and machine where it is paid for.
    cups
        Cups each taster drinks.
    minutes
        Minutes of each taster.
    bench_minutes
        Minutes at the machine.

    Raises
    ------
    QuantityError
        If there is no taster, or anything is negative or not finite.
    """

    tasters: int
    worth: float
    price: float = 0.0
    cups: int = 1
    minutes: float = 5.0
    bench_minutes: float = 0.0

    def __post_init__(self) -> None:
        if int(self.tasters) != self.tasters or self.tasters < 1:
            raise QuantityError(say("A tasting needs at least one taster, not {number}.", number=self.tasters))
        for name in ("worth", "price", "cups", "minutes", "bench_minutes"):
            value = getattr(self, name)
            if not (isfinite(value) and value >= 0):
                raise QuantityError(
                    say("The {name} of a tasting must be 0 or more, not {value}.", name=name, value=value)
                )

    @property
    def net(self) -> float:
        """Worth less price."""
        return self.worth - self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A thing that may be tasted this week, with the ways of doing it, of which at most one is taken.

    Attributes
    ----------
    name
        Which batch, lot or taster; names are unique in a plan.
    kind
        Why it is on the list.
    ways
        At least one.
    who
        Tasters who may do it; None for anyone. The row of a taster's control cups names that taster alone.
    must
        Whether it is tasted whatever it is worth.

    Raises
    ------
    QuantityError
        If there is no way of tasting it.
    """

    name: str
    kind: Kind
    ways: tuple[Way, ...]
    who: frozenset[str] | None = None
    must: bool = False

    def __post_init__(self) -> None:
        if not self.ways:
            raise QuantityError(say("There is no way given of tasting {row}; give one or more.", row=self.name))


@dataclass(frozen=True, slots=True, kw_only=True)
class Palate:
    """One taster's week: the cups they can taste well, and their minutes.

    Raises
    ------
    QuantityError
        If a number is negative or not finite.
    """

    name: str
    cups: int
    minutes: float

    def __post_init__(self) -> None:
        for name in ("cups", "minutes"):
            value = getattr(self, name)
            if not (isfinite(value) and value >= 0):
                raise QuantityError(
                    say("The {name} of {who} must be 0 or more, not {value}.", name=name, who=self.name, value=value)
                )


@dataclass(frozen=True, slots=True)
class Planned:
    """A row that is tasted: how, and by whom."""

    row: Row
    way: Way
    tasters: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A row that is not tasted.

    Attributes
    ----------
    row
        The row.
    way
        The way that would be best for its worth less its price.
    cost_of_taking
        By how much the plan would be worth less with the row forced in; None where it cannot be, or was not weighed.
    says
        Why, in a sentence.
    """

    row: Row
    way: Way
    cost_of_taking: float | None
    says: str


@dataclass(frozen=True, slots=True)
class TastingPlan:
    """What to taste this week.

    Attributes
    ----------
    planned, left_out
        Rows that are tasted, the most worth first, and those that are not.
    worth, price, net
        Of the whole plan.
    cups, minutes
        Of each taster who has a part in it.
    bench_minutes
        At the machine.
    says
        The plan in a sentence.
    """

    planned: tuple[Planned, ...]
    left_out: tuple[LeftOut, ...]
    worth: float
    price: float
    net: float
    cups: dict[str, int]
    minutes: dict[str, float]
    bench_minutes: float
    says: str
