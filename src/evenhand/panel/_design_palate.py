"""What a table asks of the people who taste: caffeine, milk, and how many cups a palate stands.

References
----------
EFSA Panel on Dietetic Products, Nutrition and Allergies (2015), "Scientific Opinion on the safety of caffeine", EFSA
Journal 13(5):4102: for healthy adults single doses up to 200 mg and 400 mg over a day give no safety concern; 200 mg
over a day in pregnancy and while nursing; a single dose of 100 mg may affect sleep in some adults close to bedtime.
The doses are for an adult of 70 kg. Regulation (EU) No 1169/2011, annex II: milk is an allergen.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from evenhand.errors import DesignError, QuantityError
from evenhand.espresso.caffeine import EFSA_DAY_MG, EFSA_PREGNANCY_DAY_MG, EFSA_SINGLE_DOSE_MG
from evenhand.words import say

SINGLE_DOSE_MG = EFSA_SINGLE_DOSE_MG
DAY_MG = EFSA_DAY_MG
DAY_PREGNANT_OR_NURSING_MG = EFSA_PREGNANCY_DAY_MG
BEDTIME_DOSE_MG = 100.0

# Cups in one flight, then a pause with water. Common practice, no source: change it to what your tasters stand.
PALATE_CUPS: Mapping[str, int] = MappingProxyType({"black": 6, "milk": 6, "bowl": 8})


class LoadFlag(Enum):
    """What to say to a taster before the first cup; the value is the sentence, in words that can be told."""

    SINGLE_DOSE = say("More than 200 mg of caffeine in one sitting: spit, drink less of each cup, or split the table.")
    DAY = say("More than 400 mg of caffeine over the day: leave out cups or spit.")
    PREGNANT_OR_NURSING = say(
        "More than 200 mg of caffeine over the day in pregnancy or while nursing: leave out cups or spit."
    )
    BEDTIME = say("100 mg of caffeine or more close to bedtime may cost sleep: taste earlier.")
    MILK = say("The table holds milk, which is an allergen.")
    MILK_REFUSED = say("This taster does not take milk: serve no milk drinks, not even to spit.")


@dataclass(frozen=True, slots=True)
class TasterLoad:
    """Caffeine and milk that a taster takes in at one table.

    Attributes
    ----------
    caffeine_mg
        Caffeine swallowed at this table.
    day_caffeine_mg
        The same with what was taken before on that day.
    milk_g
        Milk swallowed at this table.
    flags
        What to say before the first cup.
    """

    caffeine_mg: float
    day_caffeine_mg: float
    milk_g: float
    flags: tuple[LoadFlag, ...]


def taster_load(
    caffeine_mg: ArrayLike,
    milk_g: ArrayLike,
    share_swallowed: ArrayLike,
    *,
    earlier_caffeine_mg: float = 0.0,
    pregnant_or_nursing: bool = False,
    takes_milk: bool = True,
    close_to_bedtime: bool = False,
) -> TasterLoad:
    """Add up caffeine and milk over the cups of one table, and flag what is too much.

    Parameters
    ----------
    caffeine_mg
        Caffeine in each whole cup, shape (cups,).
    milk_g
        Milk in each whole cup, shape (cups,), 0 for black cups.
    share_swallowed
        Share of each cup that is swallowed, 0 to 1, one or shape (cups,). A taster who spits still swallows some.
    earlier_caffeine_mg
        Caffeine taken earlier that day, other drinks counted in.
    pregnant_or_nursing
        Whether the lower daily level holds.
    takes_milk
        False for an allergy, an intolerance or a wish. Then any milk on the table is flagged, swallowed or not.
    close_to_bedtime
        Whether the table is in the hours before sleep.

    Returns
    -------
    TasterLoad
        Sums and flags. The whole table counts as one dose.

    Raises
    ------
    QuantityError
        If a quantity is negative or not finite, or a share is not between 0 and 1.
    DesignError
        If the arrays do not fit together.
    """
    caffeine, milk = np.atleast_1d(np.asarray(caffeine_mg, float)), np.atleast_1d(np.asarray(milk_g, float))
    share = np.asarray(share_swallowed, dtype=np.float64)
    if caffeine.ndim != 1 or caffeine.shape != milk.shape or share.shape not in ((), caffeine.shape):
        raise DesignError(say("Give caffeine and milk of each cup, and the share swallowed once or of each cup."))
    for values, name in (
        (caffeine, say("Caffeine")),
        (milk, say("Milk")),
        (np.array(earlier_caffeine_mg), say("Earlier caffeine")),
    ):
        if not bool(np.all(np.isfinite(values) & (values >= 0.0))):
            raise QuantityError(say("{name} must be a finite amount of 0 or more.", name=name))
    if not bool(np.all((share >= 0.0) & (share <= 1.0))):
        raise QuantityError(say("The share of a cup that is swallowed must lie between 0 and 1."))
    dose = float(np.sum(caffeine * share))
    day = dose + earlier_caffeine_mg
    flags = (
        (LoadFlag.SINGLE_DOSE, dose > SINGLE_DOSE_MG),
        (LoadFlag.DAY, day > DAY_MG),
        (LoadFlag.PREGNANT_OR_NURSING, pregnant_or_nursing and day > DAY_PREGNANT_OR_NURSING_MG),
        (LoadFlag.BEDTIME, close_to_bedtime and dose >= BEDTIME_DOSE_MG),
        (LoadFlag.MILK, bool(np.any(milk > 0.0))),
        (LoadFlag.MILK_REFUSED, not takes_milk and bool(np.any(milk > 0.0))),
    )
    return TasterLoad(dose, day, float(np.sum(milk * share)), tuple(flag for flag, raised in flags if raised))


def most_cups(
    service: str,
    *,
    caffeine_mg: float = 0.0,
    share_swallowed: float = 1.0,
    earlier_caffeine_mg: float = 0.0,
    pregnant_or_nursing: bool = False,
    palate_cups: Mapping[str, int] = PALATE_CUPS,
) -> int:
    """How many cups of one kind a taster can take in one flight: the palate's limit or the caffeine's, the lower one.

    Parameters
    ----------
    service
        "black", "milk" or "bowl", or another key of ``palate_cups``.
    caffeine_mg
        Caffeine in a whole cup; 0 leaves caffeine out of account.
    share_swallowed
        Share of each cup that is swallowed.
    earlier_caffeine_mg
        Caffeine taken earlier that day.
    pregnant_or_nursing
        Whether the lower daily level holds.
    palate_cups
        Cups that a palate stands in one flight, by service.

    Returns
    -------
    int
        Number of cups, 0 or more.

    Raises
    ------
    DesignError
        If the service has no limit.
    QuantityError
        If a quantity is negative or a share not between 0 and 1.
    """
    if service not in palate_cups:
        raise DesignError(
            say(
                "No number of cups is set for {service!r}; set one or choose {services}.",
                service=service,
                services=", ".join(palate_cups),
            )
        )
    if not (0.0 <= caffeine_mg < math.inf and 0.0 <= earlier_caffeine_mg < math.inf and 0.0 <= share_swallowed <= 1.0):
        raise QuantityError(
            say("Caffeine must be a finite amount of 0 or more, and the share swallowed between 0 and 1.")
        )
    per_cup = caffeine_mg * share_swallowed
    palate = palate_cups[service]
    if per_cup == 0.0:
        return palate
    day = DAY_PREGNANT_OR_NURSING_MG if pregnant_or_nursing else DAY_MG
    budget = max(min(SINGLE_DOSE_MG, day - earlier_caffeine_mg), 0.0)
    return min(palate, math.floor(budget / per_cup + 1e-9))


def split_into_flights(
    cups: int,
    most: int,
    rng: np.random.Generator,
    *,
    batch_of_cup: Sequence[str | int] | None = None,
) -> tuple[NDArray[np.int64], ...]:
    """Split a table into flights of nearly one size, each batch spread over them as evenly as it goes.

    Parameters
    ----------
    cups
        Number of cups on the table.
    most
        Most cups in a flight, as from ``most_cups``.
    rng
        Source of randomness.
    batch_of_cup
        Batch of each cup, length ``cups``; without it each cup is its own batch.

    Returns
    -------
    tuple of ndarray
        Cup numbers of each flight, as few flights as will do. Sizes differ by one at most, and so do the numbers of
        cups that a batch has in them.

    Raises
    ------
    DesignError
        If there is no cup, no room, or the batches do not fit the cups.
    """
    if cups < 1 or most < 1:
        raise DesignError(
            say(
                "{cups} cups cannot be split into flights of {most} at most; both must be at least 1. If "
                "caffeine leaves no room, spit or swallow less of each cup.",
                cups=cups,
                most=most,
            )
        )
    if batch_of_cup is not None and len(batch_of_cup) != cups:
        raise DesignError(
            say(
                "{named} batches were named for {cups} cups; name the batch of each cup.",
                named=len(batch_of_cup),
                cups=cups,
            )
        )
    names = list(range(cups)) if batch_of_cup is None else list(batch_of_cup)
    kinds: list[str | int] = list(dict.fromkeys(names))
    queue: list[int] = []
    for kind in rng.permutation(len(kinds)):
        members = [cup for cup, name in enumerate(names) if name == kinds[kind]]
        queue.extend(rng.permutation(members).tolist())
    flights = math.ceil(cups / most)
    return tuple(np.sort(np.array(queue[flight::flights], dtype=np.int64)) for flight in range(flights))
