"""What the Pull room says of one quantity of a pull against its recipe: always a word, a shape and a number."""

from dataclasses import dataclass
from typing import Final

from django.utils.formats import number_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from evenhand.bench.quantities import show
from evenhand.espresso.recipe import JUDGEABLE_TOLERANCES, QUANTITIES, HouseRecipe

NAMES: Final[dict[str, Promise]] = {
    "dose": gettext_lazy("Dose"),
    "beverage": gettext_lazy("Beverage"),
    "time": gettext_lazy("Time"),
    "water": gettext_lazy("Water"),
    "pressure": gettext_lazy("Pressure"),
}
UNITS: Final = {"dose": "g", "beverage": "g", "time": "s", "water": "°C", "pressure": "bar"}
# What a practitioner says of a pull that is above or below its recipe.
_WAYS: Final[dict[str, tuple[Promise, Promise]]] = {
    "dose": (gettext_lazy("heavy"), gettext_lazy("light")),
    "beverage": (gettext_lazy("long"), gettext_lazy("short")),
    "time": (gettext_lazy("slow"), gettext_lazy("fast")),
    "water": (gettext_lazy("hot"), gettext_lazy("cool")),
    "pressure": (gettext_lazy("high"), gettext_lazy("low")),
}
# A marker past this stands at the end of the bar, as an arrow.
_REACH = 5.0
_MIDDLE, _PER_TOLERANCE = 120.0, 20.0
# Rounding noise of a deviation, as in espresso.recipe.judgeable.
_NOISE = 1e-9


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity as the page shows it.

    Attributes
    ----------
    quantity
        One of `espresso.recipe.QUANTITIES`.
    aim
        The recipe's target and tolerance in words, empty where it asks for nothing.
    off
        Distance from the recipe in tolerances; None where not measured or not asked for.
    state
        "near" within one tolerance, "off" up to what may be judged, "far" beyond it, "none" without a distance.
    said
        The distance in words.
    x
        Where the marker stands on a bar 240 wide, middle at 120, 20 a tolerance.
    """

    quantity: str
    aim: str
    off: float | None
    state: str
    said: str
    x: float | None

    @property
    def name(self) -> Promise:
        """What the quantity is called."""
        return NAMES[self.quantity]

    @property
    def is_past_end(self) -> bool:
        """Whether the marker stands at the end of its bar because the distance does not fit on it."""
        return self.off is not None and abs(self.off) > _REACH


def rows_of(deviations: dict[str, float | None], recipe: HouseRecipe, units: str) -> tuple[Row, ...]:
    """Return a row for each quantity that the recipe asks for, in the order of `QUANTITIES`."""
    asked = [quantity for quantity in QUANTITIES if None not in recipe.target(quantity)]
    return tuple(row_of(quantity, deviations[quantity], recipe, units) for quantity in asked)


def row_of(quantity: str, off: float | None, recipe: HouseRecipe, units: str) -> Row:
    """Return one quantity as the page shows it."""
    place = None if off is None else _MIDDLE + _PER_TOLERANCE * max(-_REACH, min(_REACH, off))
    return Row(quantity, say_aim(quantity, recipe, units), off, _state(off), say_off(quantity, off), place)


def say_aim(quantity: str, recipe: HouseRecipe, units: str) -> str:
    """Say target and tolerance: "18 ± 0.3 g"; the water in the units of whoever reads."""
    target, tolerance = recipe.target(quantity)
    if target is None or tolerance is None:
        return ""
    if quantity == "water":
        shown = show(target, "temperature", units, with_unit=False)
        return f"{shown} ± {show(tolerance, 'temperature_span', units)}"
    return f"{plain(target)} ± {plain(tolerance)}\xa0{UNITS[quantity]}"


def say_off(quantity: str, off: float | None) -> str:
    """Say a distance in words: "1.4 tolerances long", "on recipe, 0.3 tolerances long"."""
    if off is None:
        return _("not measured")
    size = number_format(round(abs(off), 1), decimal_pos=1, use_l10n=True)
    if round(abs(off), 1) == 0:
        return _("on recipe")
    word = _WAYS[quantity][0 if off > 0 else 1]
    said = _("%(size)s tolerances %(word)s") % {"size": size, "word": word}
    return _("on recipe, %(said)s") % {"said": said} if _state(off) == "near" else said


def plain(value: float) -> str:
    """Write a number with the figures it has, as the locale writes numbers."""
    text = f"{value:.10g}"
    places = len(text.partition(".")[2]) if "e" not in text else 0
    return str(number_format(value, decimal_pos=places, use_l10n=True))


def _state(off: float | None) -> str:
    if off is None:
        return "none"
    if abs(off) <= 1 + _NOISE:
        return "near"
    return "off" if abs(off) <= JUDGEABLE_TOLERANCES + _NOISE else "far"
