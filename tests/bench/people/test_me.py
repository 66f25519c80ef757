"""One's own page: units, password, PIN; and what a PIN alone may not do."""

import pytest
from django.contrib.auth.hashers import check_password

from evenhand.bench.models import Account
from evenhand.bench.people.accounts import check_pin
from evenhand.errors import EvenhandError

NEW = "eleven slow kettles"


def account(name="Bo"):
    return Account.objects.get(person__name=name)


def send(client, **fields):
    return client.post("/people/me/secrets/", {"present": "", "password": "", "again": "", "pin": "", **fields})


def test_units_are_ones_own(client_as):
    client = client_as("Bo")
    assert client.post("/people/me/units/", {"units": "us"}).status_code == 303
    assert (account().units, account("Una").units) == ("us", "metric")
    assert client.post("/people/me/units/", {"units": "cubits"}).status_code == 422


def test_a_new_password_ends_the_other_log_ins(client_as, password):
    here, there = client_as("Bo"), client_as("Bo")
    assert there.get("/people/me/").status_code == 200
    assert send(here, present=password, password=NEW, again=NEW).status_code == 303
    assert account().check_password(NEW)
    assert here.get("/people/me/").status_code == 200
    assert there.get("/people/me/").status_code == 302


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"present": "wrong", "password": NEW, "again": NEW}, "nothing was changed"),
        ({"password": NEW, "again": "other"}, "not the same password"),
        ({"password": "short", "again": "short"}, "too short"),
        ({"password": "password123", "again": "password123"}, "too common"),
        ({"pin": "12x4"}, "4 to 8 digits"),
        ({}, "nothing was changed"),
    ],
)
def test_what_is_refused(client_as, password, fields, sentence):
    before = account().password
    answer = send(client_as("Bo"), **{"present": password, **fields})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()
    assert account().password == before


def test_a_pin_changes_the_pin_but_not_a_password(client_as, pin, password):
    client = client_as("Bo")
    session = client.session
    session["device"] = 1
    session.save()
    assert send(client, present=pin, password=NEW, again=NEW).status_code == 422
    assert account().check_password(password)
    assert send(client, present=pin, pin="8053").status_code == 303
    assert check_password("8053", account().pin)
    assert send(client, present=password, password=NEW, again=NEW).status_code == 303


@pytest.mark.parametrize("pin", ["123", "1234", "9876", "0000", "123456789", "１２４８", "12 4"])
def test_pins_that_are_none_or_guessed_at_once(pin):
    with pytest.raises(EvenhandError):
        check_pin(pin)


def test_other_pins_pass():
    for pin in ("2468", "0907", "13579246"):
        check_pin(pin)
