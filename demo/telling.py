"""What is really so in the invented season, told in full: profiles, people, and every change with its date and size."""

import datetime as dt
from collections.abc import Mapping
from statistics import fmean
from typing import Any

import green
from quarrow import (
    COFFEES,
    DEAF_TASTER,
    DEAF_TO,
    FALSE_ALARM,
    FAULTS,
    HEARS,
    HEARS_DEAF,
    HEARS_IN_MILK,
    HIGH_TASTER,
    ODD_PULLS,
    RESPONSE,
    SD,
    TASTERS,
    TOLERANCE,
    WHAT,
)

Key = tuple[str, str]  # service, attribute
Batch = dict[str, Any]


def by_service(values: Mapping[Key, Any]) -> dict[str, dict[str, Any]]:
    """Sort values by service, then attribute; what is not there is left out."""
    told = {s: {a: values[t, a] for t, a in WHAT if t == s and (t, a) in values} for s in ("black", "milk")}
    return {service: inner for service, inner in told.items() if inner}


def rounded(values: Mapping[Key, float]) -> dict[Key, float]:
    """Round for the file."""
    return {k: round(v, 4) + 0.0 for k, v in values.items()}


def truth(batches: list[dict[str, Any]], offset: dict[str, dict[tuple[str, str], float]]) -> dict[str, Any]:
    """Tell what is really so: profiles at the house recipe for the panel's mean taster, and every coefficient."""
    names = ("log_ratio", "log_time", "water_c", "log_dose")
    pairs = [(b, k) for b in batches for k in WHAT]
    miss = {b["batch"]: max(abs(b["true"][k] - b["target"][k]) / TOLERANCE[k] for k in WHAT) for b in batches}
    assert all((miss[b["batch"]] <= 1 and not b["faults"]) == b["good"] for b, _ in pairs)
    return {
        "invented": "All of this is invented. No real firm, producer, brand or person is meant.",
        "tasters": {
            t: {
                "offset": by_service(rounded(offset[t])),
                "hears_black": {f: HEARS_DEAF if (t, f) == (DEAF_TASTER, DEAF_TO) else HEARS[t] for f in FAULTS},
                "false_alarm": FALSE_ALARM[t],
            }
            for t in TASTERS
        },
        "hears_in_milk_share": HEARS_IN_MILK,
        "high_taster": HIGH_TASTER,
        "deaf_taster": {"taster": DEAF_TASTER, "fault": DEAF_TO},
        "response": by_service({k: dict(zip(names, RESPONSE[k], strict=True)) for k in WHAT}),
        "sd": SD,
        "coffees": {b["coffee"]: by_service(rounded(b["mean"])) for b in batches},
        "drift": tell_drift(batches),
        "harvest_change": tell_harvest(batches),
        "ageing": tell_ageing(batches),
        "batches": [
            {
                "batch": b["batch"],
                "coffee": b["coffee"],
                "green_lot": b["lot"],
                "good": b["good"],
                "off": b["off"],
                "pulls": ODD_PULLS.get(b["number"], ("as usual",))[0],
                "faults": list(b["faults"]),
                "worst_miss_in_tolerances": round(miss[b["batch"]], 3),
                "profile": by_service(rounded(b["true"])),
            }
            for b in batches
        ],
    }


def tell_drift(batches: list[Batch]) -> dict[str, Any]:
    """Tell the drift: when, how far, why, and what the batches drawn came to, those off for another reason left out."""
    drift = green.DRIFT
    full = drift["begins"] + dt.timedelta(weeks=drift["weeks"])
    own = [b for b in batches if b["coffee"] == drift["coffee"]]
    usual = [b for b in own if b["good"] or b["roasted_on"] >= drift["begins"]]
    before = [b for b in usual if b["roasted_on"] < drift["begins"]]
    after = [b for b in usual if b["roasted_on"] >= full]
    return {
        "coffee": drift["coffee"],
        "begins": drift["begins"].isoformat(),
        "full_from": full.isoformat(),
        "first_batch": next(b["batch"] for b in own if b["roasted_on"] > drift["begins"]),
        "first_batch_in_full": after[0]["batch"],
        "cause": drift["cause"],
        "dry_loss_points": drift["dry_loss_points"],
        "change": by_service(drift["change"]),
        "change_in_the_batches_drawn": by_service(_difference(before, after, drift["change"])),
        "ashy_from": next(b["batch"] for b in own if "ashy" in b["faults"]),
    }


def tell_harvest(batches: list[Batch]) -> dict[str, Any]:
    """Tell the change from last harvest's lot to this year's, as stated and as the good batches drawn came to."""
    harvest = green.HARVEST
    first = next(b for b in batches if b["number"] == harvest["first"])
    good = [b for b in batches if b["coffee"] == harvest["coffee"] and b["good"]]
    before, after = ([b for b in good if b["lot"] == harvest[side]] for side in ("from", "to"))
    return {
        "coffee": harvest["coffee"],
        "from_lot": harvest["from"],
        "to_lot": harvest["to"],
        "first_batch": first["batch"],
        "roasted_on": first["roasted_on"].isoformat(),
        "change": by_service(harvest["change"]),
        "difference_of_the_batches_drawn": by_service(_difference(before, after, WHAT)),
    }


def tell_ageing(batches: list[Batch]) -> dict[str, Any]:
    """Tell each ageing lot's change a month, as stated and as its good batches drawn came to, and when it leaves."""
    lots = {}
    coffee = green.AGEING["coffee"]
    target = dict(zip(WHAT, COFFEES[coffee][3], strict=True))
    for lot, line in green.AGEING["lots"].items():
        here = [b for b in batches if b["lot"] == lot and b["good"]]
        months = [green.months_since_harvest(lot, b["roasted_on"]) for b in here]
        mean, rates = here[0]["mean"], line["change_per_month"]
        at_harvest = {k: mean[k] + line["level"][k] - line["at_months"] * rate for k, rate in rates.items()}
        edge = {k: target[k] + (1 if rate > 0 else -1) * TOLERANCE[k] for k, rate in rates.items()}
        lots[lot] = {
            "harvested_on": green.LOTS[lot][green.HARVESTED].isoformat(),
            "change_per_month": by_service(rates),
            "level_at_harvest": by_service(rounded(at_harvest)),
            "leaves_tolerance_at_months": by_service(
                {k: round((edge[k] - at_harvest[k]) / rate, 1) for k, rate in rates.items()}
            ),
            "slope_of_the_batches_drawn": by_service(
                rounded({k: _slope(months, [b["true"][k] for b in here]) for k in rates})
            ),
        }
    return {"coffee": coffee, "lots": lots, "others": "no other lot changes with its age"}


def _difference(before: list[Batch], after: list[Batch], keys: Any) -> dict[Key, float]:
    return rounded({k: fmean(b["true"][k] for b in after) - fmean(b["true"][k] for b in before) for k in keys})


def _slope(x: list[float], y: list[float]) -> float:
    middle = fmean(x)
    return sum((a - middle) * b for a, b in zip(x, y, strict=True)) / sum((a - middle) ** 2 for a in x)
