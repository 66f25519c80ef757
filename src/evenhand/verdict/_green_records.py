"""What comes out of reading the green: lines of ageing, lots with their stock, and what each lot asks for.

Plain numbers, text and tuples only: every record can be written to JSON and read back.
"""

from dataclasses import dataclass

from evenhand.season.ageing import StockAdvice
from evenhand.units import Measured
from evenhand.verdict._naming import name_taste
from evenhand.words import Words


@dataclass(frozen=True, slots=True, kw_only=True)
class LotStock:
    """What is left of a lot, and how fast it goes.

    Attributes
    ----------
    delivered_kg, used_kg, left_kg
        Delivered, less what its batches took; below 0 where more was roasted than delivered.
    bag_kg, unit
        Mass of a bag, and what is counted: "bags", or "kg" where nobody wrote a bag's mass down.
    left, a_month
        In that unit; sales are those of the last three months, with the uncertainty of so few batches.
    batches, unweighed, recent_batches
        Batches of the lot, those whose green was not weighed (taken as the mean of the others), and those of the last
        three months.
    """

    delivered_kg: float
    used_kg: float
    left_kg: float
    bag_kg: float | None
    unit: str
    left: float
    a_month: Measured
    batches: int
    unweighed: int
    recent_batches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LotChange:
    """What months do to one attribute in one lot, points a reference month; `shows` as in `AgeingLine`."""

    lot: str
    change: Measured
    shows: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeingLine:
    """What months since harvest do to one attribute of one coffee, learned from all its lots.

    Attributes
    ----------
    service, attribute
        Which.
    change
        Points a reference month (at 20 °C and a water activity of 0.55, in bags that breathe), for a lot like these.
    shows
        Whether 0 lies outside its 90 % interval.
    of_lots
        The same for each lot that was tasted.
    speaking, batches
        How many lots were tasted at two ages or more, and how many batches it was learned from.
    """

    service: str
    attribute: str
    change: Measured
    shows: bool
    of_lots: tuple[LotChange, ...]
    speaking: int
    batches: int

    @property
    def name(self) -> Words:
        """As it is read inside a sentence."""
        return name_taste(self.attribute, self.service)


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeOutlook:
    """When one attribute of one lot is likely to leave its tolerance: a prompt to taste, never an expiry.

    Attributes
    ----------
    service, attribute
        Which.
    now
        Level of the lot today, points.
    low, high
        The tolerance; None where the scale ends before it.
    p_left_now, p_left_sold
        Chance that the level is outside today, and that it is before the stock is sold (None without stock).
    early_months, likely_months, late_months
        Months since harvest by which it has left with chances of 10, 50 and 90 %; None beyond the horizon.
    early, likely, late
        The same as calendar months, such as 2026-09.
    toward
        Whether it then lies below or above.
    shows
        Whether the tastings show a change, or the answer leans on how large one could be.
    months, level, level_sd
        The line: months since harvest, level and standard uncertainty.
    tasted_months, tasted, tasted_sd
        What it was learned from: batches of this lot.
    says
        The same in sentences.
    """

    service: str
    attribute: str
    now: Measured
    low: float | None
    high: float | None
    p_left_now: float
    p_left_sold: float | None
    early_months: float | None
    likely_months: float | None
    late_months: float | None
    early: str | None
    likely: str | None
    late: str | None
    toward: str
    shows: bool
    months: tuple[float, ...]
    level: tuple[float, ...]
    level_sd: tuple[float, ...]
    tasted_months: tuple[float, ...]
    tasted: tuple[float, ...]
    tasted_sd: tuple[float, ...]
    says: str

    @property
    def name(self) -> Words:
        """As it is read inside a sentence."""
        return name_taste(self.attribute, self.service)


@dataclass(frozen=True, slots=True, kw_only=True)
class LotOutlook:
    """One lot of one coffee as it stands today.

    Attributes
    ----------
    lot, harvest, harvested_on, arrived_on
        As they were written.
    months_now
        Since harvest; None where the day of harvest is not known.
    current
        Whether the coffee's newest batch was roasted from it, or it is the lot that the coffee names.
    batches
        Of this coffee from this lot.
    stock, advice
        What is left, and that against the first attribute to leave; None where it cannot be told.
    attributes
        The first to leave comes first.
    sentences
        Readings, stock and what to do, in words.
    gap
        One sentence on what is missing; empty if nothing.
    """

    lot: str
    harvest: str | None
    harvested_on: str | None
    arrived_on: str | None
    months_now: float | None
    current: bool
    batches: int
    stock: LotStock | None
    advice: StockAdvice | None
    attributes: tuple[AttributeOutlook, ...]
    sentences: tuple[str, ...]
    gap: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CoffeeGreen:
    """The green of one coffee.

    Attributes
    ----------
    coffee
        Its name.
    lines
        What months do to each attribute, the clearest first.
    lots
        The newest harvest first.
    sentences
        What the lines say, and what else could explain it.
    too_little
        One sentence where no line could be drawn; else empty.
    """

    coffee: str
    lines: tuple[AgeingLine, ...]
    lots: tuple[LotOutlook, ...]
    sentences: tuple[str, ...]
    too_little: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenReading:
    """The green of all coffees, read on one day.

    Attributes
    ----------
    title, read_on, invented
        Handed on from the tastings.
    coffees
        Those of which a lot is named, by name.
    scales
        What each size of change counts for in this shop: standard deviation in points a month on a scale of ten, share.
    """

    title: str
    read_on: str
    invented: bool
    coffees: tuple[CoffeeGreen, ...]
    scales: tuple[tuple[float, float], ...]
