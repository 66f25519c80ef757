"""The cautions that go with every judgement, in one text for terminal, page and PDF.

They say what can hurt somebody at a tasting and who has the last word on it: the local food code, the maker of
the machine, and licensed practice in food safety and medicine.
"""

from dataclasses import dataclass
from typing import Final

from evenhand.espresso.caffeine import EFSA_DAY_MG, EFSA_PREGNANCY_DAY_MG, EFSA_SINGLE_DOSE_MG
from evenhand.output.words import format_number
from evenhand.verdict.judgement import CaffeineRow, Judgement
from evenhand.words import join, say, say_many

SINGLE_DOSE_MG: Final = EFSA_SINGLE_DOSE_MG
"""Milligrams of caffeine at one sitting that are no safety concern for a healthy adult; in pregnancy, the day's bound.

References
----------
EFSA Panel on Dietetic Products, Nutrition and Allergies (2015). Scientific opinion on the safety of caffeine.
EFSA Journal 13(5):4102, conclusions.
"""

DAY_DOSE_MG: Final = EFSA_DAY_MG
"""Milligrams of caffeine over a day that are no safety concern for a healthy adult; source as `SINGLE_DOSE_MG`."""

_BOUNDS: Final = say(
    "For healthy adults, up to {single:.0f} mg at once and up to {day:.0f} mg a day give no safety concern; in "
    "pregnancy, up to {pregnancy:.0f} mg a day (EFSA 2015, EFSA Journal 13(5):4102).",
    single=SINGLE_DOSE_MG,
    day=DAY_DOSE_MG,
    pregnancy=EFSA_PREGNANCY_DAY_MG,
)

CAFFEINE_BOUNDS: Final = join((_BOUNDS, ""), " ")
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
            say("Hot water and steam"),
            say(
                "Water, steam and bare metal scald at once, and coffee sprays from a portafilter loosened under "
                "pressure. Follow the machine's manual; leave its safety valves and its inside to a qualified "
                "technician."
            ),
        ),
        Caution(say("Caffeine"), _caffeine_text(judgement.caffeine)),
        Caution(
            say("Milk is an allergen"),
            say(
                "Say before the table which cups hold milk or a plant drink, keep pitchers and spoons apart, and let "
                "anyone with an allergy or intolerance taste black only."
            ),
        ),
        Caution(
            say("Food handling"),
            say(
                "Clean hands, clean spoons, milk kept cold. The local food code, and those trained and licensed under "
                "it, decide what is required."
            ),
        ),
        Caution(
            say("What this judgement is"),
            say(
                "It weighs what tasters reported about taste. It does not show that a coffee is safe to drink, and "
                "the verdict is that of the person who signs it."
            ),
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
        return say("over {bound:.0f} mg", bound=DAY_DOSE_MG)
    if caffeine_mg > SINGLE_DOSE_MG:
        return say("over {bound:.0f} mg", bound=SINGLE_DOSE_MG)
    return ""


def _caffeine_text(rows: tuple[CaffeineRow, ...]) -> str:
    said = [
        _BOUNDS,
        say("Spit, or spread the tables; ask a doctor where health, age, pregnancy or medicines matter."),
    ]
    over = [row for row in rows if row.caffeine_mg > SINGLE_DOSE_MG]
    if over:
        worst = max(over, key=lambda row: row.caffeine_mg)
        said.append(
            say_many(
                "If all is swallowed, {count} taster passes {single:.0f} mg at one table; the most is {most} mg, "
                "{taster} at table {table}.",
                "If all is swallowed, {count} tasters pass {single:.0f} mg at one table; the most is {most} mg, "
                "{taster} at table {table}.",
                count=len({row.taster for row in over}),
                single=SINGLE_DOSE_MG,
                most=format_number(worst.caffeine_mg, 0),
                taster=worst.taster,
                table=worst.table,
            )
        )
    elif rows:
        said.append(say("No taster was offered more than {single:.0f} mg at one table.", single=SINGLE_DOSE_MG))
    return join(said, " ")
