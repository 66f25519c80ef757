"""What each choice is expected to cost, given how likely the batch is good."""

from dataclasses import dataclass
from math import expm1, isfinite, log1p

from evenhand.errors import QuantityError
from evenhand.words import say

__all__ = ["Costs", "expected_hold", "expected_release"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """The shop's own stakes, in any one currency, and the share of its batches that are out of tolerance.

    Raises
    ------
    QuantityError
        If a cost is negative or not finite, or `prior_bad` does not lie between 0 and 1.
    """

    wrong_release: float
    wrong_hold: float
    one_pull: float
    one_taste: float
    prior_bad: float

    def __post_init__(self) -> None:
        for name in ("wrong_release", "wrong_hold", "one_pull", "one_taste"):
            value = getattr(self, name)
            if not (isfinite(value) and value >= 0):
                raise QuantityError(say("The cost {name} must be 0 or more, not {value}.", name=name, value=value))
        if not 0 < self.prior_bad < 1:
            raise QuantityError(say("prior_bad must lie between 0 and 1, not {share}.", share=self.prior_bad))

    @property
    def bad_by_half(self) -> float:
        """Share bad by the profile alone, or by faults alone, when each spoils an equal share of the good."""
        return -expm1(0.5 * log1p(-self.prior_bad))

    @property
    def release_above(self) -> float:
        """The probability of a good batch above which releasing is cheaper than holding."""
        total = self.wrong_release + self.wrong_hold
        return self.wrong_release / total if total > 0 else 0.5


def expected_release(p_good: float, costs: Costs) -> float:
    """Expected cost of releasing: a bad batch goes out with probability 1 - `p_good`."""
    return costs.wrong_release * (1.0 - p_good)


def expected_hold(p_good: float, costs: Costs) -> float:
    """Expected cost of holding: a good batch is kept back with probability `p_good`."""
    return costs.wrong_hold * p_good
