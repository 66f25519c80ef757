"""`evenhand drinks`: the menu table of milk drinks; what cannot be made ends in a sentence and status 2."""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from rich.console import Console
from rich.table import Table

from evenhand.cli._complaints import complain
from evenhand.errors import EvenhandError, QuantityError
from evenhand.espresso.milk import (
    JUG_200_G,
    ML_PER_US_FL_OZ,
    PORCELAIN_J_PER_G_K,
    WAND,
    Carry,
    Drink,
    MenuRow,
    Milk,
    Shot,
    Steaming,
    Vessel,
    find_carry,
    find_milk,
    menu,
    shot_from_extraction,
)
from evenhand.output.cautions import CAFFEINE_BOUNDS, SINGLE_DOSE_MG, Caution, note_caffeine
from evenhand.units import Measured

SIZES: Final = ("3oz", "4oz", "5oz", "6oz", "8oz", "10oz", "12oz", "16oz", "20oz")
EXTRACTION_SD_PCT: Final = 0.25  # what 0.1 point of dissolved solids does to a 1:2 shot's extraction, with its scale
VERY_HOT_C: Final = 65.0  # IARC Monographs 116 (2018): drinking above 65 °C is probably carcinogenic to humans

_SIZE: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(oz|ml)", re.IGNORECASE)
_LIMITS_ML: Final = (3 * ML_PER_US_FL_OZ - 0.1, 20 * ML_PER_US_FL_OZ + 10.0)
_ASCII: Final = str.maketrans({"±": "+-", "°": ""})
_AS_IS: Final = ("size", "milk g", "steam g", "drink °C", "coffee g/100 ml", "caffeine mg")
_EQUAL: Final = ("size", "dose g", "yield g", "shots", "caffeine mg", f"or within {SINGLE_DOSE_MG:.0f} mg: strength")
_COLUMNS: Final = ("taster", "size_ml", "heard")
_MOST_BYTES: Final = 1_000_000


def run(
    *,
    dose_g: float = 16.0,
    beverage_g: float = 32.0,
    tds_pct: float | None = None,
    extraction_pct: float | None = None,
    sizes: Sequence[str] = (),
    like: str = "6oz",
    milk: str = "whole",
    heat_capacity: float | None = None,
    milk_from_c: float = 5.0,
    temperature_c: float = 60.0,
    steam_bar: float = 1.2,
    dry_pct: float = 95.0,
    jug_g: float = 200.0,
    air_pct: float = 15.0,
    cup_g: float = 0.0,
    cup_c: float = 40.0,
    caffeine_mg_per_g: float = 12.0,
    tasted: Path | None = None,
    console: Console | None = None,
) -> int:
    """Show every size of milk drink with the house shot, at equal strength, and within 200 mg of caffeine.

    Parameters
    ----------
    dose_g, beverage_g, tds_pct, extraction_pct
        The house shot. One of dissolved solids and extraction in %, or neither for dissolved solids of 10 %.
    sizes, like
        Drinks as "6oz" (US fluid ounces) or "180ml", foam included; the drink whose strength is to be matched.
    milk, heat_capacity
        Short name of the milk; its heat capacity in J/(g K) where the shop knows better.
    milk_from_c, temperature_c, steam_bar, dry_pct, jug_g, air_pct
        How it is steamed: °C before and after, gauge pressure, dry share of the steam in %, steel jug, air in the foam
        in % of the hot milk's volume.
    cup_g, cup_c
        A porcelain cup's mass and temperature; 0 g for paper, or a cup as hot as the drink.
    caffeine_mg_per_g
        Caffeine of the roasted coffee.
    tasted
        A CSV file with the columns taster, size_ml and heard, to say how far the coffee carries.
    console
        Where to show it; the terminal if not given.

    Returns
    -------
    int
        The exit status: 0, or 2 with the reason on standard error.
    """
    try:
        shot = _shot(dose_g, beverage_g, tds_pct, extraction_pct)
        steaming = _steaming(milk, heat_capacity, milk_from_c, temperature_c, steam_bar, dry_pct, jug_g, air_pct)
        asked = {text: parse_size_ml(text) for text in (sizes or SIZES)}
        reference_ml = parse_size_ml(like)
        cup = None
        if cup_g != 0.0:
            cup = Vessel(mass_g=Measured(cup_g), heat_j_per_g_k=PORCELAIN_J_PER_G_K, start_c=Measured(cup_c, 3.0))
        rows = menu(
            tuple(asked.values()),
            shot,
            steaming,
            reference_ml=reference_ml,
            cup=cup,
            caffeine_mg_per_g=caffeine_mg_per_g,
        )
        carry = None if tasted is None else find_carry(*_read_tasted(tasted))
    except EvenhandError as error:
        return complain(error)
    screen = _Screen(console or Console())
    labels = [f"{_tidy(text)} {ml:.0f} ml" if "oz" in text.lower() else f"{ml:.0f} ml" for text, ml in asked.items()]
    like_said = _tidy(like)
    screen.table("With the house shot", _AS_IS, _as_is_rows(labels, rows))
    screen.table(f"As strong as the {like_said} drink", _EQUAL, _equal_rows(labels, rows, shot))
    for line in _explain(shot, steaming, cup, caffeine_mg_per_g, like_said):
        screen.line(line)
    if carry is not None:
        _show_carry(carry, screen)
    screen.line("")
    screen.line("Cautions", style="bold")
    for caution in list_drink_cautions(steaming.milk, rows):
        screen.line(f"{caution.heading}: {caution.text}")
    return 0


def parse_size_ml(text: str) -> float:
    """Read a size of drink, such as "6oz" or "180 ml", in mL.

    Raises
    ------
    QuantityError
        If there is no number with a unit, or the size lies outside 3 to 20 oz.
    """
    found = _SIZE.fullmatch(text.strip())
    if not found:
        raise QuantityError(f'The size "{text}" cannot be read; write a number with oz or ml, such as 6oz or 180ml.')
    number = float(found[1].replace(",", "."))
    size_ml = number * ML_PER_US_FL_OZ if found[2].lower() == "oz" else number
    if not _LIMITS_ML[0] <= size_ml <= _LIMITS_ML[1]:
        raise QuantityError(f"A drink is of 3 to 20 oz (89 to 600 ml), not {text.strip()}.")
    return size_ml


def list_drink_cautions(milk: Milk, rows: Sequence[MenuRow]) -> tuple[Caution, ...]:
    """List what can hurt somebody who makes or drinks these drinks.

    Parameters
    ----------
    milk
        Whose allergen is named.
    rows
        The menu, whose caffeine and temperature are looked at.
    """
    drinks = [drink for row in rows for drink in (row.as_is, row.equal) if drink is not None]
    hottest_c = max(drink.temperature_c.value for drink in drinks)
    hot = (
        f" Drinks above {VERY_HOT_C:.0f} °C are probably carcinogenic when drunk that hot (IARC Monographs 116, "
        "2018); let them cool."
    )
    most = max(drink.caffeine_mg.value for drink in drinks)
    over = note_caffeine(most)
    caffeine = (
        CAFFEINE_BOUNDS
        + (f"The drink with most holds about {most:.0f} mg, {over}. " if over else "")
        + "Ask a doctor where health, age, pregnancy or medicines matter."
    )
    return (
        Caution(
            "Steam and hot milk",
            "Both scald at once. Purge the wand away from hands, keep a hand off the jug's side once it is hot, and "
            "follow the machine's manual; leave its safety valves to a qualified technician."
            + (hot if hottest_c > VERY_HOT_C else ""),
        ),
        Caution("Caffeine", caffeine),
        Caution(
            "Allergens",
            f"This drink holds: {milk.allergen}. A wand, jug or cloth carries traces of one milk into the next (cow's "
            "milk, soy, nuts, gluten in oats): keep them apart, read the label, and tell the guest.",
        ),
        Caution(
            "Food handling",
            "Keep milk and opened plant drinks cold, do not steam leftovers again, and clean the wand after each use. "
            "The local food code decides what is required.",
        ),
    )


def _shot(dose_g: float, beverage_g: float, tds_pct: float | None, extraction_pct: float | None) -> Shot:
    house = Shot()
    dose, beverage = Measured(dose_g, house.dose_g.sd), Measured(beverage_g, house.beverage_g.sd)
    if tds_pct is not None and extraction_pct is not None:
        raise QuantityError("State dissolved solids or extraction, not both; one follows from the other.")
    if extraction_pct is not None:
        return shot_from_extraction(dose, beverage, Measured(extraction_pct, EXTRACTION_SD_PCT))
    tds = house.tds_pct if tds_pct is None else Measured(tds_pct, house.tds_pct.sd)
    return Shot(dose_g=dose, beverage_g=beverage, tds_pct=tds)


def _steaming(
    kind: str,
    heat_capacity: float | None,
    from_c: float,
    to_c: float,
    steam_bar: float,
    dry_pct: float,
    jug_g: float,
    air_pct: float,
) -> Steaming:
    milk, usual = find_milk(kind), Steaming()
    if heat_capacity is not None:
        milk = replace(milk, heat_j_per_g_k=Measured(heat_capacity, milk.heat_j_per_g_k.sd))
    return Steaming(
        milk=milk,
        start_c=Measured(from_c, usual.start_c.sd),
        end_c=Measured(to_c, usual.end_c.sd),
        steam=replace(
            WAND, gauge_bar=Measured(steam_bar, WAND.gauge_bar.sd), quality=Measured(dry_pct / 100.0, WAND.quality.sd)
        ),
        jug=replace(JUG_200_G, mass_g=Measured(jug_g, JUG_200_G.mass_g.sd if jug_g else 0.0)),
        air_share=Measured(air_pct / 100.0, usual.air_share.sd),
    )


def _as_is_rows(labels: Sequence[str], rows: Sequence[MenuRow]) -> list[tuple[str, ...]]:
    no_room = ("no room", "", "", "", "")
    return [(label, *(_cells(row.as_is) if row.as_is else no_room)) for label, row in zip(labels, rows, strict=True)]


def _equal_rows(labels: Sequence[str], rows: Sequence[MenuRow], shot: Shot) -> list[tuple[str, ...]]:
    made: list[tuple[str, ...]] = []
    for label, row in zip(labels, rows, strict=True):
        equal, within = row.equal, row.within
        cut = ""
        if within is not None:
            cut = f"{within.shot.dose_g.value:.0f} g, {within.caffeine_mg.value:.0f} mg, {row.within_share:.1%}"
        made.append(
            (
                label,
                f"{equal.shot.dose_g.value:.1f}",
                f"{equal.shot.beverage_g.value:.0f}",
                f"{equal.shot.dose_g.value / shot.dose_g.value:.2f}",
                _show(equal.caffeine_mg, 0),
                cut,
            )
        )
    return made


def _cells(drink: Drink) -> tuple[str, ...]:
    return (
        _show(drink.milk_g, 0),
        _show(drink.condensate_g, 1),
        _show(drink.temperature_c, 1),
        _show(drink.strength_g_per_100ml, 2),
        _show(drink.caffeine_mg, 0),
    )


def _show(quantity: Measured, digits: int) -> str:
    return f"{quantity.value:.{digits}f} ±{quantity.sd:.{digits}f}"


def _explain(shot: Shot, steaming: Steaming, cup: Vessel | None, caffeine_mg_per_g: float, like: str) -> list[str]:
    jug = steaming.jug
    heated = f"{steaming.milk.name} ({steaming.milk.heat_j_per_g_k.value:.2f} J/(g K))"
    return [
        f"Shot: {shot.dose_g.value:g} g in, {shot.beverage_g.value:g} g out, {shot.tds_pct.value:.2f} % dissolved "
        f"solids ({shot.extraction_pct.value:.1f} % extraction), {shot.cup_c.value:.0f} °C in the cup.",
        f"Milk: {heated}, {steaming.start_c.value:g} to {steaming.end_c.value:g} °C, "
        f"steam at {steaming.steam.gauge_bar.value:g} bar on the gauge and {steaming.steam.quality.value:.0%} dry, "
        f"steel jug of {jug.mass_g.value if jug else 0:.0f} g, air {steaming.air_share.value:.0%} of the hot milk; "
        + (f"cup of {cup.mass_g.value:.0f} g at {cup.start_c.value:.0f} °C." if cup else "the cup takes no heat."),
        f"Sizes include foam; oz are US fluid ounces. ± is one standard uncertainty. The {like} drink with the house "
        "shot is the one to match. Caffeine: "
        f"{caffeine_mg_per_g:g} mg in a gram of roast, four fifths of it in the cup (from memory; beans differ).",
        "Equal strength keeps ratio and extraction: more than one shot means more pulls or a larger basket. Whether a "
        "larger drink should be that strong is for the shop to taste.",
    ]


def _read_tasted(path: Path) -> tuple[list[float], list[int], list[str]]:
    """Read answers; a size of "blank" is a milk drink without this coffee."""
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise QuantityError(f"{path}: the file is larger than 1 MB; it should hold one short line an answer.")
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = (error.strerror or str(error)).lower() if isinstance(error, OSError) else "it is not UTF-8 text"
        raise QuantityError(f"{path}: the file cannot be read ({reason}).") from error
    rows = csv.DictReader(io.StringIO(text))
    missing = [name for name in _COLUMNS if name not in (rows.fieldnames or ())]
    if missing:
        raise QuantityError(f"{path}: the column {missing[0]} is missing; the columns are {', '.join(_COLUMNS)}.")
    sizes: list[float] = []
    heard: list[int] = []
    tasters: list[str] = []
    for line, row in enumerate(rows, start=2):
        size, answer, taster = ((row[name] or "").strip() for name in ("size_ml", "heard", "taster"))
        try:
            sizes.append(float("inf") if size.lower() == "blank" else float(size))
        except ValueError:
            raise QuantityError(f'{path}, row {line}, size_ml: "{size}" is neither a number nor blank.') from None
        if answer not in ("0", "1"):
            raise QuantityError(f'{path}, row {line}, heard: "{answer}" is neither 1 (heard) nor 0.')
        if not taster:
            raise QuantityError(f"{path}, row {line}, taster: every answer names its taster.")
        heard.append(int(answer))
        tasters.append(taster)
    return sizes, heard, tasters


def _show_carry(carry: Carry, screen: "_Screen") -> None:
    rows = [
        (f"{row.size_ml:.0f} ml", str(row.said_heard), str(row.tasted), _show(row.share.scaled(100.0), 0))
        for row in carry.sizes
    ]
    screen.line("")
    screen.table("How far this coffee carries", ("size", "said heard", "cups", "truly hear it, %"), rows)
    screen.line(carry.says)


def _tidy(text: str) -> str:
    return text.strip().lower().replace(" ", "")


class _Screen:
    """A console, with plainer signs where it knows ASCII only."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._plain = not console.encoding.lower().startswith("utf")

    def line(self, text: str, style: str | None = None) -> None:
        self._console.print(self._sign(text), style=style, markup=False, highlight=False)

    def table(self, title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        shown = Table(title=self._sign(title), title_justify="left")
        for place, column in enumerate(columns):
            # Folded, not cut: a cut cell loses figures, and its mark is no ASCII sign.
            shown.add_column(self._sign(column), justify="right" if place else "left", overflow="fold")
        for row in rows:
            shown.add_row(*map(self._sign, row))
        self._console.print(shown)

    def _sign(self, text: str) -> str:
        return text.translate(_ASCII) if self._plain else text
