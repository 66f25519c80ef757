"""Sets the roast of one batch beside what its coffee usually shows: loss on dry basis, colour, roast time."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from evenhand.records.models import Batch
from evenhand.units import Measured

FELLOWS = 20
"""A batch is set beside so many others of its coffee, those roasted before it."""

_FEWEST = 4
# How often a batch like its fellows lies as far out: reading aids (common practice, no source).
_A_LITTLE, _CLEARLY = 0.2, 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class RoastRow:
    """One measure of a roast beside its coffee's usual.

    Attributes
    ----------
    name, unit, places
        As they are to be read, and how many decimals.
    value
        Of this batch.
    usual, difference
        Of its fellows, and this batch less them; None where there are too few.
    fellows
        How many were measured.
    words
        Where it lies, in words.
    note
        What weakens the number; empty if nothing.
    """

    name: str
    unit: str
    places: int
    value: float
    usual: float | None
    difference: Measured | None
    fellows: int
    words: str
    note: str = ""


def set_beside_usual(batch: Batch) -> list[RoastRow]:
    """Read each measure of a roast against the others of its coffee; what was not measured is left out."""
    rows = [_loss(batch, others := _fellows(batch)), _colour(batch, others), _time(batch, others)]
    return [row for row in rows if row is not None]


def _fellows(batch: Batch) -> list[Batch]:
    of_coffee = Batch.objects.filter(version__coffee=batch.version.coffee_id).exclude(pk=batch.pk)
    before = list(of_coffee.filter(roasted_on__lte=batch.roasted_on).order_by("-roasted_on", "-pk")[:FELLOWS])
    if len(before) >= _FEWEST:
        return before
    return list(of_coffee.order_by("roasted_on", "pk")[:FELLOWS])


def _loss(batch: Batch, others: Sequence[Batch]) -> RoastRow | None:
    from evenhand.season.roaster import dry_loss_measure  # scipy: never at the start of the pages

    own, *theirs = [_dry_loss(one) for one in (batch, *others)]
    if own is None:
        return None
    known = [own, *(one for one in theirs if one is not None)]
    measure = dry_loss_measure([one.value for one in known], [one.sd for one in known])
    unmeasured = batch.green_moisture_pct is None or batch.roasted_moisture_pct is None
    note = _("a moisture was not measured; the usual one is taken, with its uncertainty") if unmeasured else ""
    return _row(_("Mass loss on dry basis"), "%", 1, own.value, measure, note)


def _dry_loss(batch: Batch) -> Measured | None:
    from evenhand.errors import QuantityError
    from evenhand.season.roaster import dry_loss_pct

    if batch.green_in_kg is None or batch.roasted_out_kg is None:
        return None
    try:
        return dry_loss_pct(
            batch.green_in_kg, batch.roasted_out_kg, batch.green_moisture_pct, batch.roasted_moisture_pct
        )
    except QuantityError:
        return None


def _colour(batch: Batch, others: Sequence[Batch]) -> RoastRow | None:
    from evenhand.season.roaster import colour_measure

    if batch.colour is None:
        return None
    same = [one.colour for one in others if one.colour is not None and one.colour_scale == batch.colour_scale]
    measure = colour_measure([batch.colour, *same], 0.0, batch.colour_scale or "")
    name = _("Colour (%(scale)s)") % {"scale": batch.colour_scale} if batch.colour_scale else _("Colour")
    return _row(name, "", 1, batch.colour, measure)


def _time(batch: Batch, others: Sequence[Batch]) -> RoastRow | None:
    from evenhand.season.roaster import roast_time_measure

    if batch.roast_time_s is None:
        return None
    known = [batch.roast_time_s, *(one.roast_time_s for one in others if one.roast_time_s is not None)]
    return _row(_("Roast time"), "s", 0, batch.roast_time_s, roast_time_measure(known))


def _row(name: str, unit: str, places: int, value: float, measure: Any, note: str = "") -> RoastRow:
    """Set the first of the measured batches against the others."""
    from evenhand.season.roaster import set_against_fellows

    measured = len(measure.value)
    found = next((one for one in set_against_fellows(measure, [""] * measured) if one.batch == 0), None)
    if found is None:
        words = _("too few others are measured to say what is usual")
        return RoastRow(
            name=name,
            unit=unit,
            places=places,
            value=value,
            usual=None,
            difference=None,
            fellows=measured - 1,
            words=words,
            note=note,
        )
    if found.p >= _A_LITTLE:
        words = _("as usual")
    elif found.difference.value > 0:
        words = _("clearly higher than usual") if found.p < _CLEARLY else _("a little higher than usual")
    else:
        words = _("clearly lower than usual") if found.p < _CLEARLY else _("a little lower than usual")
    return RoastRow(
        name=name,
        unit=unit,
        places=places,
        value=value,
        usual=value - found.difference.value,
        difference=found.difference,
        fellows=found.fellows,
        words=words,
        note=note,
    )
