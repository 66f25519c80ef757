"""Writes what the five questions told: enough to roast, pull, taste and judge from the first day."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _now

from evenhand.bench.models import Account
from evenhand.bench.people.accounts import make_account
from evenhand.records._refusals import RecordError
from evenhand.records.audit import Pen
from evenhand.records.coffees import Targets, revise_coffee, revise_costs, revise_recipe
from evenhand.records.models import Attribute, Fault, Shop


@dataclass(frozen=True, slots=True)
class Owner:
    """The first person who can log in; the PIN may be empty."""

    name: str
    password: str
    pin: str


@dataclass(frozen=True, slots=True)
class Answers:
    """What the five questions told.

    Attributes
    ----------
    recipe
        Quantities by column of recipes.csv.
    targets
        Target and tolerance by service and attribute.
    scale
        Low and high end, for every attribute.
    """

    shop: str
    coffee: str
    recipe_name: str
    recipe: Mapping[str, float]
    attributes: Sequence[str]
    scale: tuple[float, float]
    targets: Targets
    faults: Sequence[str]
    costs: Mapping[str, float]


def make_owner(pen: Pen, owner: Owner) -> Account:
    """Make the first account, unless somebody was faster.

    Raises
    ------
    RecordError
        When there is an account already, or a secret is not allowed.
    """
    if Account.objects.exists():
        raise RecordError(_now("Somebody set the bench up in the meantime; log in, or ask its owner for a way in."))
    return make_account(pen, owner.name, "owner", password=owner.password, pin=owner.pin)


@transaction.atomic
def write_answers(pen: Pen, owner: Owner, answers: Answers) -> Account:
    """Write the shop, its owner, first coffee, scales, faults and costs: all of it or nothing.

    Raises
    ------
    RecordError
        When an answer is not allowed.
    """
    account = make_owner(pen, owner)
    pen.make(Shop(name=answers.shop))
    low, high = answers.scale
    for name in answers.attributes:
        pen.make(Attribute(name=name, scale_low=low, scale_high=high))
    for name in answers.faults:
        pen.make(Fault(name=name))
    revise_recipe(pen, answers.recipe_name, **answers.recipe)
    revise_coffee(pen, answers.coffee, recipe=answers.recipe_name, targets=answers.targets)
    revise_costs(pen, **answers.costs)
    return account
