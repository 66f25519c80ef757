"""What a named fault may point at, and what must be asked before one cause is named.

Everything here is common practice of the trade, no source, unless a note says otherwise. It is a starting table: the
list of faults is the user's, and a fault without a note is simply reported without one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from evenhand.errors import QuantityError
from evenhand.words import capitalise, join, say

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


_TOO_FAR = say("a roast taken too far")
_NOT_FAR = say("a roast not taken far enough")
_SURFACE = say("a bean surface that met too much heat, which the mean colour may hide")
_BAKED = say("a baked roast: too long with too little heat, at any colour")
_NEW = say("new-crop green coffee that has not rested")
_PAST = say("past-crop green coffee")

_AGAINST: Mapping[ColourWord, str] = MappingProxyType(
    {
        "lighter": say("lighter than target"),
        "on target": say("on target"),
        "darker": say("darker than target"),
    }
)

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
        raise QuantityError(say("A colour needs a reading, a target and a tolerance of 0 or more."))
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
        raise QuantityError(
            say("The age of the crop must be 0 months or more, not {crop_age_months}.", crop_age_months=crop_age_months)
        )
    if colour not in (None, "lighter", "on target", "darker"):
        raise QuantityError(
            say("Colour against target is 'lighter', 'on target' or 'darker', not {colour!r}.", colour=colour)
        )
    note = notes.get(fault.strip().lower())
    if note is None:
        return ()
    name = fault.strip().lower()
    if note.green:
        return _weigh_both(name, note, crop_age_months, colour)
    first = capitalise(say("{fault} may point at {roast}.", fault=name, roast=note.roast))
    if note.colour is None:
        return (first,)
    if colour is None:
        return (first, say("Measure the colour: {colour} would support it.", colour=_AGAINST[note.colour]))
    if colour == note.colour:
        return (first, say("The colour is {colour}, which supports it.", colour=_AGAINST[colour]))
    weak = say(
        "The colour is {colour}, which does not support it; taste again before naming a cause.",
        colour=_AGAINST[colour],
    )
    return (first, weak)


def _weigh_both(
    fault: str, note: FaultNote, crop_age_months: float | None, colour: ColourWord | None
) -> tuple[str, ...]:
    first = capitalise(say("{fault} may be {green} or {roast}.", fault=fault, green=note.green, roast=note.roast))
    said: list[str] = [first]
    missing: list[str] = []
    for_green = for_roast = False
    if crop_age_months is None:
        missing.append(say("the age of the crop (months since harvest)"))
    else:
        for_green, words = _weigh_crop(crop_age_months, is_new=note.crop == "new")
        said.append(words)
    if colour is None:
        missing.append(say("the colour"))
    else:
        for_roast, words = _weigh_colour(colour, note.colour)
        said.append(words)
    if missing:
        said.append(say("Ask for {what} before naming one.", what=join(missing, " and ")))
    elif for_green and for_roast:
        said.append(say("Both may have a part; roast the same lot again on target colour before naming one."))
    elif for_green:
        said.append(say("The green coffee is the likelier cause; a second roast of the same lot would tell."))
    elif for_roast:
        said.append(say("The roast is the likelier cause."))
    elif note.colour is None:
        said.append(say("The roast is the likelier cause, if its curve agrees."))
    else:
        said.append(say("Neither is supported; taste again before naming a cause."))
    return tuple(said)


def _weigh_crop(months: float, *, is_new: bool) -> tuple[bool, str]:
    """Say whether the green coffee's age goes with the fault, which is one of new crop or one of past crop."""
    if is_new and months < NEW_CROP_BELOW_MONTHS:
        return True, say(
            "At {months:.0f} months since harvest the green coffee is new crop and may well be the cause.",
            months=months,
        )
    if is_new:
        return False, say("At {months:.0f} months since harvest the green coffee is not new crop.", months=months)
    if months >= PAST_CROP_FROM_MONTHS:
        return True, say(
            "At {months:.0f} months since harvest the green coffee is past crop and may well be the cause.",
            months=months,
        )
    return False, say("At {months:.0f} months since harvest the green coffee is not past crop.", months=months)


def _weigh_colour(colour: ColourWord, telling: ColourWord | None) -> tuple[bool, str]:
    """Say whether the colour goes with the roast as the cause; `telling` is the one that would."""
    against = _AGAINST[colour]
    if telling is None:
        return False, say(
            "The colour is {colour}; colour alone does not show this roast fault, so look at the roast's length and "
            "curve.",
            colour=against,
        )
    if colour == telling:
        return True, say("The colour is {colour}, which supports the roast as the cause.", colour=against)
    return False, say("The colour is {colour}, which does not support the roast as the cause.", colour=against)
