"""Draws a table by lot: the order of the pulls, the blind codes, and each taster's own order."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from numpy.typing import NDArray

from evenhand.panel.design import MOST_CODES, blind_codes, serving_orders
from evenhand.records._refusals import RecordError

SERVICES = ("black", "bowl", "milk")
"""In which order services are poured and tasted: milk coats the tongue, so it is last (common practice, no source)."""

MOST_TASTERS = 60

_MOST_STEPS = 4_000  # of the search for even orders, so that nobody waits for a plan
_STEPS_A_PLACE = 100


@dataclass(frozen=True, slots=True)
class DrawnCup:
    """One cup of a table that was drawn, in the order of pulling.

    Attributes
    ----------
    batch
        Index of its batch.
    service
        How it is served.
    code
        Its blind code, three digits.
    """

    batch: int
    service: str
    code: str


@dataclass(frozen=True, slots=True)
class DrawnTable:
    """A table as the lot gave it.

    Attributes
    ----------
    cups
        In the order of pulling.
    orders
        Indices into `cups` in the order of tasting, shape (tasters, cups): black first, milk last.
    """

    cups: tuple[DrawnCup, ...]
    orders: NDArray[np.int64]


def draw_table(
    batches: int,
    pulls: Mapping[str, int],
    tasters: int,
    rng: np.random.Generator,
    *,
    avoid: Iterable[int] = (),
) -> DrawnTable:
    """Draw a table: which batch is pulled when, under which code, and who meets it where.

    Parameters
    ----------
    batches
        Number of batches.
    pulls
        Pulls of each batch by service; each pull fills one cup.
    tasters
        Number of tasters.
    rng
        Source of randomness.
    avoid
        Codes not to be drawn.

    Returns
    -------
    DrawnTable
        Batches of one service are mixed, so that none gains from being pulled first or side by side.

    Raises
    ------
    RecordError
        When there is no batch, no pull or no taster, or more cups than a table takes.
    """
    poured = count_cups(batches, pulls, tasters)
    kinds: list[tuple[int, str]] = []
    for service in SERVICES:
        of_batch = [batch for batch in range(batches) for _pull in range(pulls.get(service, 0))]
        if of_batch:
            order = serving_orders(1, len(of_batch), rng, batch_of_cup=of_batch, steps=_steps(len(of_batch))).orders[0]
            kinds += [(of_batch[cup], service) for cup in order.tolist()]
    codes = blind_codes(poured, rng, avoid)
    cups = tuple(DrawnCup(batch, service, str(code)) for (batch, service), code in zip(kinds, codes, strict=True))
    return DrawnTable(cups, draw_orders(kinds, tasters, rng))


def draw_orders(cups: Sequence[tuple[int, str]], tasters: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw each taster's own order: one service after the other, balanced within each.

    Parameters
    ----------
    cups
        Batch and service of each cup.
    tasters
        Number of tasters.
    rng
        Source of randomness.

    Returns
    -------
    ndarray
        Indices into `cups`, shape (tasters, cups).
    """
    blocks = []
    for service in SERVICES:
        members = np.array([index for index, (_batch, served) in enumerate(cups) if served == service], dtype=np.int64)
        if members.size:
            of_batch = [cups[index][0] for index in members.tolist()]
            named = of_batch if len(set(of_batch)) < len(of_batch) else None  # nothing to keep apart: no search
            steps = _steps(tasters * len(members))
            blocks.append(members[serving_orders(tasters, len(members), rng, batch_of_cup=named, steps=steps).orders])
    return np.hstack(blocks)


def count_cups(batches: int, pulls: Mapping[str, int], tasters: int) -> int:
    """Return the number of cups of a table, or say why there can be no such table.

    Raises
    ------
    RecordError
        When there is no batch, no pull or no taster, or more cups than a table takes.
    """
    if batches < 1:
        raise RecordError(_("A table needs a batch; choose at least one."))
    if tasters < 1:
        raise RecordError(_("A table needs a taster; choose at least one."))
    if tasters > MOST_TASTERS:
        raise RecordError(
            _("A table seats %(most)s tasters, not %(number)s; plan a second one.")
            % {"most": MOST_TASTERS, "number": tasters}
        )
    unknown = sorted(set(pulls) - set(SERVICES))
    if unknown or any(count < 0 for count in pulls.values()):
        raise RecordError(_("Say how many pulls of each batch are served black, bowl or milk."))
    cups = batches * sum(pulls.values())
    if cups < 1:
        raise RecordError(_("A table needs a pull; say how many of each batch are served black, as a bowl or in milk."))
    if cups > MOST_CODES:
        raise RecordError(
            _("%(cups)s cups are too many for one table, which takes %(most)s; plan two tables.")
            % {"cups": cups, "most": MOST_CODES}
        )
    return cups


def _steps(places: int) -> int:
    """Return how long to search: small tables are soon as even as they can be."""
    return min(_MOST_STEPS, _STEPS_A_PLACE * places)
