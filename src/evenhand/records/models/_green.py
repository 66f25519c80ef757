"""Green coffee: each lot with its producers, varieties, process, elevation, harvest and arrival, and its readings."""

import datetime as dt
from typing import Annotated

from annotated_types import Ge, Gt, Le
from django.db import models

from evenhand.records._refusals import RecordError
from evenhand.records.models._fields import LabelField, WordsField
from evenhand.records.models._kept import Kept
from evenhand.records.models._limits import constraints_of
from evenhand.records.rows import Allowed


class _Mass:
    """Limits of a mass of green."""

    green_kg: Annotated[float | None, Gt(0), Allowed("a mass is more than 0 kg")]


class _Reading:
    """Limits of a reading of a lot."""

    moisture_pct: Annotated[float | None, Ge(0), Le(100), Allowed("a moisture is from 0 to 100 %")]
    water_activity: Annotated[float | None, Ge(0), Le(1), Allowed("a water activity is from 0 to 1")]


class GreenLot(Kept):
    """A delivery of green coffee; a harvest is written as the trade writes it, such as 2025/26."""

    row = _Mass

    name = LabelField(unique=True)
    origin = LabelField(null=True)
    process = LabelField(null=True)
    elevation_low_m = models.FloatField(null=True)
    elevation_high_m = models.FloatField(null=True)
    harvest = LabelField(null=True)
    arrived_on = models.DateField(null=True)
    green_kg = models.FloatField(null=True)
    note = WordsField(null=True)

    class Meta(Kept.Meta):
        verbose_name = "green lot"
        constraints = (
            models.CheckConstraint(
                condition=models.Q(elevation_low_m__lte=models.F("elevation_high_m")), name="green_lot_elevation"
            ),
            *constraints_of(_Mass, "green_lot", ("green_kg",)),
        )

    def __str__(self) -> str:
        return str(self.name)

    def check_together(self, today: dt.date) -> None:
        """Refuse an elevation whose ends are crossed, and an arrival after today."""
        low, high = self.elevation_low_m, self.elevation_high_m
        if low is not None and high is not None and low > high:
            raise RecordError(f"green lot, elevation_high_m: {high:g} m is below the low end, {low:g} m.")
        if self.arrived_on is not None and self.arrived_on > today:
            raise RecordError(f"green lot, arrived_on: {self.arrived_on} is after today, {today}.")


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


class LotVariety(Kept):
    """One variety that is in a lot."""

    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="varieties")
    name = LabelField()

    class Meta(Kept.Meta):
        verbose_name = "variety of a lot"
        constraints = (models.UniqueConstraint(fields=("lot", "name"), name="lot_variety_once"),)

    def __str__(self) -> str:
        return f"{self.name} in {self.lot.name}"


class GreenReading(Kept):
    """Moisture and water activity of a lot on one day; a moisture without its method cannot be compared."""

    row = _Reading

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
            *constraints_of(_Reading, "green_reading", ("moisture_pct", "water_activity")),
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
