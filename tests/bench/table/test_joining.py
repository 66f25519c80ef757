"""Joining a table from a phone, by the code that stands on it."""

import datetime as dt

import pytest
from django.test import Client, RequestFactory, override_settings
from django.urls import reverse
from django.utils import timezone

from evenhand.bench.models import Device, FailedLogIn
from evenhand.bench.people.accounts import DEVICE_COOKIE
from evenhand.bench.table import planning
from evenhand.bench.table.joining import join_address

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("is_open", [False, True])
def test_a_phone_is_admitted_for_half_a_day_and_led_to_its_cups(plan, pen, client, is_open):
    if is_open:
        planning.open_table(pen, plan.table)
    answer = client.get(f"/T/{plan.join_code}")
    assert answer.status_code == 302
    assert answer["Location"] == f"/people/sign-in/?next=%2Ftaste%2F{plan.table.pk}%2F"
    device = Device.objects.get()
    assert dt.timedelta(hours=11, minutes=59) < device.until - timezone.now() <= dt.timedelta(hours=12)
    assert answer.cookies[DEVICE_COOKIE].value
    client.get(f"/T/{plan.join_code}")
    assert Device.objects.count() == 1


def test_small_letters_are_as_good_as_capitals(plan, client):
    assert client.get(f"/T/{plan.join_code.lower()}").status_code == 302


def test_who_is_logged_in_goes_straight_to_the_cups(plan, client_as):
    answer = client_as("Ida").get(f"/T/{plan.join_code}")
    assert answer["Location"] == reverse("taste:table", args=[plan.table.pk])
    assert not Device.objects.exists()


def test_an_unknown_code_and_that_of_a_closed_table_admit_nobody(plan, pen, client):
    answer = client.get("/T/WRONG9")
    assert (answer.status_code, b"No table has this code" in answer.content) == (404, True)
    planning.open_table(pen, plan.table)
    planning.close_table(pen, plan.table)
    answer = client.get(f"/T/{plan.join_code}")
    assert (answer.status_code, b"is closed" in answer.content) == (404, True)
    assert not Device.objects.exists()


def test_guessing_is_stopped_for_one_address_alone(plan, client):
    for number in range(20):
        assert client.get(f"/T/GUESS{number}").status_code == 404
    answer = client.get(f"/T/{plan.join_code}")
    assert (answer.status_code, Device.objects.exists()) == (429, False)
    assert Client(REMOTE_ADDR="192.0.2.7").get(f"/T/{plan.join_code}").status_code == 302
    FailedLogIn.objects.update(at=timezone.now() - dt.timedelta(minutes=16))
    assert client.get(f"/T/{plan.join_code}").status_code == 302


@pytest.mark.parametrize(
    ("asked", "hosts", "address", "is_reachable"),
    [
        ("192.0.2.4:8000", ["192.0.2.4"], "HTTP://192.0.2.4:8000/T/", True),
        ("bench.example", ["bench.example"], "HTTP://BENCH.EXAMPLE/T/", True),
        ("127.0.0.1:8000", ["127.0.0.1", "localhost", "[::1]", "192.0.2.4"], "HTTP://192.0.2.4:8000/T/", True),
        ("localhost:8000", ["127.0.0.1", "localhost", "[::1]"], "HTTP://LOCALHOST:8000/T/", False),
        ("[::1]:8000", ["[::1]"], "HTTP://[::1]:8000/T/", False),
        ("[2001:db8::4]:8000", ["[2001:db8::4]"], "HTTP://[2001:DB8::4]:8000/T/", True),
        ("[2001:db8::4]", ["[2001:db8::4]"], "HTTP://[2001:DB8::4]/T/", True),
    ],
)
def test_the_square_says_an_address_that_phones_can_reach(plan, asked, hosts, address, is_reachable):
    with override_settings(ALLOWED_HOSTS=hosts):
        request = RequestFactory().get("/", HTTP_HOST=asked)
        assert join_address(request, plan) == (address + plan.join_code, is_reachable)


def test_join_codes_are_short_capitals_that_no_other_table_has(plan, pen):
    codes = {plan.join_code}
    for _ in range(200):
        from evenhand.bench.table.planning import _new_join_code

        codes.add(_new_join_code())
    assert all(len(code) == 6 and set(code) <= set("CDFHJKMNPRTVWXY34679") for code in codes)
    assert len(codes) > 195
