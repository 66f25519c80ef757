"""Admitting a device: for good, for a while, and never for less than it had."""

import datetime as dt

import pytest
from django.http import HttpResponse
from django.test import RequestFactory
from django.utils import timezone

from evenhand.bench.models import Device
from evenhand.bench.people.accounts import DEVICE_COOKIE, is_shop_device
from evenhand.bench.people.devices import admit

pytestmark = pytest.mark.django_db


def asked(token=""):
    request = RequestFactory().get("/")
    request.COOKIES[DEVICE_COOKIE] = token
    return request


@pytest.fixture
def tonight():
    return timezone.now() + dt.timedelta(hours=12)


def test_the_cookie_is_for_the_server_alone_and_the_token_is_not_kept():
    response = HttpResponse()
    admit(asked(), response, name="tablet", by="Una")
    cookie = response.cookies[DEVICE_COOKIE]
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert len(cookie.value) >= 43
    assert cookie.value not in Device.objects.get().token_hash
    assert is_shop_device(asked(cookie.value))
    assert not is_shop_device(asked(cookie.value[:-1]))
    assert not is_shop_device(asked())


def test_the_shops_tablet_stays_so_when_it_scans_a_tables_code(tonight):
    response = HttpResponse()
    admit(asked(), response, name="tablet", by="Una")
    again = HttpResponse()
    device = admit(asked(response.cookies[DEVICE_COOKIE].value), again, name="phone", by="table T27", until=tonight)
    assert (device.name, device.until) == ("tablet", None)
    assert DEVICE_COOKIE not in again.cookies
    assert Device.objects.count() == 1


def test_a_phone_is_put_off_made_the_shops_and_forgotten_after_its_time(tonight):
    response = HttpResponse()
    admit(asked(), response, name="phone", by="table T27", until=tonight)
    token = response.cookies[DEVICE_COOKIE].value
    later = tonight + dt.timedelta(hours=1)
    assert admit(asked(token), HttpResponse(), name="phone", by="table T28", until=later).until == later
    assert admit(asked(token), HttpResponse(), name="phone", by="table T27", until=tonight).until == later
    Device.objects.update(until=timezone.now() - dt.timedelta(seconds=1))
    assert not is_shop_device(asked(token))
    admit(asked(token), HttpResponse(), name="tablet", by="Una")
    assert list(Device.objects.values_list("name", flat=True)) == ["tablet"]


def test_a_phone_can_become_the_shops_for_good(tonight):
    response = HttpResponse()
    admit(asked(), response, name="phone", by="table T27", until=tonight)
    device = admit(asked(response.cookies[DEVICE_COOKIE].value), HttpResponse(), name="tablet", by="Una")
    assert (device.name, device.added_by, device.until) == ("tablet", "Una", None)
