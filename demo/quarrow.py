"""The invented island of Quarrow, in tables: recipe, coffees, tasters, how cups answer to shots, what went wrong.

Nothing here exists. make_demo.py turns these tables into a season of tastings.
"""

import datetime as dt
import math
from typing import Any

SEED = "quarrow 2026"

RECIPE: dict[str, Any] = {
    "recipe": "house",
    "basket_rated_g": 15,
    "dose_g": 16.0,
    "dose_tol_g": 0.3,
    "beverage_g": 32.0,
    "beverage_tol_g": 1.5,
    "time_s": 28,
    "time_tol_s": 2,
    "water_c": 92.5,
    "water_tol_c": 1,
    "pressure_bar": 7,
    "pressure_tol_bar": 0.5,
    "milk_drink_ml": 180,
}

# One whole unit of the grinder's scale, as the bench knows it: this many seconds of the house recipe.
GRINDER_S_PER_UNIT = 6.0
COSTS = {"wrong_release": 400, "wrong_hold": 150, "one_pull": 3, "one_taste": 2, "prior_bad": 0.12}

BLACK = ("acidity", "sweetness", "bitterness", "body", "roastiness")
MILK = ("sweetness", "bitterness", "coffee strength")
WHAT = tuple(("black", a) for a in BLACK) + tuple(("milk", a) for a in MILK)
TOLERANCE = dict(zip(WHAT, (1.0, 1.0, 1.0, 1.2, 1.0, 1.2, 1.1, 1.2), strict=True))
SCALE_LOW, SCALE_HIGH, SCORE_STEP = 0, 10, 0.5

# coffee: green lot of today, batches in every 64, green mass a batch in kg, targets in the order of WHAT
COFFEES: dict[str, tuple[str, int, float, tuple[float, ...]]] = {
    "Quarrow Slip": ("Aldermere Ridge 8", 14, 12.0, (4.0, 6.0, 4.5, 6.5, 4.0, 6.0, 3.0, 6.0)),
    "Ninefold Stair": ("Osk Terraces 18", 12, 12.0, (6.0, 6.5, 3.0, 5.0, 2.5, 6.5, 2.5, 5.0)),
    "Bellhouse Dusk": ("Aldermere Ridge 5", 10, 12.0, (2.5, 5.0, 6.0, 7.0, 6.0, 5.5, 4.0, 7.0)),
    "Mossgate": ("Low Vael 2", 9, 9.0, (5.0, 6.0, 4.0, 5.5, 3.5, 6.0, 3.0, 5.5)),
    "Widdershore": ("Osk Terraces 14", 8, 9.0, (6.5, 5.5, 3.5, 4.5, 2.5, 6.0, 2.5, 4.5)),
    "Thrawn Hollow": ("Low Vael 7", 7, 9.0, (4.5, 5.5, 5.0, 6.0, 4.5, 5.5, 3.5, 6.0)),
    "Oxter Light": ("Hithe Uplands 1", 4, 6.0, (7.0, 6.5, 2.5, 4.5, 2.0, 6.5, 2.0, 4.5)),
}
# How widely a coffee's roasts scatter in darkness, as a share of what is usual here; 1 where not named.
SCATTER = {"Bellhouse Dusk": 0.35}

# A taster's lean on the whole scale; each adds an offset of its own on every attribute, then the panel is centred.
TASTERS = {"Ane": -0.2, "Bram": 0.0, "Cleo": -0.3, "Dov": 1.1, "Esme": -0.1}
HIGH_TASTER, DEAF_TASTER, DEAF_TO = "Dov", "Esme", "green"

FAULTS = ("smoky", "ashy", "green", "harsh", "baked")
HEARS = {"Ane": 0.85, "Bram": 0.70, "Cleo": 0.80, "Dov": 0.65, "Esme": 0.80}  # P(heard | present), black
HEARS_IN_MILK = 0.75  # of that, in milk
HEARS_DEAF = 0.04
FALSE_ALARM = {"Ane": 0.03, "Bram": 0.02, "Cleo": 0.04, "Dov": 0.03, "Esme": 0.02}

# Change of the score by (log ratio, log time, degrees C of water, log dose), each against the house recipe.
RESPONSE: dict[tuple[str, str], tuple[float, float, float, float]] = {
    ("black", "acidity"): (-2.5, -2.0, -0.08, 0.5),
    ("black", "sweetness"): (-1.5, -0.8, 0.0, 1.0),
    ("black", "bitterness"): (2.0, 2.5, 0.12, 1.5),
    ("black", "body"): (-4.0, 1.5, 0.0, 3.0),
    ("black", "roastiness"): (0.8, 1.2, 0.10, 1.0),
    ("milk", "sweetness"): (0.5, -0.5, 0.0, -1.0),
    ("milk", "bitterness"): (1.0, 1.5, 0.08, 1.5),
    ("milk", "coffee strength"): (-1.5, 1.0, 0.05, 4.0),
}

# How a roast a little darker than meant moves the scores, on top of what each batch has of its own.
DARKER = dict(zip(WHAT, (-0.22, -0.05, 0.20, 0.08, 0.25, -0.05, 0.18, 0.12), strict=True))
SD = {
    "coffee": 0.12,
    "batch_shared": 0.21,  # the same for one attribute black and in milk
    "batch_own": 0.18,
    "taster_attribute": 0.40,
    "batch_taster": 0.30,
    "pull": 0.25,
    "residual": 0.60,
}

DRIFTED_OFF = (81, 86)  # the last two batches of the coffee whose roast drifts, see green.py
# batch number: (what is off, in words; faults; shift against target in tolerances; darkness of the roast in s.d.)
OFF: dict[int, tuple[str, tuple[str, ...], dict[tuple[str, str], float], float]] = {
    11: (
        "baked: the roast stalled, the cup is flat and dull",
        ("baked",),
        {("black", "sweetness"): -1.5, ("black", "acidity"): -1.2, ("milk", "sweetness"): -1.1},
        0.2,
    ),
    17: (
        "slightly underdeveloped: sour and a little green",
        ("green",),
        {("black", "acidity"): 1.25, ("black", "sweetness"): -0.9, ("black", "roastiness"): -0.8},
        -1.6,
    ),
    24: ("just off on one attribute: too little sweetness black", (), {("black", "sweetness"): -1.2}, 0.0),
    31: ("smoky: the exhaust was choked", ("smoky",), {("black", "roastiness"): 1.3}, 0.3),
    38: (
        "too dark, and hidden by shots that ran short and fast",
        (),
        {("black", "bitterness"): 1.5, ("black", "roastiness"): 1.4, ("milk", "bitterness"): 1.2},
        1.7,
    ),
    45: (
        "plainly underdeveloped: green, sour and thin",
        ("green",),
        {("black", "acidity"): 1.7, ("black", "sweetness"): -1.5, ("black", "body"): -1.1},
        -2.6,
    ),
    52: (
        "far too dark: ashy and bitter",
        ("ashy",),
        {("black", "bitterness"): 1.8, ("black", "roastiness"): 1.9, ("black", "acidity"): -1.4},
        2.8,
    ),
    59: (
        "harsh: charged too hot, outside of the beans scorched",
        ("harsh",),
        {("black", "bitterness"): 1.3, ("milk", "bitterness"): 1.15},
        0.5,
    ),
    **{n: ("drifted dark until it tastes ashy", ("ashy",), {}, math.nan) for n in DRIFTED_OFF},
}

# batch number: how its pulls ran, and (beverage_g, time_s) added to the black pulls named
ODD_PULLS: dict[int, tuple[str, tuple[int, ...], float, float]] = {
    12: ("one shot pulled long and slow on a good roast", (2,), 8.5, 12.0),
    27: ("every black shot a little long and slow on a good roast", (1, 2, 3), 3.3, 4.6),
    38: ("every black shot a little short and fast", (1, 2, 3), -3.2, -4.2),
    49: ("one shot short and fast on a good roast", (1,), -6.0, -7.5),
}

# Batches are tasted in pairs: black at one table and, by the same people, in milk at another the day after. Two batches
# of three pulls, shared by three tasters, are about 310 mg of caffeine a head, were every cup drunk up.
BATCHES, PAIRS, WEEKS, SEASON_START = 90, 45, 34, dt.date(2026, 3, 2)
# Nobody is called away from a table more often than this in all, and never two from one cup: the caffeine of a cup is
# shared out among those who stay.
MOST_AWAY = 3
