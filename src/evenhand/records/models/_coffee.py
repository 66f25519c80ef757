"""What the shop aims at: house recipes, coffees with their targets, scales and costs, each change a new version.

What was roasted, tasted or signed under a version goes on pointing at it, so a change never rewrites the past.
"""

import datetime as dt

from django.db import models

from evenhand.records import rows
from evenhand.records._problems import quoted
from evenhand.records.models._fields import LabelField
from evenhand.records.models._green import GreenLot
from evenhand.records.models._kept import Kept
from evenhand.records.models._limits import constraints_of
from evenhand.words import Words, join, say

RECIPE_QUANTITIES = (
    "basket_rated_g",
    "dose_g",
    "dose_tol_g",
    "beverage_g",
    "beverage_tol_g",
    "time_s",
    "time_tol_s",
    "water_c",
    "water_tol_c",
    "pressure_bar",
    "pressure_tol_bar",
    "milk_drink_ml",
)
COST_NAMES = tuple(rows.Costs.__dataclass_fields__)
SERVICES = [("black", "black"), ("milk", "milk"), ("bowl", "bowl")]


class Shop(Kept):
    """The shop whose records these are; there is one."""

    name = LabelField()
    is_invented = models.BooleanField(default=False)

    class Meta(Kept.Meta):
        verbose_name = say("shop")

    def __str__(self) -> str:
        return str(self.name)


class Person(Kept):
    """Someone who pulls, tastes or signs; the role says what else they may do on the bench, None is a taster."""

    ROLES = (("taster", "taster"), ("lead", "lead"), ("owner", "owner"))

    name = LabelField(unique=True)
    is_active = models.BooleanField(default=True)
    role = models.CharField(max_length=6, null=True, choices=ROLES)

    class Meta(Kept.Meta):
        verbose_name = say("person")

    def __str__(self) -> str:
        return str(self.name)


class Attribute(Kept):
    """What is scored, and the ends of its scale."""

    name = LabelField(unique=True)
    scale_low = models.FloatField()
    scale_high = models.FloatField()

    class Meta(Kept.Meta):
        verbose_name = say("attribute")
        constraints = (
            models.CheckConstraint(condition=models.Q(scale_low__lt=models.F("scale_high")), name="attribute_scale"),
        )

    def __str__(self) -> str:
        return str(self.name)

    def is_in_use(self) -> bool:
        """Say whether anything was scored, or aimed at, on this scale."""
        return self.scores.exists() or self.targets.exists()

    def check_together(self, today: dt.date) -> None:
        """Refuse a scale whose ends are crossed, and a new scale for scores that were given on another."""
        if not self.scale_low < self.scale_high:
            reason = say(
                "{high:g} is not allowed; the high end of the scale is above its low end, {low:g}.",
                high=self.scale_high,
                low=self.scale_low,
            )
            raise self.refuse("scale_high", reason)
        kept = Attribute.objects.filter(pk=self.pk).values_list("scale_low", "scale_high").first()
        if kept not in (None, (self.scale_low, self.scale_high)) and self.is_in_use():
            raise self.refuse(join(("scale_low", "scale_high"), " and "), self.scale_in_use())

    def scale_in_use(self) -> Words:
        """Return the sentence that says why the scale stays as it is."""
        low, high = Attribute.objects.values_list("scale_low", "scale_high").get(pk=self.pk)
        return say(
            "{name} is scored from {low:g} to {high:g} in the records; a new scale needs an attribute of its own.",
            name=quoted(self.name),
            low=low,
            high=high,
        )


class Fault(Kept):
    """A roast defect that tasters are asked about; the list is the shop's."""

    name = LabelField(unique=True)
    is_active = models.BooleanField(default=True)

    class Meta(Kept.Meta):
        verbose_name = say("fault")

    def __str__(self) -> str:
        return str(self.name)


class Word(Kept):
    """A free word that is offered to tasters; the list is the shop's."""

    name = LabelField(unique=True)
    is_active = models.BooleanField(default=True)

    class Meta(Kept.Meta):
        verbose_name = say("word")

    def __str__(self) -> str:
        return str(self.name)


class Recipe(Kept):
    """A house recipe by its name; what it says is in its versions."""

    name = LabelField(unique=True)

    class Meta(Kept.Meta):
        verbose_name = say("recipe")

    def __str__(self) -> str:
        return str(self.name)


class RecipeVersion(Kept):
    """What every pull aimed at while this version stood: each quantity with its tolerance (half-width)."""

    is_final = True
    row = rows.Recipe

    recipe = models.ForeignKey(Recipe, models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    basket_rated_g = models.FloatField(null=True)
    dose_g = models.FloatField()
    dose_tol_g = models.FloatField()
    beverage_g = models.FloatField()
    beverage_tol_g = models.FloatField()
    time_s = models.FloatField()
    time_tol_s = models.FloatField()
    water_c = models.FloatField(null=True)
    water_tol_c = models.FloatField(null=True)
    pressure_bar = models.FloatField(null=True)
    pressure_tol_bar = models.FloatField(null=True)
    milk_drink_ml = models.FloatField(null=True)

    class Meta(Kept.Meta):
        verbose_name = say("recipe version")
        constraints = (
            models.UniqueConstraint(fields=("recipe", "number"), name="recipe_version_once"),
            *constraints_of(rows.Recipe, "recipe", RECIPE_QUANTITIES),
        )

    def __str__(self) -> str:
        return say("{name}, version {number}", name=self.recipe.name, number=self.number)


class Coffee(Kept):
    """What is sold, by its name; recipe and targets are in its versions."""

    name = LabelField(unique=True)

    class Meta(Kept.Meta):
        verbose_name = say("coffee")

    def __str__(self) -> str:
        return str(self.name)


class CoffeeVersion(Kept):
    """The recipe, green lot and targets of a coffee while this version stood."""

    is_final = True
    parts = ("targets",)

    coffee = models.ForeignKey(Coffee, models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    recipe = models.ForeignKey(RecipeVersion, models.PROTECT, related_name="coffees")
    green_lot = models.ForeignKey(GreenLot, models.PROTECT, null=True, related_name="coffees")

    class Meta(Kept.Meta):
        verbose_name = say("coffee version")
        constraints = (models.UniqueConstraint(fields=("coffee", "number"), name="coffee_version_once"),)

    def __str__(self) -> str:
        return say("{name}, version {number}", name=self.coffee.name, number=self.number)


class Target(Kept):
    """How a coffee should taste on one attribute in one service; the tolerance is a half-width in points."""

    is_final = True
    is_part = True
    row = rows.Target

    version = models.ForeignKey(CoffeeVersion, models.PROTECT, related_name="targets")
    service = models.CharField(max_length=5, choices=SERVICES)
    attribute = models.ForeignKey(Attribute, models.PROTECT, related_name="targets")
    target = models.FloatField()
    tolerance = models.FloatField()

    class Meta(Kept.Meta):
        verbose_name = say("target")
        constraints = (
            models.UniqueConstraint(fields=("version", "service", "attribute"), name="target_once"),
            *constraints_of(rows.Target, "target", ("tolerance",)),
        )

    def __str__(self) -> str:
        return f"{self.attribute.name} {self.service}"


class CostsVersion(Kept):
    """What each choice cost while this version stood, in one currency, and the share of batches out of tolerance."""

    is_final = True
    row = rows.Costs

    number = models.PositiveIntegerField(unique=True)
    wrong_release = models.FloatField()
    wrong_hold = models.FloatField()
    one_pull = models.FloatField()
    one_taste = models.FloatField()
    prior_bad = models.FloatField()

    class Meta(Kept.Meta):
        verbose_name = say("costs version")
        constraints = (*constraints_of(rows.Costs, "costs", COST_NAMES),)

    def __str__(self) -> str:
        return say("costs, version {number}", number=self.number)
