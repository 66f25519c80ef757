"""Logging in: by name and PIN on the shop's devices, by name and password elsewhere; and logging out."""

import datetime as dt
from types import SimpleNamespace

import pytest
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session
from django.test import Client
from django.utils import timezone

from evenhand.bench.models import Account, Device, FailedLogIn
from evenhand.bench.people import views
from evenhand.bench.people.accounts import DEVICE_COOKIE, _hash, make_account
from evenhand.bench.people.sessions import IDLE_S
from evenhand.records.models import Person

PASSWORD_PAGE = "/people/sign-in/password/"


@pytest.fixture
def tablet(shop):
    """A browser on a device of the shop."""

    def make(until=None):
        Device.objects.create(
            token_hash=_hash("token"), name="tablet", added_by="Una", added_at=timezone.now(), until=until
        )
        client = Client()
        client.cookies[DEVICE_COOKIE] = "token"
        return client

    return make


def pin_page(name):
    return f"/people/sign-in/{Account.objects.get(person__name=name).pk}/"


def who(client):
    return client.session.get(SESSION_KEY) and Account.objects.get(pk=client.session[SESSION_KEY]).person.name


def test_a_password_opens_and_leads_where_one_wanted_to_go(client, shop, password):
    answer = client.get("/people/sign-in/?next=/verdicts/")
    assert answer["Location"] == f"{PASSWORD_PAGE}?next=%2Fverdicts%2F"
    key = client.session.session_key
    answer = client.post(answer["Location"], {"name": "una", "password": password})
    assert (answer.status_code, answer["Location"]) == (303, "/verdicts/")
    assert who(client) == "Una"
    assert client.session.session_key != key
    assert client.session.get_expiry_age() == pytest.approx(12 * 3600, abs=2)
    assert client.get("/people/sign-in/")["Location"] == "/"


@pytest.mark.parametrize(
    "place", ["http://elsewhere.test/", "//elsewhere.test/", "javascript:alert(1)", "/people/sign-in/"]
)
def test_it_leads_nowhere_else(client, shop, password, place):
    answer = client.post(f"{PASSWORD_PAGE}?next={place}", {"name": "Bo", "password": password})
    assert answer["Location"] == "/taste/"


def test_a_wrong_password_says_so_and_keeps_the_name(client, shop):
    answer = client.post(PASSWORD_PAGE, {"name": "Una", "password": "no"})
    assert answer.status_code == 422
    assert "do not belong together" in answer.content.decode()
    assert 'value="Una"' in answer.content.decode()
    assert b'value="no"' not in answer.content
    assert who(client) is None
    assert FailedLogIn.objects.count() == 1


def test_an_unknown_name_is_told_nothing_else(client, shop):
    one = client.post(PASSWORD_PAGE, {"name": "Una", "password": "no"}).content.decode()
    other = client.post(PASSWORD_PAGE, {"name": "Nobody", "password": "no"}).content.decode()
    sentence = "This name and this password do not belong together"
    assert sentence in one
    assert sentence in other


def test_after_five_failures_not_even_the_right_password_is_looked_at(client, shop, password, monkeypatch):
    now = timezone.now()
    monkeypatch.setattr(views, "timezone", SimpleNamespace(now=lambda: now))
    for _ in range(5):
        client.post(PASSWORD_PAGE, {"name": "Una", "password": "no"})
    with monkeypatch.context() as patch:
        patch.setattr(views, "authenticate", lambda *a, **k: pytest.fail("it was looked at"))
        answer = client.post(PASSWORD_PAGE, {"name": "Una", "password": password})
    assert answer.status_code == 422
    assert "Wait 30 seconds" in answer.content.decode()
    now += dt.timedelta(seconds=30)
    assert client.post(PASSWORD_PAGE, {"name": "Una", "password": password}).status_code == 303
    assert not FailedLogIn.objects.exists()


def test_whoever_has_left_does_not_get_in_and_is_put_out(client, client_as, pen, password):
    inside = client_as("Bo")
    assert inside.get("/people/me/").status_code == 200
    pen.change(Person.objects.get(name="Bo"), is_active=False)
    assert inside.get("/people/me/").status_code == 302
    assert client.post(PASSWORD_PAGE, {"name": "Bo", "password": password}).status_code == 422


def test_names_stand_on_the_shops_devices_alone(client, tablet, pen):
    pen.change(Person.objects.get(name="Teo"), is_active=False)
    page = tablet().get("/people/sign-in/").content.decode()
    assert "Ida" in page
    assert "Teo" not in page
    assert client.get("/people/sign-in/").status_code == 302
    assert client.get(pin_page("Ida")).status_code == 302


def test_a_pin_opens_on_the_shops_tablet_for_a_quarter_of_an_hour(tablet, pin):
    client = tablet()
    page = client.get(pin_page("Ida")).content.decode()
    assert 'inputmode="numeric"' in page
    assert 'type="password"' in page
    assert client.post(pin_page("Ida"), {"pin": "1357"}).status_code == 422
    answer = client.post(pin_page("Ida") + "?next=/pull/", {"pin": pin})
    assert (answer.status_code, answer["Location"]) == (303, "/pull/")
    assert who(client) == "Ida"
    assert client.session.get_expiry_age() == IDLE_S


def test_a_pin_opens_nothing_elsewhere(client, shop, pin):
    answer = client.post(pin_page("Ida"), {"pin": pin})
    assert answer["Location"] == PASSWORD_PAGE
    assert who(client) is None


def test_a_phone_at_a_table_stays_logged_in_as_long_as_it_is_admitted(tablet, pin):
    client = tablet(until=timezone.now() + dt.timedelta(hours=3))
    client.post(pin_page("Ida"), {"pin": pin})
    assert client.session.get_expiry_age() == pytest.approx(3 * 3600, abs=5)
    Device.objects.update(until=timezone.now() - dt.timedelta(seconds=1))
    assert Client(headers={"cookie": f"{DEVICE_COOKIE}=token"}).get("/people/sign-in/").status_code == 302


def test_doing_something_puts_off_the_end_and_a_page_that_asks_by_itself_does_not(tablet, pin):
    client = tablet()
    client.post(pin_page("Ida"), {"pin": pin})

    def age_by(seconds):
        session = client.session
        session["awake_at"] -= seconds
        session.save()
        Session.objects.update(expire_date=timezone.now() + dt.timedelta(seconds=IDLE_S - seconds))

    def left_s():
        return (Session.objects.get().expire_date - timezone.now()).total_seconds()

    age_by(300)
    client.get("/people/me/", headers={"HX-Request": "true", "Evenhand-Hint": "1"})
    client.get("/live/")
    assert left_s() == pytest.approx(IDLE_S - 300, abs=5)
    client.get("/people/me/")
    assert left_s() == pytest.approx(IDLE_S, abs=5)
    age_by(30)  # a write a minute at most
    client.get("/people/me/")
    assert left_s() == pytest.approx(IDLE_S - 30, abs=5)
    age_by(IDLE_S)
    assert client.get("/people/me/").status_code == 302


def test_logging_out_leads_to_the_names(tablet, pin):
    client = tablet()
    client.post(pin_page("Ida"), {"pin": pin})
    assert client.get("/people/sign-out/").status_code == 405
    answer = client.post("/people/sign-out/", follow=True)
    assert "Who is it?" in answer.content.decode()
    assert who(client) is None


def test_a_forged_form_is_refused(shop, password):
    client = Client(enforce_csrf_checks=True)
    answer = client.post(PASSWORD_PAGE, {"name": "Una", "password": password})
    assert answer.status_code == 403
    assert who(client) is None


def test_somebody_without_a_pin_is_led_to_the_password(tablet, pen):
    make_account(pen, "Noor", "taster", password="nine loud kettles")
    client = tablet()
    assert "with password" in client.get("/people/sign-in/").content.decode()
    assert "no PIN for this name" in client.get(pin_page("Noor")).content.decode()
    assert client.post(pin_page("Noor"), {"pin": "2468"}).status_code == 422


def test_a_part_that_asks_after_the_end_gets_no_form_in_its_middle(client, shop):
    answer = client.get("/people/me/", headers={"HX-Request": "true"}, follow=True)
    assert answer.status_code == 401
    assert b"<form" not in answer.content


def test_a_password_after_a_pin_lasts_as_long_as_a_password(tablet, pin, password):
    client = tablet()
    client.post(pin_page("Ida"), {"pin": pin})
    client.post(PASSWORD_PAGE, {"name": "Ida", "password": password})
    assert client.session.get_expiry_age() == pytest.approx(12 * 3600, abs=2)
    assert "device" not in client.session
