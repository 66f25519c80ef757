"""Green coffee: each lot with its producers, varieties, harvest and arrival, its readings, and how it is stored."""

import datetime as dt
from typing import Annotated

from annotated_types import Gt
from django.db import models

from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records._refusals import RecordError
from evenhand.records.models._fields import LabelField, WordsField
from evenhand.records.models._kept import Kept
from evenhand.records.models._limits import constraints_of

LOT_DETAILS = (
    "origin",
    "process",
    "elevation_low_m",
    "elevation_high_m",
    "harvest",
    "harvested_on",
    "arrived_on",
    "green_kg",
    "bag_kg",
)
"""What green_lots.csv tells of a lot besides its name, producers and varieties."""

LOT_MASSES = ("green_kg", "bag_kg")
READING_MEASURES = ("moisture_pct", "moisture_method", "water_activity", "water_activity_c")
STORAGE_MEASURES = ("temperature_c", "water_activity", "packaging")


class _Mass:
    """Limits of a mass of green."""

    green_kg: Annotated[float | None, Gt(0), rows.Allowed("a mass is more than 0 kg")]


class GreenLot(Kept):
    """A delivery of green coffee; a harvest is written as the trade writes it, such as 2025/26.

    Attributes
    ----------
    harvested_on
        The middle of the picking, from which its age is counted.
    green_kg, bag_kg
        Mass delivered, and the mass of one bag.
    """

    row = rows.GreenLot

    name = LabelField(unique=True)
    origin = LabelField(null=True)
    process = LabelField(null=True)
    elevation_low_m = models.FloatField(null=True)
    elevation_high_m = models.FloatField(null=True)
    harvest = LabelField(null=True)
    harvested_on = models.DateField(null=True)
    arrived_on = models.DateField(null=True)
    green_kg = models.FloatField(null=True)
    bag_kg = models.FloatField(null=True)
    note = WordsField(null=True)

    class Meta(Kept.Meta):
        verbose_name = "green lot"
        constraints = (
            models.CheckConstraint(
                condition=models.Q(elevation_low_m__lte=models.F("elevation_high_m")), name="green_lot_elevation"
            ),
            *constraints_of(rows.GreenLot, "green_lot", LOT_MASSES),
        )

    def __str__(self) -> str:
        return str(self.name)

    def check_together(self, today: dt.date) -> None:
        """Refuse an elevation whose ends are crossed, days after today, and an arrival before the harvest."""
        low, high = self.elevation_low_m, self.elevation_high_m
        if low is not None and high is not None and low > high:
            raise RecordError(f"green lot, elevation_high_m: {high:g} m is below the low end, {low:g} m.")
        for name in ("harvested_on", "arrived_on"):
            day = getattr(self, name)
            if day is not None and day > today:
                raise RecordError(f"green lot, {name}: {day} is after today, {today}.")
        harvested, arrived = self.harvested_on, self.arrived_on
        if harvested is not None and arrived is not None and arrived < harvested:
            raise RecordError(f"green lot, arrived_on: {arrived} is before the lot was harvested, on {harvested}.")


def _check_name(noun: str, name: str) -> None:
    """Refuse a name that the folder could not give back, for it lists such names with a semicolon between."""
    if ";" in name:
        raise RecordError(f"{noun}, name: {quoted(name)} holds a semicolon; write each name on its own.")


class LotProducer(Kept):
    """One producer whose coffee is in a lot, and how much of it where that is known."""

    row = _Mass

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="producers")
    name = LabelField()
    green_kg = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = "producer of a lot"
        constraints = (
            models.UniqueConstraint(fields=("lot", "name"), name="lot_producer_once"),
            *constraints_of(_Mass, "lot_producer", ("green_kg",)),
        )

    def __str__(self) -> str:
        return f"{self.name} in {self.lot.name}"

    def check_together(self, today: dt.date) -> None:
        """Refuse a name that is more than one."""
        _check_name(self.noun(), self.name)


class LotVariety(Kept):
    """One variety that is in a lot."""

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="varieties")
    name = LabelField()

    class Meta(Kept.Meta):
        verbose_name = "variety of a lot"
        constraints = (models.UniqueConstraint(fields=("lot", "name"), name="lot_variety_once"),)

    def __str__(self) -> str:
        return f"{self.name} in {self.lot.name}"

    def check_together(self, today: dt.date) -> None:
        """Refuse a name that is more than one."""
        _check_name(self.noun(), self.name)


class GreenReading(Kept):
    """Moisture and water activity of a lot on one day; a moisture without its method cannot be compared."""

    row = rows.GreenReading

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="readings")
    read_on = models.DateField()
    moisture_pct = models.FloatField(null=True)
    moisture_method = LabelField(null=True)
    water_activity = models.FloatField(null=True)
    water_activity_c = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = "reading of a lot"
        constraints = (
            models.CheckConstraint(
                condition=models.Q(moisture_pct__isnull=True) | models.Q(moisture_method__isnull=False),
                name="green_reading_method",
            ),
            models.UniqueConstraint(fields=("lot", "read_on"), name="green_reading_once"),
            *constraints_of(rows.GreenReading, "green_reading", READING_MEASURES),
        )

    def __str__(self) -> str:
        return f"{self.lot.name} on {self.read_on}"

    def check_together(self, today: dt.date) -> None:
        """Refuse a moisture without its method, a reading of nothing, and a day after today."""
        if self.moisture_pct is not None and self.moisture_method is None:
            raise RecordError("reading of a lot, moisture_method: name the method, or nobody can compare the moisture.")
        if self.moisture_pct is None and self.water_activity is None:
            raise RecordError("reading of a lot: neither a moisture nor a water activity is given; give one.")
        if self.read_on > today:
            raise RecordError(f"reading of a lot, read_on: {self.read_on} is after today, {today}.")


class GreenStorage(Kept):
    """How a lot is stored from a day on, until its next spell begins; the last one goes on."""

    PACKAGINGS = (("breathing", "breathing"), ("airtight", "airtight"))

    row = rows.GreenStorage

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="storage")
    stored_from = models.DateField()
    temperature_c = models.FloatField(null=True)
    water_activity = models.FloatField(null=True)
    packaging = models.CharField(max_length=9, choices=PACKAGINGS, null=True)

    class Meta(Kept.Meta):
        verbose_name = "spell of storage"
        constraints = (
            models.UniqueConstraint(fields=("lot", "stored_from"), name="green_storage_once"),
            *constraints_of(rows.GreenStorage, "green_storage", STORAGE_MEASURES),
        )

    def __str__(self) -> str:
        return f"{self.lot.name} from {self.stored_from}"

    def check_together(self, today: dt.date) -> None:
        """Refuse a spell that begins after today."""
        if self.stored_from > today:
            raise RecordError(f"spell of storage, stored_from: {self.stored_from} is after today, {today}.")
