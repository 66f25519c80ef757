"""What a named fault may point at, and what must be asked before one cause is named.

Everything here is common practice of the trade, no source, unless a note says otherwise. It is a starting table: the
list of faults is the user's, and a fault without a note is simply reported without one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from evenhand.errors import QuantityError

ColourWord = Literal["lighter", "on target", "darker"]

#: Green coffee is called new crop below this age; common practice, no source.
NEW_CROP_BELOW_MONTHS = 4.0
#: Green coffee is called past crop from this age; common practice, no source.
PAST_CROP_FROM_MONTHS = 12.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultNote:
    """What one fault may mean.

    Attributes
    ----------
    roast
        What in the roast it may point at, as the end of a sentence.
    colour
        The colour that would go with that, against target; None where colour does not tell.
    green
        What in the green coffee may taste alike, as the end of a sentence; empty if nothing is commonly confused.
    crop
        The age of crop that goes with it: "new", "past" or None.
    """

    roast: str
    colour: ColourWord | None = None
    green: str = ""
    crop: Literal["new", "past"] | None = None


_TOO_FAR = "a roast taken too far"
_NOT_FAR = "a roast not taken far enough"
_SURFACE = "a bean surface that met too much heat, which the mean colour may hide"
_BAKED = "a baked roast: too long with too little heat, at any colour"
_NEW = "new-crop green coffee that has not rested"
_PAST = "past-crop green coffee"

_GREEN = FaultNote(roast=_NOT_FAR, colour="lighter", green=_NEW, crop="new")
_FLAT = FaultNote(roast=_BAKED, green=_PAST, crop="past")

#: Notes by fault name in lower case. Data, not law: pass your own mapping to `explain`.
FAULT_NOTES: Mapping[str, FaultNote] = MappingProxyType(
    {
        "smoky": FaultNote(roast=_TOO_FAR, colour="darker"),
        "ashy": FaultNote(roast=_TOO_FAR, colour="darker"),
        "burnt": FaultNote(roast=_TOO_FAR, colour="darker"),
        "scorched": FaultNote(roast=_SURFACE),
        "green": _GREEN,
        "grassy": _GREEN,
        "harsh": FaultNote(roast=_NOT_FAR, colour="lighter"),
        "baked": FaultNote(roast=_BAKED, green=_PAST, crop="past"),
        "flat": _FLAT,
        "woody": _FLAT,
    }
)


def colour_word(reading: float, target: float, tolerance: float, *, higher_is_lighter: bool = True) -> ColourWord:
    """Say whether a colour reading is lighter than, on, or darker than its target.

    Parameters
    ----------
    reading, target, tolerance
        On the shop's own scale; `tolerance` is a half-width, at least 0.
    higher_is_lighter
        Scales run both ways; say which way yours runs.

    Raises
    ------
    QuantityError
        `tolerance` is negative or a value is not a number.
    """
    if not tolerance >= 0.0 or reading != reading or target != target:
        raise QuantityError("A colour needs a reading, a target and a tolerance of 0 or more.")
    difference = (reading - target) * (1.0 if higher_is_lighter else -1.0)
    if abs(difference) <= tolerance:
        return "on target"
    return "lighter" if difference > 0 else "darker"


def explain(
    fault: str,
    crop_age_months: float | None = None,
    colour: ColourWord | None = None,
    notes: Mapping[str, FaultNote] = FAULT_NOTES,
) -> tuple[str, ...]:
    """Say what a fault may point at, and what to ask before a cause is named.

    Where green coffee and roast can taste alike, no cause is named until both the crop's age and the colour are given;
    even then the sentences only weigh.

    Parameters
    ----------
    fault
        Its name; case and outer blanks do not matter. A name without a note gives no sentence.
    crop_age_months
        Months since harvest, 0 or more.
    colour
        Colour of the batch against its target, see `colour_word`.
    notes
        The table to look it up in.

    Raises
    ------
    QuantityError
        `crop_age_months` is negative or not a number, or `colour` is not one of the three words.
    """
    if crop_age_months is not None and not crop_age_months >= 0.0:
        raise QuantityError(f"The age of the crop must be 0 months or more, not {crop_age_months}.")
    if colour not in (None, "lighter", "on target", "darker"):
        raise QuantityError(f"Colour against target is 'lighter', 'on target' or 'darker', not {colour!r}.")
    note = notes.get(fault.strip().lower())
    if note is None:
        return ()
    name = fault.strip().lower()
    label = name[:1].upper() + name[1:]
    if note.green:
        return _weigh_both(label, note, crop_age_months, colour)
    first = f"{label} may point at {note.roast}."
    if note.colour is None:
        return (first,)
    if colour is None:
        return (first, f"Measure the colour: {note.colour} than target would support it.")
    if colour == note.colour:
        return (first, f"The colour is {_against(colour)}, which supports it.")
    return (first, f"The colour is {_against(colour)}, which does not support it; taste again before naming a cause.")


def _weigh_both(
    label: str, note: FaultNote, crop_age_months: float | None, colour: ColourWord | None
) -> tuple[str, ...]:
    first = f"{label} may be {note.green} or {note.roast}."
    missing = [
        what
        for what, value in (("the age of the crop (months since harvest)", crop_age_months), ("the colour", colour))
        if value is None
    ]
    said = []
    for_green: bool | None = None
    if crop_age_months is not None:
        for_green = (
            crop_age_months < NEW_CROP_BELOW_MONTHS if note.crop == "new" else crop_age_months >= PAST_CROP_FROM_MONTHS
        )
        said.append(
            f"At {crop_age_months:.0f} months since harvest the green coffee "
            + (f"is {note.crop} crop and may well be the cause." if for_green else f"is not {note.crop} crop.")
        )
    for_roast: bool | None = None
    if colour is not None and note.colour is not None:
        for_roast = colour == note.colour
        said.append(
            f"The colour is {_against(colour)}, which {'supports' if for_roast else 'does not support'} "
            "the roast as the cause."
        )
    elif colour is not None:
        said.append(
            f"The colour is {_against(colour)}; colour alone does not show this roast fault, so look at the "
            "roast's length and curve."
        )
    if missing:
        return (first, *said, f"Ask for {' and '.join(missing)} before naming one.")
    if for_green and not for_roast:
        last = "The green coffee is the likelier cause; a second roast of the same lot would tell."
    elif for_roast and not for_green:
        last = "The roast is the likelier cause."
    elif for_green and for_roast:
        last = "Both may have a part; roast the same lot again on target colour before naming one."
    elif note.colour is None:
        last = "The roast is the likelier cause, if its curve agrees."
    else:
        last = "Neither is supported; taste again before naming a cause."
    return (first, *said, last)


def _against(colour: ColourWord) -> str:
    return colour if colour == "on target" else f"{colour} than target"
