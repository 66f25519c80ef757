"""Numbers that no database can hold, in addresses and in forms, name nothing: 404, and never a failure."""

import os
import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest
from django.urls import reverse
from django.urls.converters import IntConverter

from evenhand.records.models import Person

LIST = SimpleNamespace(**runpy.run_path(os.fspath(Path(__file__).parent / "pages.py")))
HUGE = (10**29, 2**63)
WORDS = {"sort": "faults", "form": "zip", "code": "NOCODE"}


def numbered():
    """Give every address with a number in it, by its name."""
    return [
        (name, converters)
        for name, converters in LIST.walk_addresses()
        if any(isinstance(one, IntConverter) for one in converters.values())
    ]


def test_every_page_with_a_number_is_tried():
    named = {name for name, _ in numbered()}
    assert {page.name for page in LIST.PAGES if any("{" in str(value) for value in page.given.values())} <= named
    assert len(named) > 30


@pytest.mark.parametrize("number", HUGE)
def test_a_huge_number_in_an_address_is_no_page(client_as, number):
    clients = [client_as("Una"), client_as("Bo")]
    for name, converters in numbered():
        given = {key: number if isinstance(one, IntConverter) else WORDS[key] for key, one in converters.items()}
        for client in clients:
            for method in (client.get, client.post):
                assert method(reverse(name, kwargs=given)).status_code == 404, name


def test_the_largest_number_that_a_database_holds_is_no_failure_either(client_as):
    client = client_as("Una")
    for name, converters in numbered():
        given = {key: 2**63 - 1 if isinstance(one, IntConverter) else WORDS[key] for key, one in converters.items()}
        assert client.get(reverse(name, kwargs=given)).status_code in (302, 404, 405), name


def test_whoever_is_not_logged_in_is_asked_first(client, shop):
    assert client.get(f"/tables/{HUGE[0]}/plan/").status_code == 302


@pytest.mark.parametrize("digits", [18, 19, 30, 5000])
def test_huge_ticks_are_left_out(client_as, digits):
    lead = client_as("Wim")
    assert lead.get("/tables/plan/", {"batch": "9" * digits}).status_code == 200
    assert lead.post("/tables/plan/choices/", {"batches": "9" * digits}).status_code < 500
    sent = {"do": "plan", "black": "1", "batches": "9" * digits, "tasters": Person.objects.get(name="Bo").pk}
    assert lead.post("/tables/plan/", sent).status_code in (404, 422)
    assert lead.get("/tables/", {"page": "9" * digits}).status_code == 200
    assert lead.get("/verdicts/", {"page": "9" * digits}).status_code == 200


def test_another_number_that_is_too_large_is_not_hushed_up(client_as, monkeypatch):
    def overflow(*_args, **_named):
        raise OverflowError("math range error")

    client = client_as("Wim")
    client.raise_request_exception = False
    monkeypatch.setattr("evenhand.bench.setup.views.head", overflow)
    assert client.get("/setup/").status_code == 500
