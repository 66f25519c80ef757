"""What comes out of planning a week: every row with its worth, tasted or not, as plain numbers and text."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekRow:
    """One thing that may be tasted this week.

    Attributes
    ----------
    name
        Which batch, lot or taster.
    kind
        A batch by its risk, a green lot by its age, or a taster's control cups.
    batch
        Label of the batch, for a row that is one; else empty.
    tasters
        Who tastes it; empty where it is left out.
    cups, minutes
        Of each of them.
    bench_minutes
        At the machine.
    worth, price
        In the currency of the costs file; of the way chosen, or of the best way where it is left out.
    why
        Why it is on the list.
    says
        What was decided, and for a row left out why.
    """

    name: str
    kind: Literal["batch", "ageing", "calibration"]
    batch: str
    tasters: tuple[str, ...]
    cups: int
    minutes: float
    bench_minutes: float
    worth: float
    price: float
    why: str
    says: str

    @property
    def net(self) -> float:
        """Worth less price."""
        return self.worth - self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class TasterWeek:
    """One taster's part in the plan, of what they have."""

    name: str
    cups: int
    minutes: float
    cups_there: int
    minutes_there: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekPlan:
    """What to taste this week.

    Attributes
    ----------
    title, read_on, invented
        Handed on from the tastings.
    planned, left_out
        Rows; the most worth first.
    tasters
        Everybody who may taste.
    worth, price
        Of the whole plan.
    bench_minutes
        At the machine.
    says
        The plan in a sentence.
    assumptions
        What the worths rest on, in sentences.
    """

    title: str
    read_on: str
    invented: bool
    planned: tuple[WeekRow, ...]
    left_out: tuple[WeekRow, ...]
    tasters: tuple[TasterWeek, ...]
    worth: float
    price: float
    bench_minutes: float
    says: str
    assumptions: tuple[str, ...]
