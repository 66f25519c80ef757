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
from evenhand.words import Words, say

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

    green_kg: Annotated[float | None, Gt(0), rows.Allowed(say("a mass is more than 0 kg"))]


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
        verbose_name = say("green lot")
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
            reason = say("{high:g} m is below the low end, {low:g} m.", high=high, low=low)
            raise self.refuse("elevation_high_m", reason)
        for name in ("harvested_on", "arrived_on"):
            day = getattr(self, name)
            if day is not None and day > today:
                raise self.refuse(name, _after_today(day, today))
        harvested, arrived = self.harvested_on, self.arrived_on
        if harvested is not None and arrived is not None and arrived < harvested:
            reason = say("{day} is before the lot was harvested, on {harvested}.", day=arrived, harvested=harvested)
            raise self.refuse("arrived_on", reason)


def _after_today(day: dt.date, today: dt.date) -> Words:
    return say("{day} is after today, {today}.", day=day, today=today)


def _check_name(record: "LotProducer | LotVariety") -> None:
    """Refuse a name that the folder could not give back, for it lists such names with a semicolon between."""
    if ";" in record.name:
        reason = say("{name} holds a semicolon; write each name on its own.", name=quoted(record.name))
        raise record.refuse("name", reason)


class LotProducer(Kept):
    """One producer whose coffee is in a lot, and how much of it where that is known."""

    row = _Mass

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="producers")
    name = LabelField()
    green_kg = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("producer of a lot")
        constraints = (
            models.UniqueConstraint(fields=("lot", "name"), name="lot_producer_once"),
            *constraints_of(_Mass, "lot_producer", ("green_kg",)),
        )

    def __str__(self) -> str:
        return say("{name} in {lot}", name=self.name, lot=self.lot.name)

    def check_together(self, today: dt.date) -> None:
        """Refuse a name that is more than one."""
        _check_name(self)


class LotVariety(Kept):
    """One variety that is in a lot."""

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="varieties")
    name = LabelField()

    class Meta(Kept.Meta):
        verbose_name = say("variety of a lot")
        constraints = (models.UniqueConstraint(fields=("lot", "name"), name="lot_variety_once"),)

    def __str__(self) -> str:
        return say("{name} in {lot}", name=self.name, lot=self.lot.name)

    def check_together(self, today: dt.date) -> None:
        """Refuse a name that is more than one."""
        _check_name(self)


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
        verbose_name = say("reading of a lot")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(moisture_pct__isnull=True) | models.Q(moisture_method__isnull=False),
                name="green_reading_method",
            ),
            models.UniqueConstraint(fields=("lot", "read_on"), name="green_reading_once"),
            *constraints_of(rows.GreenReading, "green_reading", READING_MEASURES),
        )

    def __str__(self) -> str:
        return say("{lot} on {day}", lot=self.lot.name, day=self.read_on)

    def check_together(self, today: dt.date) -> None:
        """Refuse a moisture without its method, a reading of nothing, and a day after today."""
        if self.moisture_pct is not None and self.moisture_method is None:
            raise self.refuse("moisture_method", say("name the method, or nobody can compare the moisture."))
        if self.moisture_pct is None and self.water_activity is None:
            raise RecordError(
                say("{noun}: neither a moisture nor a water activity is given; give one.", noun=self.noun())
            )
        if self.read_on > today:
            raise self.refuse("read_on", _after_today(self.read_on, today))


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
        verbose_name = say("spell of storage")
        constraints = (
            models.UniqueConstraint(fields=("lot", "stored_from"), name="green_storage_once"),
            *constraints_of(rows.GreenStorage, "green_storage", STORAGE_MEASURES),
        )

    def __str__(self) -> str:
        return say("{lot} from {day}", lot=self.lot.name, day=self.stored_from)

    def check_together(self, today: dt.date) -> None:
        """Refuse a spell that begins after today."""
        if self.stored_from > today:
            raise self.refuse("stored_from", _after_today(self.stored_from, today))
