"""What an advice for the next pull holds: plain frozen dataclasses."""

from dataclasses import dataclass
from typing import Literal

from evenhand.espresso._evenness import Evenness
from evenhand.espresso.recipe import HouseRecipe
from evenhand.units import Measured

# Surer than this of the direction, a move is called finer or coarser; below, it is called a trial. Common practice, no
# source.
SURE_OF_DIRECTION = 0.9

What = Literal["leave", "grind", "dose", "stop", "trial", "grind by eye"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One way to pull the next shot, and what to expect of it.

    Attributes
    ----------
    setting
        What the grinder shows, or None where it shows no number.
    moved
        Steps from the setting as it stands, in the grinder's own numbers.
    dose_g, beverage_g
        Dose and stop mass.
    time_s
        Expected time and its standard uncertainty, scatter of one pull included.
    p_inside
        Probability that the time lies inside the recipe's tolerance.
    """

    setting: float | None
    moved: int
    dose_g: float
    beverage_g: float
    time_s: Measured
    p_inside: float


@dataclass(frozen=True, slots=True)
class Habit:
    """A quantity in which the latest pulls were off the recipe on the whole: its mean distance in g, over `pulls`."""

    quantity: Literal["dose", "beverage"]
    off_g: float
    pulls: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to change for the next pull of a coffee.

    Attributes
    ----------
    change
        "leave"; "grind", alone or with a dose or stop mass; "dose", alone or with a stop mass; "stop"; "trial": one
        step whose direction is not known; "grind by eye": the grinder shows no number.
    now, then
        What to expect as things stand, and after the change (the same when nothing is changed).
    options
        The settings looked at, at the recipe's dose and stop mass; empty where the grinder shows no number.
    p_higher_is_finer
        Probability that a higher number runs slower.
    step, step_s
        The grinder's step in its numbers, and the seconds that one step moves the time here.
    too_coarse
        Whether one step surely moves the time by more than the whole width of the tolerance.
    size
        Grain size that would bring the expected time home, as new over old.
    evenness
        What the shop's extraction and scatter say of the flow.
    scatter_s, pulls
        Standard deviation between like pulls, and how many pulls taught it.
    habits
        What to weigh better first; all expectations are for the recipe's dose and mass.
    beyond_seen
        Whether the proposed setting lies outside those this shop has pulled.
    """

    coffee: str
    batch: str
    recipe: HouseRecipe
    change: What
    now: Option
    then: Option
    options: tuple[Option, ...]
    p_higher_is_finer: float
    step: float
    step_s: float
    too_coarse: bool
    size: Measured
    evenness: Evenness
    scatter_s: float
    pulls: int
    habits: tuple[Habit, ...]
    beyond_seen: bool

    @property
    def knows_direction(self) -> bool:
        """Whether the pulls say which way the numbers run."""
        return max(self.p_higher_is_finer, 1 - self.p_higher_is_finer) >= SURE_OF_DIRECTION

    def finer_by(self, option: Option) -> int:
        """Steps by which an option is finer than now, taking the likelier direction; negative is coarser."""
        return option.moved if self.p_higher_is_finer >= 0.5 else -option.moved

    def is_inside(self, option: Option) -> bool:
        """Whether the expected time of an option lies inside the tolerance."""
        return abs(option.time_s.value - self.recipe.time_s) <= self.recipe.time_tol_s
