"""The history in words, and the check of its chain."""

import pytest
from django.db import connection

from evenhand.bench.setup.history import tell
from evenhand.records.audit import head
from evenhand.records.coffees import revise_coffee
from evenhand.records.models import Batch, Person


@pytest.fixture
def lead(client_as):
    return client_as("Wim")


def test_a_change_says_from_and_to(lead, pen):
    pen.change(Person.objects.get(name="Bo"), role="lead")
    told = tell("person")[0]
    assert (told.who, told.action, told.noun, told.title) == ("Una", "changed", "person", "Bo")
    assert [(c.field, c.before, c.after) for c in told.changes] == [("role", "taster", "lead")]
    assert "taster" in lead.get("/setup/history/?kind=person").content.decode()


def test_what_is_pointed_at_is_named_and_parts_are_told(shop, pen):
    batch = Batch.objects.get(label="H-01")
    made = {c.field: c.after for told in tell("batch") if told.title == batch.label for c in told.changes}
    assert made["version"] == "Hollow Lantern, version 1"
    assert made["green in kg"] == "6"
    revise_coffee(pen, "Grey Ferry", targets={("black", "acidity"): (4, 1)})
    targets = {c.field: c.after for c in tell("coffeeversion")[0].changes}["targets"]
    assert targets == "acidity black 4 1"


def test_one_sort_alone_and_an_unknown_one(lead):
    assert {entry.noun for entry in tell("recipe")} == {"recipe"}
    assert lead.get("/setup/history/?kind=nonsense").status_code == 200


def test_the_check_finds_what_was_altered_behind_its_back(lead, pen):
    number, digest = head()
    page = lead.get("/setup/verify/").content.decode()
    assert f"{number} {digest}" in page
    assert "Sound" in lead.post("/setup/verify/", {"anchor": f"{number} {digest}"}).content.decode()
    assert "was noted elsewhere" in lead.post("/setup/verify/", {"anchor": f"{number + 5} {digest}"}).content.decode()
    assert lead.post("/setup/verify/", {"anchor": "12 abc"}).status_code == 422
    with connection.cursor() as cursor:
        cursor.execute("UPDATE records_person SET role = 'owner' WHERE name = 'Bo'")
    text = lead.post("/setup/verify/", {"anchor": ""}).content.decode()
    assert "altered without a pen" in text
    assert "Sound" not in text


def test_what_the_check_finds_is_told_in_the_language_of_the_page(lead, monkeypatch):
    monkeypatch.setattr("evenhand.bench.telling.gettext", lambda text: f"⟦{text}⟧")
    number, digest = head()
    text = lead.post("/setup/verify/", {"anchor": f"{number + 5} {digest}"}).content.decode()
    assert f"<p>⟦The history ends with entry {number}, but entry {number + 5} was noted elsewhere.⟧</p>" in text


def test_every_page_of_set_up_opens(lead, client_as):
    from evenhand.records.models import Attribute, Coffee, Recipe

    places = [
        "", "people/", f"people/{Person.objects.get(name='Bo').pk}/", "devices/", "recipes/",
        f"recipes/{Recipe.objects.get().pk}/", "coffees/", f"coffees/{Coffee.objects.first().pk}/", "scales/",
        f"scales/{Attribute.objects.first().pk}/", "lists/faults/", "lists/words/", "costs/", "shop/", "export/",
        "history/", "verify/",
    ]  # fmt: skip
    for client in (lead, client_as("Una")):
        for place in places:
            assert client.get(f"/setup/{place}").status_code == 200, place
    assert client_as("Una").get("/setup/import/").status_code == 200
