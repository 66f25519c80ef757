"""Recipes, coffees and costs in versions; the lists of what is asked."""

import pytest

from evenhand.bench.models import Account
from evenhand.bench.setup.aim_forms import CoffeeForm
from evenhand.records.coffees import current_coffee, current_costs, current_recipe, targets_of
from evenhand.records.models import Attribute, Batch, Coffee, Fault, Recipe, Shop, Table, Word


@pytest.fixture
def lead(client_as):
    return client_as("Wim")


def shown(page):
    """What a browser would send back from a page's form as it stands."""
    form = page.context["form"]
    found = {bound.html_name: bound.value() for bound in form if bound.value() is not None}
    return {name: f"{value:g}" if isinstance(value, float) else value for name, value in found.items()}


def test_a_recipe_is_revised_and_its_coffees_with_it(lead):
    pk = Recipe.objects.get().pk
    page = lead.get(f"/setup/recipes/{pk}/")
    before = Batch.objects.get(label="H-01").version
    answer = lead.post(f"/setup/recipes/{pk}/", {**shown(page), "dose_g": "18,4"})
    assert answer.status_code == 303
    standing = current_recipe("house")
    assert (standing.number, standing.dose_g, standing.water_c) == (2, 18.4, 93)
    assert current_coffee("Hollow Lantern").recipe == standing
    assert Batch.objects.get(label="H-01").version == before
    page = lead.get(f"/setup/recipes/{pk}/").content.decode()
    assert "18.4 ± 0.3 g" in page
    assert "18.0 ± 0.3 g" in page


def test_saving_as_shown_in_us_units_is_no_new_version(lead):
    Account.objects.filter(person__name="Wim").update(units="us")
    pk = Recipe.objects.get().pk
    page = lead.get(f"/setup/recipes/{pk}/")
    sent = shown(page)
    assert sent["water_c"] == "199.4"
    assert "°F" in page.content.decode()
    lead.post(f"/setup/recipes/{pk}/", sent)
    assert current_recipe("house").number == 1
    lead.post(f"/setup/recipes/{pk}/", {**sent, "water_c": "201.2"})
    assert current_recipe("house").water_c == pytest.approx(94)


def test_a_recipe_that_cannot_be_is_refused_and_what_was_typed_stays(lead):
    pk = Recipe.objects.get().pk
    sent = shown(lead.get(f"/setup/recipes/{pk}/"))
    answer = lead.post(f"/setup/recipes/{pk}/", {**sent, "dose_g": "-3", "time_s": "31"})
    assert answer.status_code == 422
    assert "a dose is more than 0 g" in answer.content.decode()
    assert 'value="31"' in answer.content.decode()
    answer = lead.post(f"/setup/recipes/{pk}/", {**sent, "water_tol_c": ""})
    assert "needs its tolerance" in answer.content.decode()
    answer = lead.post("/setup/recipes/", {**sent, "name": "HOUSE"})
    assert "is taken" in answer.content.decode()
    assert current_recipe("house").number == 1


def test_a_recipe_can_be_renamed(lead):
    pk = Recipe.objects.get().pk
    sent = shown(lead.get(f"/setup/recipes/{pk}/"))
    assert lead.post(f"/setup/recipes/{pk}/", {**sent, "name": "house 18"}).status_code == 303
    assert current_recipe("house 18").number == 1


def test_targets_are_changed_added_and_taken_away(lead):
    coffee = Coffee.objects.get(name="Hollow Lantern")
    address = f"/setup/coffees/{coffee.pk}/"
    numbers = dict(Attribute.objects.values_list("name", "pk"))
    sent = shown(lead.get(address))
    assert sent[f"target_black_{numbers['acidity']}"] == "4"
    sent |= {
        f"target_black_{numbers['acidity']}": "4,5",
        f"target_bowl_{numbers['sweetness']}": "6",
        f"tolerance_bowl_{numbers['sweetness']}": "1",
        f"target_milk_{numbers['bitterness']}": "",
        f"tolerance_milk_{numbers['bitterness']}": "",
    }
    assert lead.post(address, sent).status_code == 303
    assert targets_of(current_coffee("Hollow Lantern")) == {
        ("black", "acidity"): (4.5, 1),
        ("black", "sweetness"): (6, 1),
        ("bowl", "sweetness"): (6, 1),
    }
    assert current_coffee("Hollow Lantern").green_lot.name == "Vantry 2"
    lead.post(address, sent)
    assert current_coffee("Hollow Lantern").number == 2
    lead.post(address, {**sent, "green_lot": ""})
    assert current_coffee("Hollow Lantern").green_lot is None


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"target": "11"}, "acidity is scored from 0 to 10"),
        ({"target": ""}, "A tolerance needs its target"),
        ({"tolerance": ""}, "A target needs its tolerance"),
        ({"tolerance": "0"}, "a tolerance is more than 0 points"),
    ],
)
def test_targets_that_are_refused(lead, change, sentence):
    coffee, acidity = Coffee.objects.get(name="Hollow Lantern"), Attribute.objects.get(name="acidity")
    address = f"/setup/coffees/{coffee.pk}/"
    sent = shown(lead.get(address)) | {f"{part}_black_{acidity.pk}": text for part, text in change.items()}
    answer = lead.post(address, sent)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert current_coffee("Hollow Lantern").number == 1


def test_a_new_coffee(lead):
    recipe = Recipe.objects.get()
    form = CoffeeForm(None)
    target = next(name for name in form.fields if name.startswith("target_black"))
    sent = {"name": "Low Tide", "recipe": recipe.pk, target: "5", target.replace("target", "tolerance"): "1"}
    assert lead.post("/setup/coffees/", sent).status_code == 303
    assert len(targets_of(current_coffee("Low Tide"))) == 1
    assert lead.post("/setup/coffees/", {**sent, "name": "low tide"}).status_code == 422


def test_costs_are_revised_by_an_owner(client_as):
    owner = client_as("Una")
    sent = shown(owner.get("/setup/costs/"))
    assert owner.post("/setup/costs/", {**sent, "wrong_hold": "200"}).status_code == 303
    assert (current_costs().number, current_costs().wrong_hold, current_costs().one_pull) == (2, 200, 3)
    assert owner.post("/setup/costs/", {**sent, "prior_bad": "1"}).status_code == 422
    assert client_as("Wim").get("/setup/costs/").status_code == 200


def test_the_shop_is_renamed(client_as):
    assert client_as("Una").post("/setup/shop/", {"name": "Bell Yard Coffee"}).status_code == 303
    assert Shop.objects.get().name == "Bell Yard Coffee"


def test_a_scale_in_use_keeps_its_ends(lead):
    row = Attribute.objects.get(name="acidity")
    address = f"/setup/scales/{row.pk}/"
    answer = lead.post(address, {"name": "acidity", "scale_low": "0", "scale_high": "15"})
    assert answer.status_code == 422
    assert "a new scale needs an attribute of its own" in answer.content.decode()
    assert lead.post(address, {"name": "brightness", "scale_low": "0", "scale_high": "10"}).status_code == 303
    lead.post(f"/setup/scales/{row.pk}/remove/")
    assert Attribute.objects.filter(name="brightness").exists()
    lead.post("/setup/scales/", {"name": "body", "scale_low": "1", "scale_high": "9"})
    body = Attribute.objects.get(name="body")
    lead.post(f"/setup/scales/{body.pk}/remove/")
    assert not Attribute.objects.filter(name="body").exists()


@pytest.mark.parametrize(("sort", "model"), [("faults", Fault), ("words", Word)])
def test_lists_take_several_at_once_and_are_put_off(lead, sort, model):
    address = f"/setup/lists/{sort}/"
    before = model.objects.count()
    lead.post(address, {"names": "rubbery,  wet  paper ,rubbery,"})
    assert model.objects.count() == before + 2
    row = model.objects.get(name="wet paper")
    lead.post(f"{address}{row.pk}/", {"deed": "off"})
    row.refresh_from_db()
    assert not row.is_active
    page = lead.get(address).content.decode()
    assert ("not asked now" if sort == "faults" else "not offered now") in page
    assert ("Ask again" if sort == "faults" else "Offer again") in page
    lead.post(address, {"names": "Wet paper"})
    row.refresh_from_db()
    assert row.is_active
    lead.post(f"{address}{row.pk}/", {"deed": "remove"})
    assert not model.objects.filter(name="wet paper").exists()
    assert lead.get("/setup/lists/people/").status_code == 404


def test_a_fault_that_was_answered_cannot_be_removed(lead):
    row = Fault.objects.get(name="smoky")
    answer = lead.post(f"/setup/lists/faults/{row.pk}/", {"deed": "remove"}, follow=True)
    assert "cannot be removed" in answer.content.decode()
    assert Fault.objects.filter(pk=row.pk).exists()


def test_no_name_on_waiting_sheets_is_taken_away_while_a_table_is_open(lead, pen):
    row, fault = Attribute.objects.get(name="acidity"), pen.make(Fault(name="wet paper"))
    table = pen.make(Table(name="T27", state="open"))
    address = f"/setup/scales/{row.pk}/"
    sent = {"name": "brightness", "scale_low": "0", "scale_high": "10"}
    answer = lead.post(address, sent)
    assert answer.status_code == 422
    assert "“acidity”: close first T27" in answer.content.decode()
    assert lead.post(address, {**sent, "name": "acidity"}).status_code == 303
    answer = lead.post(f"/setup/lists/faults/{fault.pk}/", {"deed": "remove"}, follow=True)
    assert "“wet paper”: close first T27" in answer.content.decode()
    assert Fault.objects.filter(pk=fault.pk).exists()
    pen.change(table, state="closed")
    assert lead.post(address, sent).status_code == 303
    lead.post(f"/setup/lists/faults/{fault.pk}/", {"deed": "remove"})
    assert not Fault.objects.filter(pk=fault.pk).exists()
