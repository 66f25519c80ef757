"""Makes the invented roastery of the demo: one season of tastings, and the truth behind it, from a fixed seed.

Everything here is invented: the island of Quarrow, its roastery, its coffees, lots, people and numbers. No real
firm, producer, brand or person is meant. Run it with any Python from 3.11 on; it needs the standard library only
and writes the same bytes every time:

    python demo/make_demo.py            # writes demo/season/, demo/truth.json and demo/truth.csv
    python demo/make_demo.py DIRECTORY  # the same, elsewhere

The world is simple on purpose, and close to the model that judges it, but not the same: scores are rounded to
halves and cut at the ends of the scale, masses and times carry measurement error, and the batches that are
really off are put there by hand, as are the drift, the new harvest and the ageing lot (green.py).

    score = coffee + drift, lot or age + batch + taster + batch x taster
            + response to the pull's deviations + pull + rest
"""

import csv
import datetime as dt
import io
import json
import math
import random
import sys
from pathlib import Path
from statistics import NormalDist
from typing import Any

import green
from quarrow import (
    BATCHES,
    BLACK,
    COFFEES,
    COSTS,
    DARKER,
    DEAF_TASTER,
    DEAF_TO,
    DRIFTED_OFF,
    FALSE_ALARM,
    FAULTS,
    GRINDER_S_PER_UNIT,
    HEARS,
    HEARS_DEAF,
    HEARS_IN_MILK,
    MILK,
    MOST_AWAY,
    ODD_PULLS,
    OFF,
    PAIRS,
    RECIPE,
    RESPONSE,
    SCALE_HIGH,
    SCALE_LOW,
    SCATTER,
    SCORE_STEP,
    SD,
    SEASON_START,
    SEED,
    TASTERS,
    TOLERANCE,
    WEEKS,
    WHAT,
)
from telling import truth

DRY_LOSS_POINTS = 0.66  # points of dry mass lost more in a roast that is one s.d. darker
SEVERAL_LOTS = (green.HARVEST["coffee"], green.AGEING["coffee"])


class Chance:
    """Random numbers that are the same on every Python: only ``random()`` and the normal quantile are used."""

    def __init__(self, subject: str) -> None:
        self._random = random.Random(f"{SEED}/{subject}")

    def uniform(self) -> float:
        """Return a number above 0 and below 1."""
        return min(max(self._random.random(), 1e-12), 1 - 1e-12)

    def normal(self, sd: float = 1.0) -> float:
        """Return a normal number with mean 0."""
        return sd * NormalDist().inv_cdf(self.uniform())

    def happens(self, probability: float) -> bool:
        """Return True with the probability given."""
        return self.uniform() < probability

    def shuffled(self, items: list[Any]) -> list[Any]:
        """Return the items in random order."""
        left, out = list(items), []
        while left:
            out.append(left.pop(int(self.uniform() * len(left))))
        return out


def plan_batches() -> list[dict[str, Any]]:
    """Lay the batches over the season: which coffee and lot, which roast day, which two tables, who tastes."""
    made = dict.fromkeys(COFFEES, 0)
    teams = [(a, b, c) for a in TASTERS for b in TASTERS for c in TASTERS if a < b < c]
    rota = Chance("rota").shuffled(teams)
    batches: list[dict[str, Any]] = []
    for number in range(1, BATCHES + 1):
        coffee = min(COFFEES, key=lambda c: (made[c] + 0.5) / COFFEES[c][1])
        made[coffee] += 1
        pair, slot = divmod(number - 1, BATCHES // PAIRS)
        week = pair * WEEKS // PAIRS
        second = pair > 0 and week == (pair - 1) * WEEKS // PAIRS  # the second pair of its week
        monday = SEASON_START + dt.timedelta(weeks=week, days=2 * second)
        roasted_on = monday + dt.timedelta(days=slot)
        batches.append(
            {
                "number": number,
                "batch": f"Q26-{number:03d}",
                "coffee": coffee,
                "lot": green.lot_of(number, coffee, COFFEES[coffee][0]),
                "roasted_on": roasted_on,
                "pair": pair,
                "tasted_on": monday + dt.timedelta(days=8),
                "team": rota[pair % len(rota)],
            }
        )
    return batches


def draw_profiles(batches: list[dict[str, Any]]) -> None:
    """Give every batch its true profile at the house recipe, darkness and faults; mark those that are off."""
    chance = Chance("profiles")
    mean = {
        coffee: {k: t + chance.normal(SD["coffee"]) for k, t in zip(WHAT, targets, strict=True)}
        for coffee, (_, _, _, targets) in COFFEES.items()
    }
    for (coffee, key), lean in green.LEAN.items():
        mean[coffee][key] = COFFEES[coffee][3][WHAT.index(key)] + lean
    for batch in batches:
        coffee, day = batch["coffee"], batch["roasted_on"]
        chance = Chance(f"profile/{batch['number']}")
        words, faults, shift, dark = OFF.get(batch["number"], ("", (), {}, math.nan))
        target = dict(zip(WHAT, COFFEES[coffee][3], strict=True))
        moved = green.moved(coffee, batch["lot"], day)
        free = batch["number"] in DRIFTED_OFF  # these may lie where the drift took them
        while True:  # the others are inside tolerance unless OFF says otherwise: draw again until they are
            darkness = chance.normal() * SCATTER.get(coffee, 1.0) if math.isnan(dark) else dark
            shared = {a: chance.normal(SD["batch_shared"]) for a in dict.fromkeys(BLACK + MILK)}
            true = {}
            for key in WHAT:
                own = shared[key[1]] + chance.normal(SD["batch_own"]) + moved.get(key, 0.0)
                darker = DARKER[key] * (darkness if math.isnan(dark) else 0.0)
                true[key] = mean[coffee][key] + darker + own
                if key in shift:
                    true[key] = target[key] + shift[key] * TOLERANCE[key]
            rest = [abs(true[k] - target[k]) / TOLERANCE[k] for k in WHAT if k not in shift]
            if free or max(rest) < 0.8:
                break
        darkness += green.drifted(coffee, day) * green.DRIFT["dry_loss_points"] / DRY_LOSS_POINTS
        batch.update(true=true, target=target, darkness=darkness, faults=faults, off=words, good=not words)
        batch["mean"] = mean[coffee]


def draw_tasters() -> dict[str, dict[tuple[str, str], float]]:
    """Give every taster an offset on every attribute; over the five they sum to nought."""
    chance = Chance("tasters")
    offset = {t: {k: lean + chance.normal(SD["taster_attribute"]) for k in WHAT} for t, lean in TASTERS.items()}
    for key in WHAT:
        middle = sum(offset[t][key] for t in TASTERS) / len(TASTERS)
        for taster in TASTERS:
            offset[taster][key] -= middle
    return offset


def roast_row(batch: dict[str, Any], chance: Chance) -> dict[str, Any]:
    """Write down what the roaster measured: darker roasts lose more mass, read darker, end drier."""
    _, _, green_kg, targets = COFFEES[batch["coffee"]]
    level = targets[4]  # the coffee's own roastiness says how dark it is meant to be
    dry_loss = 0.040 + 0.0066 * level + DRY_LOSS_POINTS / 100 * batch["darkness"] + chance.normal(0.0015)
    wet, dry = green.moisture_pct(batch["lot"], batch["roasted_on"]), 1.6 - 0.15 * batch["darkness"]
    out_kg = green_kg * (1 - dry_loss) * (100 - wet) / (100 - dry)
    colour = 78 - 3.5 * level - 2.0 * batch["darkness"] + chance.normal(0.8)
    time_s = 600 + 15 * level + chance.normal(14) + (95 if "baked" in batch["faults"] else 0)
    return {
        "batch": batch["batch"],
        "coffee": batch["coffee"],
        "roasted_on": batch["roasted_on"].isoformat(),
        "green_in_kg": f"{green_kg:.1f}",
        "roasted_out_kg": f"{out_kg:.2f}",
        "green_moisture_pct": f"{wet + chance.normal(0.2):.1f}",
        "roasted_moisture_pct": f"{dry + chance.normal(0.15):.1f}" if chance.happens(0.7) else "",
        "colour": f"{colour:.1f}" if chance.happens(0.93) else "",
        "colour_scale": "house meter, higher is lighter",
        "roast_time_s": f"{time_s:.0f}",
        "green_lot": batch["lot"] if batch["coffee"] in SEVERAL_LOTS else "",
    }


def run_pulls(batch: dict[str, Any], chance: Chance) -> list[dict[str, Any]]:
    """Pull the batch: three times black and in milk, now and then only twice; never exactly on recipe."""
    pulls = []
    misread = chance.normal(0.1)
    slow_s, long_g = chance.normal(1.0), chance.normal(0.6)  # the grinder was never quite dialled in
    # A lower number is finer: the batch ran slow because the grinder stood too fine for it, for the most part.
    home = 4.0 + 0.15 * COFFEES[batch["coffee"]][3][4]
    grind = round(home - slow_s / GRINDER_S_PER_UNIT + 0.5 * misread, 1)
    _, odd, odd_g, odd_s = ODD_PULLS.get(batch["number"], ("", (), 0.0, 0.0))
    for service, only_two in (("black", 0.10), ("milk", 0.20)):
        count = 2 if chance.happens(only_two) and batch["number"] not in ODD_PULLS else 3
        for nth in range(1, count + 1):
            is_odd = service == "black" and nth in odd
            dose_g = RECIPE["dose_g"] + chance.normal(0.12)
            beverage_g = RECIPE["beverage_g"] + long_g + chance.normal(0.9) + (odd_g if is_odd else 0.0)
            time_s = RECIPE["time_s"] + slow_s + chance.normal(1.1) + (odd_s if is_odd else 0.0)
            water_c = RECIPE["water_c"] + chance.normal(0.35)
            ratio, house_ratio = beverage_g / dose_g, RECIPE["beverage_g"] / RECIPE["dose_g"]
            x = (
                math.log(ratio / house_ratio),
                math.log(time_s / RECIPE["time_s"]),
                water_c - RECIPE["water_c"],
                math.log(dose_g / RECIPE["dose_g"]),
            )
            extraction_pct = (
                19.6 + 6.0 * x[0] + 2.0 * x[1] + 0.15 * x[2] - 0.2 * batch["darkness"] + chance.normal(0.25)
            )
            tds_pct = extraction_pct / ratio + chance.normal(0.06)
            read = chance.happens(0.8 if service == "black" else 0.35)  # a shot for milk is rarely read
            pulls.append(
                {
                    "service": service,
                    "x": x,
                    "dose_g": f"{dose_g + chance.normal(0.04):.1f}",
                    "beverage_g": f"{beverage_g + chance.normal(0.05):.1f}",
                    "time_s": f"{time_s + chance.normal(0.15):.1f}",
                    "water_c": f"{water_c:.1f}",
                    "pressure_bar": f"{RECIPE['pressure_bar'] + chance.normal(0.15):.1f}",
                    "grind_setting": f"{grind:.1f}",
                    "tds_pct": f"{tds_pct:.2f}" if read else "",
                }
            )
    return pulls


def taste_season(
    batches: list[dict[str, Any]], offset: dict[str, dict[tuple[str, str], float]]
) -> dict[str, list[Any]]:
    """Serve every table blind and collect the sheets: a pair black, the day after in milk, each in random order."""
    pulling, tasting, serving = Chance("pulls"), Chance("sheets"), Chance("order")
    rows: dict[str, list[Any]] = {"pulls": [], "cups": [], "sheets": [], "faults": []}
    for pair in range(PAIRS):
        here = [b for b in batches if b["pair"] == pair]
        served: list[tuple[dict[str, Any], dict[str, Any]]] = []
        for batch in here:
            batch["bt"] = {t: {k: tasting.normal(SD["batch_taster"]) for k in WHAT} for t in batch["team"]}
            for nth, pull in enumerate(run_pulls(batch, pulling), start=1):
                pull["pull"] = f"{batch['batch']}-{nth}"
                served.append((batch, pull))
        for day, service in enumerate(("black", "milk")):
            table = f"T{2 * pair + day + 1:02d}"
            codes = serving.shuffled(list(range(100, 1000)))
            flight = serving.shuffled([s for s in served if s[1]["service"] == service])
            began = dt.datetime.combine(here[0]["tasted_on"] + dt.timedelta(days=day), dt.time(9, 0))
            away = 0
            for position, (batch, pull) in enumerate(flight, start=1):
                at = (began + dt.timedelta(minutes=5 * position)).isoformat(timespec="minutes")
                cup = f"{table}-{codes[position]}"
                keep = ("dose_g", "beverage_g", "time_s", "water_c", "pressure_bar", "grind_setting", "tds_pct")
                rows["pulls"].append(
                    {"pull": pull["pull"], "batch": batch["batch"], "pulled_at": at, **{k: pull[k] for k in keep}}
                )
                rows["cups"].append(
                    {"cup": cup, "pull": pull["pull"], "service": service, "table": table, "position": position}
                )
                pull_effect = {k: tasting.normal(SD["pull"]) for k in WHAT}
                called = [taster for taster in batch["team"] if tasting.happens(0.04)]  # away to the till
                called = called[:1] if away < MOST_AWAY else []
                away += len(called)
                for taster in batch["team"]:
                    if taster not in called:
                        fill_sheet(rows, batch, pull, cup, taster, offset[taster], pull_effect, tasting)
    rows["pulls"].sort(key=lambda row: row["pull"])
    return rows


def fill_sheet(
    rows: dict[str, list[Any]],
    batch: dict[str, Any],
    pull: dict[str, Any],
    cup: str,
    taster: str,
    offset: dict[tuple[str, str], float],
    pull_effect: dict[tuple[str, str], float],
    chance: Chance,
) -> None:
    """Write one taster's scores and faults for one cup."""
    service = pull["service"]
    for key in (k for k in WHAT if k[0] == service):
        response = sum(c * x for c, x in zip(RESPONSE[key], pull["x"], strict=True))
        score = batch["true"][key] + offset[key] + batch["bt"][taster][key] + response + pull_effect[key]
        score = round((score + chance.normal(SD["residual"])) / SCORE_STEP) * SCORE_STEP
        score = min(max(score, SCALE_LOW), SCALE_HIGH)
        rows["sheets"].append({"cup": cup, "taster": taster, "attribute": key[1], "score": f"{score:.1f}"})
    for fault in FAULTS:
        hears = HEARS_DEAF if (taster, fault) == (DEAF_TASTER, DEAF_TO) else HEARS[taster]
        hears *= HEARS_IN_MILK if service == "milk" else 1.0
        heard = chance.happens(hears if fault in batch["faults"] else FALSE_ALARM[taster])
        rows["faults"].append({"cup": cup, "taster": taster, "fault": fault, "heard": int(heard)})


def write_csv(path: Path, rows: list[dict[str, Any]]) -> None:
    """Write rows of equal columns as UTF-8 with plain line ends."""
    text = io.StringIO()
    writer = csv.DictWriter(text, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_bytes(text.getvalue().encode())


NOTICE = """The data in this folder are invented.

The island of Quarrow, its roastery, coffees, green lots, tasters, batches and scores do not exist. No real firm,
producer, brand or person is meant. The script demo/make_demo.py made them from a fixed seed; demo/truth.json says
which batches are really off, and how, and what changed over the season.
"""


def make(directory: Path) -> None:
    """Write the season and its truth into the directory."""
    season = directory / "season"
    season.mkdir(parents=True, exist_ok=True)
    batches = plan_batches()
    draw_profiles(batches)
    offset = draw_tasters()
    rows = taste_season(batches, offset)
    roast = Chance("roast")
    rows["recipes"] = [RECIPE]
    rows["coffees"] = [{"coffee": c, "recipe": "house", "green_lot": lot} for c, (lot, *_) in COFFEES.items()]
    readings = Chance("green readings")
    rows["green_lots"], rows["green_storage"] = green.lot_rows(), green.storage_rows()
    rows["green_readings"] = green.reading_rows(readings.normal)
    rows["targets"] = [
        {"coffee": c, "service": s, "attribute": a, "target": t, "tolerance": TOLERANCE[s, a]}
        for c, (_, _, _, targets) in COFFEES.items()
        for (s, a), t in zip(WHAT, targets, strict=True)
    ]
    scale = {"scale_low": SCALE_LOW, "scale_high": SCALE_HIGH}
    rows["attributes"] = [{"attribute": a, **scale} for a in dict.fromkeys(BLACK + MILK)]
    rows["batches"] = [roast_row(b, roast) for b in batches]
    rows["costs"] = [{"name": n, "value": v} for n, v in COSTS.items()]
    for name, table in rows.items():
        write_csv(season / f"{name}.csv", table)
    (season / "INVENTED.txt").write_bytes(NOTICE.encode())
    told = truth(batches, offset)
    (directory / "truth.json").write_bytes((json.dumps(told, indent=1) + "\n").encode())
    flat = ("batch", "coffee", "good", "off", "pulls", "worst_miss_in_tolerances")
    write_csv(
        directory / "truth.csv",
        [{**{k: b[k] for k in flat}, "good": int(b["good"]), "faults": " ".join(b["faults"])} for b in told["batches"]],
    )


if __name__ == "__main__":
    make(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
