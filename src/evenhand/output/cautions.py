"""The cautions that go with every judgement, in one text for terminal, page and PDF.

They say what can hurt somebody at a tasting and who has the last word on it: the local food code, the maker of
the machine, and licensed practice in food safety and medicine.
"""

from dataclasses import dataclass
from typing import Final

from evenhand.espresso.caffeine import EFSA_DAY_MG, EFSA_PREGNANCY_DAY_MG, EFSA_SINGLE_DOSE_MG
from evenhand.output.words import format_number
from evenhand.verdict.judgement import CaffeineRow, Judgement

SINGLE_DOSE_MG: Final = EFSA_SINGLE_DOSE_MG
"""Milligrams of caffeine at one sitting that are no safety concern for a healthy adult; in pregnancy, the day's bound.

References
----------
EFSA Panel on Dietetic Products, Nutrition and Allergies (2015). Scientific opinion on the safety of caffeine.
EFSA Journal 13(5):4102, conclusions.
"""

DAY_DOSE_MG: Final = EFSA_DAY_MG
"""Milligrams of caffeine over a day that are no safety concern for a healthy adult; source as `SINGLE_DOSE_MG`."""

CAFFEINE_BOUNDS: Final = (
    f"For healthy adults, up to {SINGLE_DOSE_MG:.0f} mg at once and up to {DAY_DOSE_MG:.0f} mg a day give no "
    f"safety concern; in pregnancy, up to {EFSA_PREGNANCY_DAY_MG:.0f} mg a day (EFSA 2015, EFSA Journal 13(5):4102). "
)
"""The bounds as every caution states them, ending in a space."""


@dataclass(frozen=True, slots=True)
class Caution:
    """One danger and what to do about it: a heading of a few words and a short text."""

    heading: str
    text: str


def list_cautions(judgement: Judgement) -> tuple[Caution, ...]:
    """List the cautions for a judgement; the one on caffeine names who may pass the single dose, and where.

    Parameters
    ----------
    judgement
        The judgement whose caffeine table is read.

    Returns
    -------
    tuple of Caution
        Always the same five, in the same order.
    """
    return (
        Caution(
            "Hot water and steam",
            "Water, steam and bare metal scald at once, and coffee sprays from a portafilter loosened under pressure. "
            "Follow the machine's manual; leave its safety valves and its inside to a qualified technician.",
        ),
        Caution("Caffeine", _caffeine_text(judgement.caffeine)),
        Caution(
            "Milk is an allergen",
            "Say before the table which cups hold milk or a plant drink, keep pitchers and spoons apart, and let "
            "anyone with an allergy or intolerance taste black only.",
        ),
        Caution(
            "Food handling",
            "Clean hands, clean spoons, milk kept cold. The local food code, and those trained and licensed under it, "
            "decide what is required.",
        ),
        Caution(
            "What this judgement is",
            "It weighs what tasters reported about taste. It does not show that a coffee is safe to drink, and "
            "the verdict is that of the person who signs it.",
        ),
    )


def note_caffeine(caffeine_mg: float) -> str:
    """Say in words where an amount of caffeine stands against the published bounds.

    Parameters
    ----------
    caffeine_mg
        Milligrams offered to one taster at one table.

    Returns
    -------
    str
        Empty up to 200 mg; otherwise which bound it passes.
    """
    if caffeine_mg > DAY_DOSE_MG:
        return f"over {DAY_DOSE_MG:.0f} mg"
    if caffeine_mg > SINGLE_DOSE_MG:
        return f"over {SINGLE_DOSE_MG:.0f} mg"
    return ""


def _caffeine_text(rows: tuple[CaffeineRow, ...]) -> str:
    bounds = (
        f"{CAFFEINE_BOUNDS}Spit, or spread the tables; ask a doctor where health, age, pregnancy or medicines matter."
    )
    over = [row for row in rows if row.caffeine_mg > SINGLE_DOSE_MG]
    if not rows:
        return bounds
    if not over:
        return f"{bounds} No taster was offered more than {SINGLE_DOSE_MG:.0f} mg at one table."
    worst = max(over, key=lambda row: row.caffeine_mg)
    tasters = len({row.taster for row in over})
    return (
        f"{bounds} If all is swallowed, {tasters} {'taster passes' if tasters == 1 else 'tasters pass'} "
        f"{SINGLE_DOSE_MG:.0f} mg at one table; the most is {format_number(worst.caffeine_mg, 0)} mg, "
        f"{worst.taster} at table {worst.table}."
    )
