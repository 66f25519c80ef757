"""The green coffee of the invented season, and what changes over it on purpose: a drift, a new harvest, an ageing lot.

Nothing here exists. Tables first, then what follows from them for one batch or one lot.
"""

import datetime as dt
from collections.abc import Callable
from typing import Any

Key = tuple[str, str]  # service, attribute

MONTH_DAYS = 30.44
SEASON_END = dt.date(2026, 10, 31)

# A drift of one coffee's roast: from `begins` it grows evenly for `weeks`, then stays; nobody turns it back.
DRIFT: dict[str, Any] = {
    "coffee": "Bellhouse Dusk",
    "begins": dt.date(2026, 6, 22),
    "weeks": 4,
    "cause": "soot gathers on the bean probe: it reads low, and the roast is carried on too far",
    "dry_loss_points": 1.2,
    "change": {
        ("black", "acidity"): -0.3,
        ("black", "bitterness"): 0.7,
        ("black", "roastiness"): 0.6,
        ("milk", "bitterness"): 0.55,
    },
}

# A coffee goes from last harvest's lot to this year's with one batch; each lot's level against the coffee's own.
HARVEST: dict[str, Any] = {
    "coffee": "Quarrow Slip",
    "first": 44,
    "from": "Aldermere Ridge 3",
    "to": "Aldermere Ridge 8",
    "change": {("black", "sweetness"): -0.85, ("milk", "sweetness"): -0.5, ("black", "body"): 1.0},
}

# Where the coffees with a change stand against their targets, in points; everywhere else that is drawn.
LEAN: dict[tuple[str, Key], float] = {
    ("Bellhouse Dusk", ("black", "acidity")): 0.15,
    ("Bellhouse Dusk", ("black", "bitterness")): -0.35,
    ("Bellhouse Dusk", ("black", "roastiness")): -0.3,
    ("Bellhouse Dusk", ("milk", "bitterness")): -0.25,
    ("Quarrow Slip", ("black", "sweetness")): 0.0,
    ("Quarrow Slip", ("black", "body")): 0.0,
    ("Quarrow Slip", ("milk", "sweetness")): 0.0,
    ("Ninefold Stair", ("black", "acidity")): 0.0,
    ("Ninefold Stair", ("black", "bitterness")): 0.0,
}

# Two lots of one coffee that age in the bag: change a month, and the level against the coffee's own at so many months.
# The older one is stored warmer, and ages faster for it. No other lot changes with its age.
AGEING: dict[str, Any] = {
    "coffee": "Ninefold Stair",
    "older_batches": (2, 14, 30, 46, 63),
    "lots": {
        "Osk Terraces 11": {
            "change_per_month": {("black", "acidity"): -0.17, ("black", "bitterness"): 0.10},
            "at_months": 16.0,
            "level": {("black", "acidity"): 0.4, ("black", "bitterness"): -0.25},
        },
        "Osk Terraces 18": {
            "change_per_month": {("black", "acidity"): -0.14, ("black", "bitterness"): 0.08},
            "at_months": 4.0,
            "level": {("black", "acidity"): 0.5, ("black", "bitterness"): -0.3},
        },
    },
}

OVEN, METER = "oven, 105 C, 16 h", "capacitance meter of the house"

# lot: origin, producers, varieties, process, lowest and highest field in m, harvest, middle of the picking, arrival,
# delivered kg, bag kg, moisture at arrival in %, its method, and spells of storage (from, degrees C, packaging)
LOTS: dict[str, tuple[Any, ...]] = {
    "Aldermere Ridge 3": (
        "Aldermere", "Pell Fold; Nether Skerry", "Bourbon", "natural", 1150, 1350, "2024/25",
        dt.date(2025, 1, 20), dt.date(2025, 6, 12), 120, 60, 11.0, OVEN,
        ((dt.date(2025, 6, 12), 19, "breathing"),),
    ),
    "Aldermere Ridge 8": (
        "Aldermere", "Pell Fold; Ottergarth", "Bourbon; Caturra", "natural", 1200, 1400, "2025/26",
        dt.date(2026, 1, 24), dt.date(2026, 6, 5), 300, 60, 11.2, OVEN,
        ((dt.date(2026, 6, 5), 19, "breathing"),),
    ),
    "Osk Terraces 11": (
        "Osk", "Three Sluices; Lantern Terrace", "Typica", "washed", 1700, 1900, "2024/25",
        dt.date(2024, 11, 5), dt.date(2025, 3, 3), 60, 15, 10.9, OVEN,
        ((dt.date(2025, 3, 3), 20, "breathing"), (dt.date(2025, 9, 1), 23, "breathing")),
    ),
    "Osk Terraces 18": (
        "Osk", "Three Sluices; Lantern Terrace", "Typica", "washed", 1700, 1950, "2025/26",
        dt.date(2025, 11, 9), dt.date(2026, 2, 24), 330, 15, 11.1, OVEN,
        ((dt.date(2026, 2, 24), 20, "breathing"),),
    ),
    "Aldermere Ridge 5": (
        "Aldermere", "Ottergarth", "Catuai", "pulped natural", 1050, 1250, "2025/26",
        dt.date(2025, 9, 15), dt.date(2026, 1, 19), 240, 60, 10.7, OVEN,
        ((dt.date(2026, 1, 19), 19, "breathing"),),
    ),
    "Low Vael 2": (
        "Low Vael", "Hollin Stead; Cold Elm", "Caturra; Typica", "washed", 1400, 1550, "2025/26",
        dt.date(2025, 10, 1), dt.date(2026, 1, 26), 180, 30, 10.8, OVEN,
        ((dt.date(2026, 1, 26), 19, "airtight"),),
    ),
    "Osk Terraces 14": (
        "Osk", "Three Sluices; Lantern Terrace", "Bourbon; Typica", "washed", 1750, 1950, "2025/26",
        dt.date(2025, 10, 20), dt.date(2026, 2, 9), 150, 30, 10.6, OVEN,
        ((dt.date(2026, 2, 9), 19, "airtight"),),
    ),
    "Low Vael 7": (
        "Low Vael", "Cold Elm", "Caturra", "natural", 1350, 1500, "2025/26",
        dt.date(2025, 10, 8), dt.date(2026, 2, 2), 120, 30, 10.9, METER,
        ((dt.date(2026, 2, 2), 19, "breathing"),),
    ),
    "Hithe Uplands 1": (
        "Hithe", "Four Winds Shieling", "Typica", "washed", 1900, 2050, "2025/26",
        dt.date(2025, 11, 2), dt.date(2026, 2, 16), 60, 30, 10.5, OVEN,
        ((dt.date(2026, 2, 16), 18, "airtight"),),
    ),
}  # fmt: skip
HARVESTED, ARRIVED, DELIVERED_KG, BAG_KG, MOISTURE, METHOD, SPELLS = 7, 8, 9, 10, 11, 12, 13


def months_since_harvest(lot: str, day: dt.date) -> float:
    """Count months from the middle of the picking."""
    return float((day - LOTS[lot][HARVESTED]).days / MONTH_DAYS)


def lot_of(number: int, coffee: str, usual: str) -> str:
    """Say which lot a batch was roasted from."""
    if coffee == HARVEST["coffee"]:
        return str(HARVEST["from"] if number < HARVEST["first"] else HARVEST["to"])
    if coffee == AGEING["coffee"] and number in AGEING["older_batches"]:
        return "Osk Terraces 11"
    return usual


def drifted(coffee: str, day: dt.date) -> float:
    """Say how far the drift has gone, from 0 to 1."""
    if coffee != DRIFT["coffee"]:
        return 0.0
    return float(min(max((day - DRIFT["begins"]).days / (7 * DRIFT["weeks"]), 0.0), 1.0))


def moved(coffee: str, lot: str, day: dt.date) -> dict[Key, float]:
    """Give what drift, harvest and age add to a batch's profile, in points."""
    if coffee == DRIFT["coffee"]:
        return {key: drifted(coffee, day) * size for key, size in DRIFT["change"].items()}
    if coffee == HARVEST["coffee"]:
        side = -0.5 if lot == HARVEST["from"] else 0.5  # the target was set between the two
        return {key: side * size for key, size in HARVEST["change"].items()}
    if lot in AGEING["lots"]:
        line = AGEING["lots"][lot]
        age = months_since_harvest(lot, day) - line["at_months"]
        return {key: line["level"][key] + age * rate for key, rate in line["change_per_month"].items()}
    return {}


def moisture_pct(lot: str, day: dt.date) -> float:
    """Give a lot's true moisture: it dries a little in a bag that breathes, and not in one that does not."""
    _, _, packaging = LOTS[lot][SPELLS][-1]
    months = max((day - LOTS[lot][ARRIVED]).days, 0) / MONTH_DAYS
    return float(LOTS[lot][MOISTURE] - (0.04 * months if packaging == "breathing" else 0.0))


def water_activity(moisture: float) -> float:
    """Give the water activity that goes with a moisture here: a straight line about 11 % and 0.58."""
    return 0.58 + 0.05 * (moisture - 11.0)


def lot_rows() -> list[dict[str, Any]]:
    """Write down the lots as delivered."""
    names = "origin producers varieties process elevation_low_m elevation_high_m harvest harvested_on arrived_on"
    columns = [*names.split(), "green_kg", "bag_kg"]
    return [{"green_lot": lot} | dict(zip(columns, facts[:11], strict=True)) for lot, facts in LOTS.items()]


def reading_rows(normal: Callable[[float], float]) -> list[dict[str, Any]]:
    """Read every lot on arrival and each three months after, as long as the season lasts."""
    rows = []
    for lot, facts in LOTS.items():
        day = facts[ARRIVED]
        while day <= SEASON_END:
            true = moisture_pct(lot, day)
            rows.append(
                {
                    "green_lot": lot,
                    "read_on": day.isoformat(),
                    "moisture_pct": f"{true + normal(0.1):.1f}",
                    "moisture_method": facts[METHOD],
                    "water_activity": f"{water_activity(true) + normal(0.008):.2f}",
                    "water_activity_c": 25,
                }
            )
            day += dt.timedelta(days=91)
    return rows


def storage_rows() -> list[dict[str, Any]]:
    """Write down where each lot lay: temperature, water activity and bag by spell."""
    return [
        {
            "green_lot": lot,
            "stored_from": since.isoformat(),
            "temperature_c": temperature_c,
            "water_activity": f"{water_activity(moisture_pct(lot, since)):.2f}",
            "packaging": packaging,
        }
        for lot, facts in LOTS.items()
        for since, temperature_c, packaging in facts[SPELLS]
    ]
