"""What becomes of a form that is sent too late, or while something long is written."""

import pytest
from django.db import OperationalError
from django.test import Client

from evenhand.records.models import Batch, Person, Table

PLAN = {"do": "plan", "black": "1"}


@pytest.fixture
def plan(client_as) -> dict[str, object]:
    """What the form of a plan sends."""
    return PLAN | {"batches": [Batch.objects.get(label="H-02").pk], "tasters": [Person.objects.get(name="Bo").pk]}


def test_a_button_pressed_after_the_log_in_ended_leads_back_to_its_page(client_as, plan, password):
    lead = client_as("Wim")
    page = lead.post("/tables/plan/", plan)["Location"]
    client = Client()
    answer = client.post(f"{page}open/", headers={"referer": f"http://testserver{page}"})
    assert answer["Location"] == f"/people/sign-in/?next={page}"
    shown = client.get(answer["Location"], follow=True)
    assert "Your log-in had ended, so what you sent was not kept" in shown.content.decode()
    entered = client.post(shown.redirect_chain[-1][0], {"name": "Wim", "password": password}, follow=True)
    assert entered.redirect_chain[-1][0] == page
    assert entered.status_code == 200
    assert Table.objects.latest("pk").state == "planned"


def test_an_address_that_is_not_the_benchs_own_says_so(db):
    answer = Client().get("/", headers={"host": "bench.elsewhere"})
    assert answer.status_code == 400
    assert "another address now" in answer.content.decode()


@pytest.mark.parametrize("referer", ["", "http://elsewhere.test/tables/", "http://[broken"])
def test_without_a_page_of_this_bench_the_way_leads_to_the_first_one(shop, referer):
    answer = Client().post("/tables/1/open/", headers={"referer": referer})
    assert answer["Location"] == "/people/sign-in/?next=/"


def test_logging_out_twice_is_no_loss(shop):
    answer = Client().post("/people/sign-out/", follow=True)
    assert "was not kept" not in answer.content.decode()


def test_what_cannot_be_written_now_says_so_and_is_no_failure(client_as, plan, monkeypatch):
    """The sentence is SQLite's own, error code SQLITE_BUSY."""

    def locked(*_args, **_named):
        raise OperationalError("database is locked")

    client = client_as("Wim")
    monkeypatch.setattr("evenhand.bench.table.plan_views.plan_table", locked)
    answer = client.post("/tables/plan/", plan)
    assert answer.status_code == 503
    assert answer["Retry-After"]
    assert "Nothing of what you sent just now was kept" in answer.content.decode()


def test_another_failure_of_the_database_is_not_hushed_up(client_as, plan, monkeypatch):
    def broken(*_args, **_named):
        raise OperationalError("disk I/O error")

    client = client_as("Wim")
    client.raise_request_exception = False
    monkeypatch.setattr("evenhand.bench.table.plan_views.plan_table", broken)
    assert client.post("/tables/plan/", plan).status_code == 500
