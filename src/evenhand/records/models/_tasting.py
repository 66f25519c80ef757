"""What happened: batches roasted, shots pulled, tables laid, cups served, and the sheets that tasters filled."""

import datetime as dt
from typing import Annotated

from annotated_types import Ge
from django.db import models

from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records.models._coffee import SERVICES, Attribute, CoffeeVersion, Fault, Person
from evenhand.records.models._fields import LabelField, MomentField, WordsField
from evenhand.records.models._green import GreenLot
from evenhand.records.models._kept import Kept
from evenhand.records.models._limits import constraints_of
from evenhand.words import say

BATCH_MEASURES = (
    "green_in_kg",
    "roasted_out_kg",
    "green_moisture_pct",
    "roasted_moisture_pct",
    "colour",
    "colour_scale",
    "roast_time_s",
)
PULL_MEASURES = ("dose_g", "beverage_g", "time_s", "water_c", "pressure_bar", "grind_setting", "tds_pct")


class _Pull(rows.Pull):
    """Limits of a pull, with what the folder does not carry."""

    time_sd_s: Annotated[float | None, Ge(0), rows.Allowed(say("a standard deviation is 0 s or more"))]


class Batch(Kept):
    """One roast, tied to the version of its coffee that stood when it was written down."""

    row = rows.Batch

    label = LabelField(unique=True)
    version = models.ForeignKey(CoffeeVersion, models.PROTECT, related_name="batches")
    roasted_on = models.DateField()
    green_in_kg = models.FloatField(null=True)
    roasted_out_kg = models.FloatField(null=True)
    green_moisture_pct = models.FloatField(null=True)
    roasted_moisture_pct = models.FloatField(null=True)
    colour = models.FloatField(null=True)
    colour_scale = LabelField(null=True)
    roast_time_s = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("batch")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(roasted_out_kg__lte=models.F("green_in_kg")), name="batch_mass_loss"
            ),
            *constraints_of(rows.Batch, "batch", BATCH_MEASURES),
        )

    def __str__(self) -> str:
        return str(self.label)

    def check_together(self, today: dt.date) -> None:
        """Refuse a roast after today, and one that weighs more than the green that went in."""
        if self.roasted_on > today:
            reason = say(
                "{day} is not allowed; a roast date is not after today, {today}.",
                day=quoted(self.roasted_on),
                today=today,
            )
            raise self.refuse("roasted_on", reason)
        green, roasted = self.green_in_kg, self.roasted_out_kg
        if green is not None and roasted is not None and roasted > green:
            reason = say(
                '"{roasted:g}" is not allowed; a roast cannot weigh more than the {green:g} kg of green that went in.',
                roasted=roasted,
                green=green,
            )
            raise self.refuse("roasted_out_kg", reason)


class BatchLot(Kept):
    """A green lot that went into a batch, and how much of it where that is known."""

    row = rows.BatchLot

    batch = models.ForeignKey(Batch, models.PROTECT, related_name="lots")
    lot = models.ForeignKey(GreenLot, models.PROTECT, related_name="batches")
    green_kg = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("lot in a batch")
        constraints = (
            models.UniqueConstraint(fields=("batch", "lot"), name="batch_lot_once"),
            *constraints_of(rows.BatchLot, "batch_lot", ("green_kg",)),
        )

    def __str__(self) -> str:
        return say("{lot} in {batch}", lot=self.lot.name, batch=self.batch.label)

    def check_together(self, today: dt.date) -> None:
        """Refuse a lot that was harvested after the roast."""
        harvested, roasted = self.lot.harvested_on, self.batch.roasted_on
        if harvested is not None and roasted < harvested:
            reason = say(
                '"{lot}" is not allowed; the batch was roasted on {roasted}, before that lot was harvested, on '
                "{harvested}.",
                lot=self.lot.name,
                roasted=roasted,
                harvested=harvested,
            )
            raise self.refuse("lot", reason)


class Pull(Kept):
    """One espresso shot as it really ran; what was not measured is empty, never the recipe's value.

    Attributes
    ----------
    time_sd_s
        Standard deviation of the timing, such as that of a hand on a button; the folder does not carry it.
    """

    row = _Pull

    label = LabelField(unique=True)
    batch = models.ForeignKey(Batch, models.PROTECT, related_name="pulls")
    pulled_at = MomentField()
    dose_g = models.FloatField()
    beverage_g = models.FloatField()
    time_s = models.FloatField()
    water_c = models.FloatField(null=True)
    pressure_bar = models.FloatField(null=True)
    grind_setting = LabelField(null=True)
    tds_pct = models.FloatField(null=True)
    time_sd_s = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("pull")
        constraints = (*constraints_of(_Pull, "pull", (*PULL_MEASURES, "time_sd_s")),)

    def __str__(self) -> str:
        return str(self.label)

    def check_together(self, today: dt.date) -> None:
        """Refuse a pull after today, and one before its roast."""
        day = self.pulled_at.date() if isinstance(self.pulled_at, dt.datetime) else self.pulled_at
        if day > today:
            reason = say(
                "{moment} is not allowed; a pull is not after today, {today}.", moment=quoted(day), today=today
            )
            raise self.refuse("pulled_at", reason)
        if day < self.batch.roasted_on:
            reason = say(
                '"{moment}" is not allowed; batch "{batch}" was roasted later, on {day}.',
                moment=day,
                batch=self.batch.label,
                day=self.batch.roasted_on,
            )
            raise self.refuse("pulled_at", reason)


class Table(Kept):
    """A tasting; its codes stay blind until it closes."""

    STATES = (("planned", "planned"), ("open", "open"), ("closed", "closed"))

    name = LabelField(unique=True)
    state = models.CharField(max_length=7, choices=STATES, default="planned")
    opened_at = models.DateTimeField(null=True)
    closed_at = models.DateTimeField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("table")

    def __str__(self) -> str:
        return str(self.name)


class Cup(Kept):
    """One blind-coded serving of one pull."""

    row = rows.Cup

    code = LabelField(unique=True)
    pull = models.ForeignKey(Pull, models.PROTECT, related_name="cups")
    service = models.CharField(max_length=5, choices=SERVICES)
    table = models.ForeignKey(Table, models.PROTECT, null=True, related_name="cups")
    position = models.PositiveIntegerField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("cup")
        constraints = (*constraints_of(rows.Cup, "cup", ("position",)),)

    def __str__(self) -> str:
        return str(self.code)


class Serving(Kept):
    """The place of a cup in one taster's own order."""

    row = rows.Cup

    cup = models.ForeignKey(Cup, models.PROTECT, related_name="servings")
    taster = models.ForeignKey(Person, models.PROTECT, related_name="servings")
    position = models.PositiveIntegerField()

    class Meta(Kept.Meta):
        verbose_name = say("serving")
        constraints = (
            models.UniqueConstraint(fields=("cup", "taster"), name="serving_once"),
            *constraints_of(rows.Cup, "serving", ("position",)),
        )

    def __str__(self) -> str:
        return say("{cup} for {taster}", cup=self.cup.code, taster=self.taster.name)


class Sheet(Kept):
    """One taster's judgement of one cup, as it was handed in; a correction is a new sheet that names the old one.

    Attributes
    ----------
    client_id
        Made once by the device that sent the sheet, so that sending it again stores nothing new.
    tasted_at
        When the taster finished it, by the device's clock; None where only the day's paper tells.
    """

    is_final = True
    parts = ("scores", "answers")

    client_id = LabelField(unique=True)
    cup = models.ForeignKey(Cup, models.PROTECT, related_name="sheets")
    taster = models.ForeignKey(Person, models.PROTECT, related_name="sheets")
    words = WordsField(blank=True, default="")
    tasted_at = models.DateTimeField(null=True)
    supersedes = models.OneToOneField("self", models.PROTECT, null=True, related_name="superseded_by")

    class Meta(Kept.Meta):
        verbose_name = say("sheet")
        constraints = (
            models.UniqueConstraint(
                fields=("cup", "taster"), condition=models.Q(supersedes__isnull=True), name="sheet_first_once"
            ),
        )

    def __str__(self) -> str:
        return say("{cup} by {taster}", cup=self.cup.code, taster=self.taster.name)


class Score(Kept):
    """The intensity of one attribute on a sheet."""

    is_final = True
    is_part = True

    sheet = models.ForeignKey(Sheet, models.PROTECT, related_name="scores")
    attribute = models.ForeignKey(Attribute, models.PROTECT, related_name="scores")
    score = models.FloatField()

    class Meta(Kept.Meta):
        verbose_name = say("score")
        constraints = (models.UniqueConstraint(fields=("sheet", "attribute"), name="score_once"),)

    def __str__(self) -> str:
        return f"{self.attribute.name}: {self.score:g}"


class FaultAnswer(Kept):
    """Whether a fault that was asked about was heard."""

    is_final = True
    is_part = True

    sheet = models.ForeignKey(Sheet, models.PROTECT, related_name="answers")
    fault = models.ForeignKey(Fault, models.PROTECT, related_name="answers")
    heard = models.BooleanField()

    class Meta(Kept.Meta):
        verbose_name = say("fault asked")
        constraints = (models.UniqueConstraint(fields=("sheet", "fault"), name="fault_answer_once"),)

    def __str__(self) -> str:
        name = self.fault.name
        return say("{fault}: heard", fault=name) if self.heard else say("{fault}: not heard", fault=name)
