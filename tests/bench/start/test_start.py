"""The first run: who may begin, the demo, and the five questions, which leave what a table needs."""

import datetime as dt

import pytest
from django.contrib.auth import SESSION_KEY
from django.test import Client
from django.utils import timezone

from evenhand.bench.models import Account, Device
from evenhand.bench.start import demo as demo_module
from evenhand.bench.start.code import first_code
from evenhand.bench.start.forms import SetUpForm
from evenhand.errors import EvenhandError
from evenhand.records.chain import verify_chain
from evenhand.records.coffees import current_coffee, current_costs, current_recipe, targets_of
from evenhand.records.exporting import collect, write_folder
from evenhand.records.folder import read
from evenhand.records.models import Attribute, Batch, Cup, Fault, Person, Pull, Shop
from evenhand.records.sheets import take_sheet

pytestmark = pytest.mark.django_db

FAR = {"REMOTE_ADDR": "192.0.2.7"}
ME = {
    "name": "Marit",
    "password": "seven quiet kettles",
    "again": "seven quiet kettles",
    "pin": "2468",
    "is_shops": "on",
}


def sent(**changes):
    """What a browser sends from the page of five questions, with what was typed over the suggestions."""
    form = SetUpForm()
    told = {}
    for bound in form:
        value = bound.value()
        if value not in (None, False):
            told[bound.html_name] = "on" if value is True else value
    return {**told, **ME, "shop": "Bell Yard", "coffee": "Hollow Lantern", **changes}


def test_from_this_machine_no_code_is_asked(client):
    page = client.get("/start/").content.decode()
    assert "Answer five questions" in page
    assert first_code() not in page


@pytest.mark.parametrize("headers", [{}, {"HTTP_X_FORWARDED_FOR": "127.0.0.1"}])
def test_from_elsewhere_the_code_is_asked(headers):
    client = Client(**FAR, **headers)
    assert "code that the terminal shows" in client.get("/start/").content.decode()
    assert client.get("/start/questions/")["Location"] == "/start/"
    assert client.post("/start/questions/", sent())["Location"] == "/start/"
    assert not Account.objects.exists()
    assert client.post("/start/", {"code": "0" * 12}).status_code == 422
    answer = client.get(f"/start/?code={first_code().lower()}")
    assert (answer.status_code, answer["Location"]) == (303, "/start/")
    assert "Answer five questions" in client.get("/start/").content.decode()
    assert client.get("/start/questions/").status_code == 200


def test_what_a_proxy_on_this_machine_passes_on_is_not_from_here():
    client = Client(REMOTE_ADDR="127.0.0.1", HTTP_X_FORWARDED_FOR="127.0.0.1")
    assert "code that the terminal shows" in client.get("/start/").content.decode()


def test_guessing_the_code_must_wait(monkeypatch):
    monkeypatch.setattr(timezone, "now", lambda: dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC))
    client = Client(**FAR)
    for _ in range(5):
        client.post("/start/", {"code": "guess"})
    answer = client.post("/start/", {"code": first_code()})
    assert answer.status_code == 422
    assert "Wait 30 seconds" in answer.content.decode()


def test_five_questions_leave_records_that_a_table_can_be_planned_on(client, tmp_path, pen):
    answer = client.post("/start/questions/", sent(name="  Marit  Vale ", dose_g="18,5", milk_1="6.5"))
    assert (answer.status_code, answer["Location"]) == (303, "/")
    account = Account.objects.get()
    assert (account.person.name, account.role) == ("Marit Vale", "owner")
    assert client.session[SESSION_KEY] == str(account.pk)
    assert Shop.objects.get().name == "Bell Yard"
    assert not Shop.objects.get().is_invented
    assert Device.objects.get().until is None
    assert client.cookies["evenhand_device"]["httponly"]
    recipe, coffee = current_recipe("house"), current_coffee("Hollow Lantern")
    assert (recipe.dose_g, recipe.beverage_tol_g, recipe.milk_drink_ml) == (18.5, 1.5, 180)
    assert coffee.recipe == recipe
    targets = targets_of(coffee)
    assert targets["milk", "sweetness"] == (6.5, 1.2)
    assert ("milk", "acidity") not in targets
    assert {service for service, _ in targets} == {"black", "milk"}
    assert Attribute.objects.count() == 5
    assert set(Fault.objects.values_list("name", flat=True)) == {"smoky", "ashy", "scorched", "baked", "green", "harsh"}
    assert current_costs().prior_bad == 0.12
    assert verify_chain().broken is None
    batch = pen.make(Batch(label="H-01", version=coffee, roasted_on=pen.today))
    pull = pen.make(Pull(label="H-01-1", batch=batch, pulled_at=pen.today, dose_g=18.5, beverage_g=36, time_s=28))
    cup = pen.make(Cup(code="T01-417", pull=pull, service="milk"))
    take_sheet(pen, client_id="a", cup=cup, taster=account.person, scores={"sweetness": 6}, faults={"smoky": False})
    write_folder(collect(), tmp_path / "out")
    assert read(tmp_path / "out", today=pen.today).coffees[0].coffee == "Hollow Lantern"
    assert client.get("/start/")["Location"] == "/people/sign-in/"
    assert client.get("/start/demo/").status_code == 302


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"again": "other"}, "not the same password"),
        ({"dose_tol_g": "0"}, "a tolerance is more than 0 g"),
        ({"prior_bad": "12"}, "prior_bad"),
        ({"black_0": "14"}, "acidity is scored from 0 to 10"),
        ({"tolerance_0": ""}, "A target needs its tolerance"),
        ({"scale_low": "10", "scale_high": "0"}, "scale_high"),
        ({"time_s": "half a minute"}, "is not a number"),
        ({"pin": "1111"}, "guessed at once"),
        ({f"{service}_{n}": "" for service in ("black", "milk") for n in range(5)}, "at least one target"),
    ],
)
def test_a_wrong_answer_writes_nothing_and_keeps_the_others(client, changes, sentence):
    answer = client.post("/start/questions/", sent(**changes))
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert 'value="Hollow Lantern"' in page
    assert ME["password"] not in page
    assert not Account.objects.exists()
    assert not Person.objects.exists()
    assert not Shop.objects.exists()


def test_the_demo_is_marked_as_invented_and_its_tasters_cannot_log_in(client):
    answer = client.post("/start/demo/", {**ME, "is_shops": ""})
    assert answer.status_code == 303, answer.content.decode()
    assert Shop.objects.get().is_invented
    assert Account.objects.get().person.name == "Marit"
    others = Person.objects.exclude(name="Marit")
    assert others.count() >= 5
    assert set(others.values_list("role", flat=True)) == {"taster"}
    assert Batch.objects.count() > 50
    assert not Device.objects.exists()
    assert "invented data" in client.get("/people/me/").content.decode()


def test_a_calendar_that_is_behind_is_said_and_nothing_is_kept(client, monkeypatch):
    monkeypatch.setattr(timezone, "localtime", lambda *_: dt.datetime(2020, 1, 1, 9, tzinfo=dt.UTC))
    answer = client.post("/start/demo/", ME)
    assert answer.status_code == 422
    assert "2020-01-01" in answer.content.decode()
    assert not Account.objects.exists()


def test_without_the_demo_it_says_so(tmp_path, monkeypatch):
    monkeypatch.setattr(demo_module.evenhand, "__file__", str(tmp_path / "a" / "b" / "__init__.py"))
    with pytest.raises(EvenhandError, match="did not come with this installation"):
        demo_module.demo_folder()


def test_records_that_are_here_already_get_an_owner_and_nothing_else(client, folder, pen):
    from evenhand.records.importing import import_path

    import_path(pen, folder, dry_run=False)
    assert "Become the owner" in client.get("/start/").content.decode()
    for place in ("questions", "demo"):
        assert client.post(f"/start/{place}/", sent())["Location"] == "/start/"
    assert client.post("/start/owner/", {**ME, "name": "una"}).status_code == 303
    assert Account.objects.get().person.name == "Una"
    assert Person.objects.get(name="Una").role == "owner"


def test_a_second_owner_cannot_slip_in(client):
    other = Client()
    assert client.post("/start/questions/", sent()).status_code == 303
    assert other.post("/start/questions/", sent(name="Intruder")).status_code == 302
    assert Account.objects.count() == 1
