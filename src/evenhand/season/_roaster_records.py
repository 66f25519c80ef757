"""What goes to and comes from a talk with the roaster: measures, tastes, departures and associations."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from numpy.typing import ArrayLike

from evenhand.units import Measured
from evenhand.words import say


@dataclass(frozen=True, slots=True, kw_only=True)
class RoastMeasure:
    """One roast measure of all batches.

    Attributes
    ----------
    name, unit
        As they are to be read.
    value, sd
        Shape (batches,), in roasting order, NaN where not measured; the standard uncertainty may be one number.
    higher, lower
        Say what a batch did that lies higher or lower, by how much it does: "roasted 12 s longer".
    """

    name: str
    unit: str
    value: ArrayLike
    sd: ArrayLike | float
    higher: Callable[[str], str]
    lower: Callable[[str], str]


def dry_loss_measure(value: ArrayLike, sd: ArrayLike | float) -> RoastMeasure:
    """Dry mass losses in percent, from `dry_loss_pct`."""
    return RoastMeasure(
        name=say("dry mass loss"),
        unit=say("points"),
        value=value,
        sd=sd,
        higher=lambda size: say("lost {size} more of the dry mass", size=size),
        lower=lambda size: say("lost {size} less of the dry mass", size=size),
    )


def colour_measure(value: ArrayLike, sd: ArrayLike | float, scale: str) -> RoastMeasure:
    """Colours on one scale; which way is darker is the scale's affair, so none is said."""
    return RoastMeasure(
        name=say("colour ({scale})", scale=scale) if scale else say("colour"),
        unit="",
        value=value,
        sd=sd,
        higher=lambda size: say("read {size} higher in colour", size=size),
        lower=lambda size: say("read {size} lower in colour", size=size),
    )


def roast_time_measure(value: ArrayLike, sd: ArrayLike | float = 2.0) -> RoastMeasure:
    """Roast times in seconds, by default known to 2 s (common practice, no source)."""
    return RoastMeasure(
        name=say("roast time"),
        unit="s",
        value=value,
        sd=sd,
        higher=lambda size: say("roasted {size} longer", size=size),
        lower=lambda size: say("roasted {size} shorter", size=size),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OffTarget:
    """How far one attribute lies from its target, by each batch's own cups.

    `off` and `sd` have shape (batches,), in points, NaN where not tasted; `tolerance` is the half-width in points.
    """

    name: str
    off: ArrayLike
    sd: ArrayLike | float
    tolerance: ArrayLike | float


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultChance:
    """The probability that one fault is in each batch, shape (batches,), NaN where nobody was asked."""

    name: str
    probability: ArrayLike


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """How far a batch lies from its fellows in one measure.

    Attributes
    ----------
    batch
        Number from 0.
    measure
        Name of the measure.
    difference
        Batch minus fellows, with its standard uncertainty by measurement and by the fellows' mean.
    p
        Chance that a batch made like its fellows lies as far out.
    fellows
        How many were measured.
    """

    batch: int
    measure: str
    difference: Measured
    p: float
    fellows: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Association:
    """How one measure goes with one attribute or fault, within coffees.

    Attributes
    ----------
    measure, outcome, kind
        What goes with what.
    effect, lower90, upper90
        For an attribute: points more where the measure is higher by `step`. For a fault: how much higher the measure is
        where the fault is, in the measure's unit. With its standard uncertainty and 90 % interval.
    step
        Standard deviation of the measure within coffees.
    batches
        How many speak.
    p, p_family
        Chance of as much by luck, for this pair alone and among all pairs looked at (Holm, 1979).
    reliability
        Share of the measure's variance that is not measurement error. An attribute's effect shrinks about by it.
    """

    measure: str
    outcome: str
    kind: Literal["attribute", "fault"]
    effect: Measured
    lower90: float
    upper90: float
    step: float
    batches: int
    p: float
    p_family: float
    reliability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RoasterReading:
    """What there is to say to the roaster.

    Attributes
    ----------
    departures
        Every batch's place among its fellows, by measure.
    associations
        Every pair looked at, the clearest first.
    batch_sentences
        One sentence for each batch off target, with its number; its fellows' measures are set beside it.
    sentences
        What holds over all batches, with the warning that it is association.
    """

    departures: tuple[Departure, ...]
    associations: tuple[Association, ...]
    batch_sentences: tuple[tuple[int, str], ...]
    sentences: tuple[str, ...]
