"""The rows of the folder: one frozen dataclass a file, whose fields are the file's columns, types and limits.

The limits stand in the annotations, once: pydantic checks them, the sentences of an error are built from them.
Nothing here imports pydantic, so that the types cost nothing to import.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Lt

from evenhand.words import Words, say


@dataclass(frozen=True, slots=True)
class Allowed:
    """What a column may hold, as the second half of an error's sentence.

    Parameters
    ----------
    text
        A clause without full stop, such as "a dose is more than 0 g".
    """

    text: Words


Moment = dt.datetime | dt.date
"""A date, or a date with a time of day, with or without its zone: as it was written."""

Service = Annotated[Literal["black", "milk", "bowl"], Allowed(say("a service is black, milk or bowl"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """One house recipe: what every pull aims at, each quantity with its tolerance (half-width)."""

    recipe: Annotated[str, Allowed(say("every recipe needs a name"))]
    basket_rated_g: Annotated[float | None, Gt(0), Allowed(say("a basket is rated for more than 0 g"))] = None
    dose_g: Annotated[float, Gt(0), Allowed(say("a dose is more than 0 g"))]
    dose_tol_g: Annotated[float, Gt(0), Allowed(say("a tolerance is more than 0 g"))]
    beverage_g: Annotated[float, Gt(0), Allowed(say("a beverage is more than 0 g"))]
    beverage_tol_g: Annotated[float, Gt(0), Allowed(say("a tolerance is more than 0 g"))]
    time_s: Annotated[float, Gt(0), Allowed(say("a shot runs for more than 0 s"))]
    time_tol_s: Annotated[float, Gt(0), Allowed(say("a tolerance is more than 0 s"))]
    water_c: Annotated[
        float | None, Gt(0), Le(130), Allowed(say("water is between 0 and 130 degrees C (not Fahrenheit)"))
    ] = None
    water_tol_c: Annotated[float | None, Gt(0), Allowed(say("a tolerance is more than 0 degrees C"))] = None
    pressure_bar: Annotated[float | None, Gt(0), Allowed(say("a pressure is more than 0 bar"))] = None
    pressure_tol_bar: Annotated[float | None, Gt(0), Allowed(say("a tolerance is more than 0 bar"))] = None
    milk_drink_ml: Annotated[float | None, Gt(0), Allowed(say("a milk drink is more than 0 ml"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Coffee:
    """One coffee that is sold, and the house recipe it is pulled to."""

    coffee: Annotated[str, Allowed(say("every coffee needs a name"))]
    recipe: Annotated[str, Allowed(say("every coffee names its recipe"))]
    green_lot: Annotated[str | None, Allowed(say("a green lot is a name"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What a coffee should taste like on one attribute in one service; `tolerance` is a half-width in points."""

    coffee: Annotated[str, Allowed(say("every target names its coffee"))]
    service: Service
    attribute: Annotated[str, Allowed(say("every target names its attribute"))]
    target: Annotated[float, Allowed(say("a target is a number on the attribute's scale"))]
    tolerance: Annotated[float, Gt(0), Allowed(say("a tolerance is more than 0 points"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Attribute:
    """One attribute and the ends of its scale."""

    attribute: Annotated[str, Allowed(say("every attribute needs a name"))]
    scale_low: Annotated[float, Allowed(say("the low end of the scale is a number"))]
    scale_high: Annotated[float, Allowed(say("the high end of the scale is a number"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """One roast of a coffee, and what was measured of it."""

    batch: Annotated[str, Allowed(say("every batch needs a label"))]
    coffee: Annotated[str, Allowed(say("every batch names its coffee"))]
    roasted_on: Annotated[dt.date, Allowed(say("a roast date is written year-month-day, as 2026-03-09"))]
    green_in_kg: Annotated[float | None, Gt(0), Allowed(say("a mass is more than 0 kg"))] = None
    roasted_out_kg: Annotated[float | None, Gt(0), Allowed(say("a mass is more than 0 kg"))] = None
    green_moisture_pct: Annotated[float | None, Ge(0), Le(100), Allowed(say("a moisture is from 0 to 100 %"))] = None
    roasted_moisture_pct: Annotated[float | None, Ge(0), Le(100), Allowed(say("a moisture is from 0 to 100 %"))] = None
    colour: Annotated[float | None, Allowed(say("a colour is a number on the scale that colour_scale names"))] = None
    colour_scale: Annotated[str | None, Allowed(say("a colour scale is a name"))] = None
    roast_time_s: Annotated[float | None, Gt(0), Allowed(say("a roast takes more than 0 s"))] = None
    green_lot: Annotated[str | None, Allowed(say("a green lot is a name"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """One espresso shot as it really ran."""

    pull: Annotated[str, Allowed(say("every pull needs a label"))]
    batch: Annotated[str, Allowed(say("every pull names its batch"))]
    pulled_at: Annotated[
        Moment, Allowed(say("a pull is dated year-month-day, with or without a time, as 2026-03-09T14:05"))
    ]
    dose_g: Annotated[float, Gt(0), Allowed(say("a dose is more than 0 g"))]
    beverage_g: Annotated[float, Gt(0), Allowed(say("a pull is more than 0 g"))]
    time_s: Annotated[float, Gt(0), Allowed(say("a shot runs for more than 0 s"))]
    water_c: Annotated[
        float | None, Gt(0), Le(130), Allowed(say("water is between 0 and 130 degrees C (not Fahrenheit)"))
    ] = None
    pressure_bar: Annotated[float | None, Gt(0), Allowed(say("a pressure is more than 0 bar"))] = None
    grind_setting: Annotated[str | None, Allowed(say("a grind setting is what the grinder shows"))] = None
    tds_pct: Annotated[float | None, Ge(0), Le(100), Allowed(say("dissolved solids are from 0 to 100 %"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cup:
    """One blind-coded serving of one pull on a table."""

    cup: Annotated[str, Allowed(say("every cup needs a code"))]
    pull: Annotated[str, Allowed(say("every cup names its pull"))]
    service: Service
    table: Annotated[str | None, Allowed(say("a table is a name"))] = None
    position: Annotated[int | None, Ge(1), Allowed(say("a position is a whole number from 1"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One taster's score of one attribute of one cup."""

    cup: Annotated[str, Allowed(say("every score names its cup"))]
    taster: Annotated[str, Allowed(say("every score names its taster"))]
    attribute: Annotated[str, Allowed(say("every score names its attribute"))]
    score: Annotated[float, Allowed(say("a score is a number on the attribute's scale"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultReport:
    """One taster's answer to one fault asked about one cup: heard (1) or not (0)."""

    cup: Annotated[str, Allowed(say("every report names its cup"))]
    taster: Annotated[str, Allowed(say("every report names its taster"))]
    fault: Annotated[str, Allowed(say("every report names its fault"))]
    heard: Annotated[int, Ge(0), Le(1), Allowed(say("heard is 1, not heard is 0"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenLot:
    """One delivery of green coffee; a column of several names holds them with a semicolon between."""

    green_lot: Annotated[str, Allowed(say("every green lot needs a name"))]
    origin: Annotated[str | None, Allowed(say("an origin is a name"))] = None
    producers: Annotated[tuple[str, ...], Allowed(say("producers are names with a semicolon between"))] = ()
    varieties: Annotated[tuple[str, ...], Allowed(say("varieties are names with a semicolon between"))] = ()
    process: Annotated[str | None, Allowed(say("a process is a name"))] = None
    elevation_low_m: Annotated[float | None, Ge(0), Le(9000), Allowed(say("an elevation is from 0 to 9000 m"))] = None
    elevation_high_m: Annotated[float | None, Ge(0), Le(9000), Allowed(say("an elevation is from 0 to 9000 m"))] = None
    harvest: Annotated[str | None, Allowed(say("a harvest is a name, such as 2025/26"))] = None
    harvested_on: Annotated[
        dt.date | None, Allowed(say("a day of harvest is written year-month-day, as 2025-11-20"))
    ] = None
    arrived_on: Annotated[dt.date | None, Allowed(say("a day of arrival is written year-month-day, as 2026-03-09"))] = (
        None
    )
    green_kg: Annotated[float | None, Gt(0), Allowed(say("a mass is more than 0 kg"))] = None
    bag_kg: Annotated[float | None, Gt(0), Allowed(say("a mass is more than 0 kg"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenReading:
    """Moisture and water activity of one lot on one day; a moisture names its method."""

    green_lot: Annotated[str, Allowed(say("every reading names its green lot"))]
    read_on: Annotated[dt.date, Allowed(say("a day of reading is written year-month-day, as 2026-03-09"))]
    moisture_pct: Annotated[float | None, Ge(0), Le(100), Allowed(say("a moisture is from 0 to 100 %"))] = None
    moisture_method: Annotated[str | None, Allowed(say("a method is named, such as oven, 105 C, 16 h"))] = None
    water_activity: Annotated[
        float | None, Gt(0), Lt(1), Allowed(say("a water activity is above 0 and below 1 (not in percent)"))
    ] = None
    water_activity_c: Annotated[
        float | None, Ge(-40), Le(60), Allowed(say("a reading is taken between -40 and 60 degrees C (not Fahrenheit)"))
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenStorage:
    """How one lot is stored from a day on, until the next spell of the same lot begins; the last one goes on."""

    green_lot: Annotated[str, Allowed(say("every spell of storage names its green lot"))]
    stored_from: Annotated[dt.date, Allowed(say("a first day of storage is written year-month-day, as 2026-03-09"))]
    temperature_c: Annotated[
        float | None, Ge(-40), Le(60), Allowed(say("a store is between -40 and 60 degrees C (not Fahrenheit)"))
    ] = None
    water_activity: Annotated[
        float | None, Gt(0), Lt(1), Allowed(say("a water activity is above 0 and below 1 (not in percent)"))
    ] = None
    packaging: Annotated[
        Literal["breathing", "airtight"] | None, Allowed(say("a packaging is breathing or airtight"))
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLot:
    """One green lot that went into a batch, and how much of it where that is known; a blend has several."""

    batch: Annotated[str, Allowed(say("every lot in a batch names its batch"))]
    green_lot: Annotated[str, Allowed(say("every lot in a batch names its green lot"))]
    green_kg: Annotated[float | None, Gt(0), Allowed(say("a mass is more than 0 kg"))] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """One line of the costs file: a name and its value."""

    name: Annotated[str, Allowed(say("every cost needs its name"))]
    value: Annotated[float, Ge(0), Allowed(say("a cost is 0 or more"))]


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """What each choice costs, in one currency, and the share of batches that are out of tolerance before tasting."""

    wrong_release: Annotated[float, Ge(0)]
    wrong_hold: Annotated[float, Ge(0)]
    one_pull: Annotated[float, Ge(0)]
    one_taste: Annotated[float, Ge(0)]
    prior_bad: Annotated[float, Gt(0), Lt(1)]


Row = (
    Recipe
    | Coffee
    | Target
    | Attribute
    | Batch
    | Pull
    | Cup
    | Sheet
    | FaultReport
    | Cost
    | GreenLot
    | GreenReading
    | GreenStorage
    | BatchLot
)


@dataclass(frozen=True, slots=True)
class FileKind:
    """One file of the folder: its row type, the columns that tell its rows apart, and what one row is in words."""

    row: type[Row]
    key: tuple[str, ...]
    one: Words
    required: bool = True


FILES: Mapping[str, FileKind] = MappingProxyType(
    {
        "recipes": FileKind(Recipe, ("recipe",), say("house recipe")),
        "coffees": FileKind(Coffee, ("coffee",), say("coffee")),
        "attributes": FileKind(Attribute, ("attribute",), say("attribute")),
        "targets": FileKind(Target, ("coffee", "service", "attribute"), say("target of a coffee")),
        "batches": FileKind(Batch, ("batch",), say("batch")),
        "pulls": FileKind(Pull, ("pull",), say("pull")),
        "cups": FileKind(Cup, ("cup",), say("cup")),
        "sheets": FileKind(Sheet, ("cup", "taster", "attribute"), say("score")),
        "faults": FileKind(FaultReport, ("cup", "taster", "fault"), say("fault asked"), required=False),
        "costs": FileKind(Cost, ("name",), say("cost")),
        "green_lots": FileKind(GreenLot, ("green_lot",), say("green lot"), required=False),
        "green_readings": FileKind(
            GreenReading, ("green_lot", "read_on"), say("reading of a lot on a day"), required=False
        ),
        "green_storage": FileKind(GreenStorage, ("green_lot", "stored_from"), say("spell of storage"), required=False),
        "batch_lots": FileKind(BatchLot, ("batch", "green_lot"), say("lot in a batch"), required=False),
    }
)
"""The files by stem (a sheet of a workbook has the same name), in the order in which they are read."""
