"""A change of a recipe, a coffee or the costs is a new version; what points at an old one reads as it did."""

import datetime as dt

import pytest

from evenhand.records._refusals import RecordError
from evenhand.records.audit import head
from evenhand.records.coffees import (
    current_coffee,
    current_costs,
    current_recipe,
    revise_coffee,
    revise_costs,
    revise_recipe,
    targets_of,
)
from evenhand.records.models import Batch, Coffee, CoffeeVersion, GreenLot, RecipeVersion

pytestmark = pytest.mark.django_db


def test_a_new_recipe_reaches_its_coffees_and_not_their_past(shop, pen):
    version = revise_recipe(pen, "house", dose_g=18.5)
    assert (version.number, version.dose_g, version.beverage_g) == (2, 18.5, 36)
    for name in ("Hollow Lantern", "Grey Ferry"):
        assert current_coffee(name).recipe == version
    old = Batch.objects.get(label="H-01").version
    assert (old.number, old.recipe.number, old.recipe.dose_g) == (1, 1, 18)
    new = pen.make(Batch(label="H-03", version=current_coffee("Hollow Lantern"), roasted_on=dt.date(2026, 5, 30)))
    assert new.version.recipe.dose_g == 18.5
    assert targets_of(new.version) == targets_of(old)


def test_a_coffee_that_left_a_recipe_does_not_follow_it(shop, pen):
    small = revise_recipe(
        pen, "small", dose_g=14, dose_tol_g=0.3, beverage_g=28, beverage_tol_g=1.5, time_s=26, time_tol_s=2
    )
    revise_coffee(pen, "Grey Ferry", recipe="small")
    revise_recipe(pen, "house", time_s=30)
    assert current_coffee("Grey Ferry").recipe == small
    assert [v.recipe.recipe.name for v in Coffee.objects.get(name="Grey Ferry").versions.order_by("number")] == [
        "house",
        "small",
    ]


def test_targets_and_lot_change_together_or_alone(shop, pen):
    first = current_coffee("Hollow Lantern")
    lot = pen.make(GreenLot(name="Vantry 3"))
    second = revise_coffee(pen, "Hollow Lantern", green_lot=lot)
    assert (second.number, second.green_lot, targets_of(second)) == (2, lot, targets_of(first))
    third = revise_coffee(pen, "Hollow Lantern", targets={("black", "sweetness"): (7, 0.5)})
    assert (third.green_lot, targets_of(third)) == (lot, {("black", "sweetness"): (7, 0.5)})
    assert revise_coffee(pen, "Hollow Lantern", no_green_lot=True).green_lot is None
    assert targets_of(first) == {("black", "sweetness"): (6, 1), ("milk", "bitterness"): (3, 1.2)}


def test_revising_to_the_same_writes_nothing(shop, pen):
    end = head()
    coffee = current_coffee("Hollow Lantern")
    assert revise_recipe(pen, "house", dose_g=18) == current_recipe("house")
    assert revise_coffee(pen, "Hollow Lantern", recipe="house", targets=targets_of(coffee)) == coffee
    assert revise_costs(pen, one_pull=3.0) == current_costs()
    assert head() == end


def test_costs_have_versions(shop, pen):
    first = current_costs()
    second = revise_costs(pen, wrong_hold=175.5)
    assert (second.number, second.wrong_hold, second.wrong_release) == (2, 175.5, 400)
    first.refresh_from_db()
    assert first.wrong_hold == 150


def test_what_is_refused_leaves_no_version(shop, pen, told_with):
    counts = (RecipeVersion.objects.count(), CoffeeVersion.objects.count(), head())
    refused = [
        (lambda: revise_recipe(pen, "house", sugar_g=3), "no quantity named sugar_g"),
        (lambda: revise_recipe(pen, "house", dose_g=0), "a dose is more than 0 g"),
        (lambda: revise_recipe(pen, "new", dose_g=18), "dose_tol_g: this is missing"),
        (lambda: revise_coffee(pen, "New Coffee"), "needs a recipe"),
        (lambda: revise_coffee(pen, "Grey Ferry", recipe="none"), 'no recipe "none"'),
        (lambda: revise_coffee(pen, "Grey Ferry", targets={("black", "charm"): (1, 1)}), 'no attribute "charm"'),
        (lambda: revise_coffee(pen, "Grey Ferry", targets={("black", "sweetness"): (12, 1)}), "scored from 0 to 10"),
        (lambda: revise_coffee(pen, "Grey Ferry", targets={("black", "sweetness"): (5, 0)}), "more than 0 points"),
        (lambda: revise_coffee(pen, "Grey Ferry", targets={("cold", "sweetness"): (5, 1)}), "black, milk, bowl"),
        (lambda: revise_costs(pen, rent=3), "no cost named rent"),
        (lambda: revise_costs(pen, prior_bad=1), "above 0 and below 1"),
    ]
    for attempt, sentence in refused:
        with pytest.raises(RecordError, match=sentence) as refusal:
            attempt()
        told_with(refusal.value.args[0], "sugar_g New Coffee none charm sweetness cold black milk bowl rent")
    assert (RecipeVersion.objects.count(), CoffeeVersion.objects.count(), head()) == counts
