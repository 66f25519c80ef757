"""A table under way: what is to be pulled, who sits at it, and in which order each taster meets the cups.

The records know a cup once its pull was made; until then it is a slot of the plan. What a slot serves is never shown
together with its code before the table closes.
"""

from django.db import models

from evenhand.records.models import Batch, Person, Pull, Table
from evenhand.records.models._coffee import SERVICES
from evenhand.words import say


class TablePlan(models.Model):
    """The plan of one table.

    Attributes
    ----------
    join_code
        What the table's QR code says: it opens the table to phones in the room, for names and PINs.
    read_labels
        Who opened the labels of the cups as they are now: number of the pull and code stand there side by side.
    """

    table = models.OneToOneField(Table, models.CASCADE, related_name="plan")
    join_code = models.CharField(max_length=12, unique=True)
    planned_by = models.CharField(max_length=200)
    planned_at = models.DateTimeField()
    note = models.TextField(blank=True, default="")
    read_labels = models.ManyToManyField(Person, related_name="+")

    class Meta:
        verbose_name = say("plan of a table")

    def __str__(self) -> str:
        return f"plan of {self.table.name}"


class Slot(models.Model):
    """One pull to be made for a table, and the cup that it fills.

    Attributes
    ----------
    number
        Counts the pulls of the table from 1, in the order of pulling; it stands on the label beside the code.
    code
        The blind code as it stands on the cup: three digits. The cup's code in the records is "TABLE-CODE".
    pull
        Empty until it was pulled; the cup and its servings are written into the records with it.
    """

    plan = models.ForeignKey(TablePlan, models.CASCADE, related_name="slots")
    number = models.PositiveIntegerField()
    batch = models.ForeignKey(Batch, models.PROTECT, related_name="slots")
    service = models.CharField(max_length=5, choices=SERVICES)
    code = models.CharField(max_length=3)
    pull = models.OneToOneField(Pull, models.SET_NULL, null=True, related_name="slot")

    class Meta:
        verbose_name = say("pull to be made")
        constraints = (
            models.UniqueConstraint(fields=("plan", "number"), name="slot_number_once"),
            models.UniqueConstraint(fields=("plan", "code"), name="slot_code_once"),
        )

    def __str__(self) -> str:
        return f"pull {self.number}"

    @property
    def cup_code(self) -> str:
        """The code of this cup in the records."""
        return f"{self.plan.table.name}-{self.code}"


class Seat(models.Model):
    """A taster at a table."""

    plan = models.ForeignKey(TablePlan, models.CASCADE, related_name="seats")
    taster = models.ForeignKey(Person, models.PROTECT, related_name="seats")

    class Meta:
        verbose_name = say("seat")
        constraints = (models.UniqueConstraint(fields=("plan", "taster"), name="seat_once"),)

    def __str__(self) -> str:
        return str(self.taster.name)


class Place(models.Model):
    """The place of a cup in one taster's own order, counted from 1: black cups before those with milk."""

    seat = models.ForeignKey(Seat, models.CASCADE, related_name="places")
    slot = models.ForeignKey(Slot, models.CASCADE, related_name="places")
    position = models.PositiveIntegerField()

    class Meta:
        verbose_name = say("place in an order")
        constraints = (
            models.UniqueConstraint(fields=("seat", "slot"), name="place_once"),
            models.UniqueConstraint(fields=("seat", "position"), name="place_position_once"),
        )

    def __str__(self) -> str:
        return f"{self.seat}: {self.position}"
