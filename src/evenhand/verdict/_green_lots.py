"""A green lot between its delivery and the roaster: months since harvest, its storage, and the stock that is left."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from evenhand.season.ageing import GREEN_ISOTHERM, Moisture, MoistureMethod, Spell
from evenhand.units import Measured
from evenhand.verdict._green_records import LotStock
from evenhand.verdict.tastings import Batch, Lot, LotReading
from evenhand.words import Words, say

DAYS_A_MONTH: Final = 30.4375
MONTHS_OF_SALES: Final = 3.0
"""Sales are those of so many months before the day of reading."""
# A water activity that nobody measured is read off the moisture, taken to be known to so many points of per cent.
_MOISTURE_SD = 0.3
_UNNAMED: Final = say("a method nobody named")


def day_of(date: str) -> float:
    """Number of a day, from ISO 8601 text."""
    return float(np.datetime64(date[:10], "D").astype(np.int64))


def months_between(first: str, last: str) -> float:
    """Months from one day to another, both ISO 8601 text."""
    return (day_of(last) - day_of(first)) / DAYS_A_MONTH


def month_name(harvested_on: str, months: float) -> str:
    """Calendar month, as in 2026-09, that lies so many months after a harvest."""
    day = np.datetime64(harvested_on[:10], "D") + np.timedelta64(round(months * DAYS_A_MONTH), "D")
    return str(day.astype("datetime64[M]"))


def history_of(lot: Lot) -> tuple[Spell, ...]:
    """Spells of storage from harvest on; what nobody wrote down is a spell without temperature and water activity.

    A spell without a water activity takes that of the lot's readings: their mean, or what the isotherm makes of their
    moistures.

    Parameters
    ----------
    lot
        A lot with a day of harvest.
    """
    if lot.harvested_on is None:
        return ()
    harvest = day_of(lot.harvested_on)
    damp = _water_activity(lot)
    starts = [max(day_of(one.stored_from) - harvest, 0.0) / DAYS_A_MONTH for one in lot.storage]
    spells = []
    if not starts or starts[0] > 0:
        spells.append(Spell(starts[0], None, damp) if starts else Spell(temperature_c=None, water_activity=damp))
    for number, one in enumerate(lot.storage):
        last = number == len(starts) - 1
        months = np.inf if last else starts[number + 1] - starts[number]
        if not months > 0:
            continue  # over before the harvest was, or begun on the day of the next
        activity = damp if one.water_activity is None else one.water_activity
        spells.append(Spell(float(months), one.temperature_c, activity, one.packaging == "airtight"))
    return tuple(spells)


def _water_activity(lot: Lot) -> float | None:
    read = [one.water_activity for one in lot.readings if one.water_activity is not None]
    if read:
        return float(np.mean(read))
    moist = [
        GREEN_ISOTHERM.water_activity(
            Moisture(Measured(one.moisture_pct, _MOISTURE_SD), MoistureMethod(one.moisture_method or ""))
        ).value
        for one in lot.readings
        if one.moisture_pct
    ]
    return float(np.mean(moist)) if moist else None


def stock_of(lot: Lot, batches: Sequence[Batch], read_on: str) -> LotStock | None:
    """Work out what is left of a lot and how fast it goes; None where its delivery was not written down.

    Parameters
    ----------
    lot
        The lot.
    batches
        All batches of it, of whatever coffee.
    read_on
        The day of reading, ISO 8601 text.
    """
    if lot.green_kg is None:
        return None
    known = [one for one in batches if one.green_in_kg is not None]
    missing = len(batches) - len(known)
    usual = float(np.mean([one.green_in_kg or 0.0 for one in known])) if known else 0.0
    used = float(sum(one.green_in_kg or 0.0 for one in known)) + missing * usual
    now = day_of(read_on)
    first = min((day_of(one.roasted_on) for one in batches), default=now)
    # A lot that was opened less than three months ago has sold for as long as it was open, a month at the least.
    months = float(np.clip((now - first) / DAYS_A_MONTH, 1.0, MONTHS_OF_SALES))
    recent = [one for one in batches if 0 <= now - day_of(one.roasted_on) <= MONTHS_OF_SALES * DAYS_A_MONTH]
    sizes = np.array([usual if one.green_in_kg is None else one.green_in_kg for one in recent])
    rate = float(sizes.sum()) / months
    # As many batches again, give or take the root of their number: roasts come one by one (compound Poisson).
    spread = float(np.sqrt(np.sum(sizes**2))) / months
    unit = lot.bag_kg or 1.0
    return LotStock(
        delivered_kg=lot.green_kg,
        used_kg=used,
        left_kg=lot.green_kg - used,
        bag_kg=lot.bag_kg,
        unit="bags" if lot.bag_kg else "kg",
        left=max(lot.green_kg - used, 0.0) / unit,
        a_month=Measured(rate / unit, spread / unit),
        batches=len(batches),
        unweighed=missing,
        recent_batches=len(recent),
    )


def describe_readings(lot: Lot) -> tuple[str, ...]:
    """Say what was measured of a lot, each moisture with its method; two methods are never compared.

    Parameters
    ----------
    lot
        The lot.
    """
    moist: dict[str, list[LotReading]] = {}
    for one in lot.readings:
        if one.moisture_pct is not None:
            moist.setdefault(one.moisture_method or _UNNAMED, []).append(one)
    said = [_describe_moistures(method, of) for method, of in moist.items()]
    if len(said) > 1:
        said.append(say("These are different methods: do not set one against the other."))
    wet = [one for one in lot.readings if one.water_activity is not None]
    if wet:
        said.append(_describe_activities(wet))
    return tuple(said)


def _describe_moistures(method: str, of: Sequence[LotReading]) -> Words:
    first, last = of[0], of[-1]
    if len(of) == 1:
        return say(
            "Moisture {moisture:g} % by {method}, read {day}.",
            moisture=last.moisture_pct,
            method=method,
            day=last.read_on,
        )
    return say(
        "Moisture {moisture:g} % by {method}, read {day}; {change:+.1f} points since {first} by the same method.",
        moisture=last.moisture_pct,
        method=method,
        day=last.read_on,
        change=(last.moisture_pct or 0.0) - (first.moisture_pct or 0.0),
        first=first.read_on,
    )


def _describe_activities(of: Sequence[LotReading]) -> Words:
    first, last = of[0], of[-1]
    if last.water_activity_c is None:
        read = say("Water activity {activity:g}, read {day}", activity=last.water_activity, day=last.read_on)
    else:
        read = say(
            "Water activity {activity:g} at {temperature:g} °C, read {day}",
            activity=last.water_activity,
            temperature=last.water_activity_c,
            day=last.read_on,
        )
    if len(of) == 1:
        return say("{reading}.", reading=read)
    change = (last.water_activity or 0.0) - (first.water_activity or 0.0)
    return say("{reading}; {change:+.2f} since {first}.", reading=read, change=change, first=first.read_on)
