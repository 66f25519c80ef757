"""Set-up of people and devices: who may change what, and what it does to log-ins."""

import re

import pytest
from django.contrib.auth.hashers import check_password
from django.test import Client
from django.utils import timezone

from evenhand.bench.models import Account, Device
from evenhand.records.models import Entry, Person

WAY_IN = {"password": "nine loud kettles", "again": "nine loud kettles", "pin": "8053"}


def person(name):
    return Person.objects.get(name=name)


@pytest.fixture
def owner(client_as):
    return client_as("Una")


def test_a_lead_sees_and_an_owner_changes(client_as):
    lead = client_as("Wim")
    page = lead.get("/setup/people/").content.decode()
    assert "an owner changes it" in page
    assert "Add somebody" not in page
    for address in (
        "/setup/people/",
        f"/setup/people/{person('Bo').pk}/",
        f"/setup/people/{person('Bo').pk}/secrets/",
        f"/setup/people/{person('Bo').pk}/standing/",
        f"/setup/people/{person('Bo').pk}/remove/",
        "/setup/costs/",
        "/setup/shop/",
        "/setup/import/",
        "/setup/export/backup/",
    ):
        assert lead.post(address, {"name": "X", "role": "owner"}).status_code == 403, address
    assert person("Bo").role == "taster"
    for address in ("/setup/", "/setup/history/", "/setup/people/", "/setup/devices/"):
        assert client_as("Bo").get(address).status_code == 403


def test_somebody_new_can_log_in_at_once(owner):
    answer = owner.post("/setup/people/", {"name": " Noor  Vale", "role": "lead", **WAY_IN})
    assert answer.status_code == 303
    account = Account.objects.get(person__name="Noor Vale")
    assert account.role == "lead"
    assert account.check_password(WAY_IN["password"])
    assert Entry.objects.get(kind="person", title="Noor Vale").who == "Una"
    assert "Noor Vale" in owner.get("/setup/people/").content.decode()


def test_somebody_without_a_way_in_can_be_given_one(owner):
    owner.post("/setup/people/", {"name": "Noor", "role": "taster"})
    assert not Account.objects.filter(person__name="Noor").exists()
    assert owner.post(f"/setup/people/{person('Noor').pk}/secrets/", {"pin": "8053"}).status_code == 303
    account = Account.objects.get(person__name="Noor")
    assert check_password("8053", account.pin)
    assert not account.has_usable_password()


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"name": "BO", "role": "taster"}, "on the list already"),
        ({"name": "Noor", "role": "king"}, "not one of the available choices"),
        ({"name": "Noor", "role": "taster", "pin": "12"}, "4 to 8 digits"),
        ({"name": "Noor", "role": "taster", "password": "short", "again": "short"}, "too short"),
    ],
)
def test_what_is_refused(owner, fields, sentence):
    answer = owner.post("/setup/people/", fields)
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert not Person.objects.filter(name="Noor").exists()


def test_a_new_password_puts_them_out_wherever_they_are(owner, client_as):
    there = client_as("Bo")
    assert there.get("/people/me/").status_code == 200
    assert owner.post(f"/setup/people/{person('Bo').pk}/secrets/", {"pin": "8053"}).status_code == 303
    assert there.get("/people/me/").status_code == 302
    assert owner.get("/people/me/").status_code == 200


def test_leaving_can_be_undone(owner, client_as):
    there, address = client_as("Bo"), f"/setup/people/{person('Bo').pk}/standing/"
    owner.post(address, {"active": "0"})
    assert there.get("/people/me/").status_code == 302
    owner.post(address, {"active": "1"})
    assert person("Bo").is_active
    assert client_as("Bo").get("/people/me/").status_code == 200


def test_the_last_owner_stays(owner):
    una = person("Una")
    for address, fields in (
        (f"/setup/people/{una.pk}/standing/", {"active": "0"}),
        (f"/setup/people/{una.pk}/remove/", {}),
    ):
        answer = owner.post(address, fields, follow=True)
        assert "error" in answer.content.decode()
    answer = owner.post(f"/setup/people/{una.pk}/", {"name": "Una", "role": "lead"})
    assert "Nobody would be left" in answer.content.decode()
    una.refresh_from_db()
    assert (una.is_active, una.role) == (True, "owner")
    owner.post(f"/setup/people/{person('Wim').pk}/", {"name": "Wim", "role": "owner"})
    assert owner.post(f"/setup/people/{una.pk}/", {"name": "Una", "role": "lead"}).status_code == 303


def test_only_who_did_nothing_can_be_removed(owner):
    owner.post(f"/setup/people/{person('Lev').pk}/remove/")
    assert not Person.objects.filter(name="Lev").exists()
    answer = owner.post(f"/setup/people/{person('Ida').pk}/remove/", follow=True)
    assert "cannot be removed" in answer.content.decode()
    assert Account.objects.filter(person__name="Ida").exists()


def test_a_device_is_added_and_removed(client_as, pin):
    lead = client_as("Wim")
    assert "There is none yet" in lead.get("/setup/devices/").content.decode()
    lead.post("/setup/devices/", {"name": "tablet by the machine"})
    assert "(this one)" in lead.get("/setup/devices/").content.decode()
    tablet = Client()
    tablet.cookies["evenhand_device"] = lead.cookies["evenhand_device"].value
    ida = Account.objects.get(person__name="Ida").pk
    assert tablet.post(f"/people/sign-in/{ida}/", {"pin": pin}).status_code == 303
    assert tablet.get("/people/me/").status_code == 200
    page = lead.get("/setup/devices/").content.decode()
    inner = re.search(r"<details><summary>Remove<(.*?)</details>", page, re.DOTALL)
    assert "Remove “tablet by the machine”</button>" in inner[1]
    assert page.count("/remove/") == inner[1].count("/remove/") == 1  # never at the first press
    lead.post(f"/setup/devices/{Device.objects.get().pk}/remove/")
    assert not Device.objects.exists()
    assert tablet.get("/people/me/").status_code == 302
    assert lead.get("/people/me/").status_code == 200


@pytest.fixture
def by_pin(client_as):
    """Somebody who logged in by PIN."""

    def enter(name):
        client = client_as(name)
        session = client.session
        session["device"] = 1
        session.save()
        return client

    return enter


def test_a_pin_gives_nobody_a_way_in_and_moves_no_records(by_pin, client_as):
    una, bo, client = person("Una"), person("Bo"), by_pin("Una")
    device = Device.objects.create(token_hash="x", name="tablet", added_by="Una", added_at=timezone.now())
    before = {name: Account.objects.get(person__name=name).password for name in ("Una", "Bo")}
    kept = Entry.objects.count()
    for address, sent in (
        ("/setup/people/", {"name": "Noor", "role": "owner", **WAY_IN}),
        (f"/setup/people/{una.pk}/secrets/", WAY_IN),
        (f"/setup/people/{bo.pk}/secrets/", WAY_IN),
        (f"/setup/people/{bo.pk}/", {"name": "Bo", "role": "owner"}),
        (f"/setup/people/{bo.pk}/standing/", {"active": "0"}),
        (f"/setup/people/{person('Lev').pk}/remove/", {}),
        ("/setup/devices/", {"name": "mine"}),
        (f"/setup/devices/{device.pk}/remove/", {}),
        ("/setup/costs/", {"wrong_release": "1"}),
        ("/setup/import/", {}),
        ("/setup/import/now/", {"now": "1"}),
        ("/setup/export/backup/", {}),
    ):
        assert client.get("/setup/people/").status_code == 200
        answer = client.post(address, sent, headers={"referer": f"http://testserver/setup/people/{bo.pk}/"})
        assert answer.status_code == 403, address
        page = answer.content.decode()
        assert "Log in with your password for this" in page
        assert f"/people/sign-in/password/?next=%2Fsetup%2Fpeople%2F{bo.pk}%2F&amp;name=Una" in page
    assert {name: Account.objects.get(person__name=name).password for name in before} == before
    assert Entry.objects.count() == kept
    assert Device.objects.count() == 1
    assert client.post("/people/me/units/", {"units": "us"}).status_code == 303


def test_a_pages_reader_by_pin_is_told_before_typing(by_pin, client_as):
    by, with_password = by_pin("Una"), client_as("Una")
    addresses = ("people/", f"people/{person('Bo').pk}/", "devices/", "costs/", "import/", "shop/", "export/")
    for address in addresses:
        assert "You are logged in by PIN" in by.get(f"/setup/{address}").content.decode(), address
        assert "You are logged in by PIN" not in with_password.get(f"/setup/{address}").content.decode(), address


def test_the_way_back_from_a_pin_by_password_leads_on(by_pin, password):
    client = by_pin("Una")
    place = "/people/sign-in/password/?next=%2Fsetup%2Fpeople%2F&name=Una"
    assert 'value="Una"' in client.get(place).content.decode()
    answer = client.post(place, {"name": "Una", "password": password})
    assert answer["Location"] == "/setup/people/"
    assert client.post("/setup/people/", {"name": "Noor", "role": "taster"}).status_code == 303


def test_ones_own_secrets_are_changed_against_the_present_ones_alone(owner, password):
    una = person("Una")
    assert 'href="/people/me/"' in owner.get(f"/setup/people/{una.pk}/").content.decode().split("<main", 1)[1]
    assert "Give it" not in owner.get(f"/setup/people/{una.pk}/").content.decode()
    answer = owner.post(f"/setup/people/{una.pk}/secrets/", WAY_IN)
    assert answer.status_code == 422
    assert "against the present ones" in answer.content.decode()
    assert Account.objects.get(person=una).check_password(password)


@pytest.mark.parametrize(
    ("name", "address", "sentence"),
    [("Bo", "/setup/", "This page is for leads and owners."), ("Wim", "/setup/import/", "This page is for owners.")],
)
def test_a_page_says_whom_it_is_for(client_as, name, address, sentence):
    answer = client_as(name).get(address)
    assert answer.status_code == 403
    assert f"{sentence} An owner gives roles in Set-up" in answer.content.decode()
