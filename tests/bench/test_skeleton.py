"""The frame that all pages share."""

import pytest

from evenhand.bench.security import POLICY


@pytest.mark.django_db
def test_before_the_first_account_every_page_leads_to_the_first_set_up(client):
    for address in ("/", "/pull/", "/tables/", "/people/sign-in/"):
        answer = client.get(address)
        assert (answer.status_code, answer["Location"]) == (302, "/start/")


def test_a_page_asks_who_is_there(client, shop):
    answer = client.get("/pull/")
    assert answer.status_code == 302
    assert answer["Location"] == "/people/sign-in/?next=/pull/"


def test_every_answer_carries_the_policy_and_stays_out_of_caches(client_as):
    answer = client_as("Una").get("/pull/")
    assert answer.status_code == 200
    assert answer["Content-Security-Policy"] == POLICY
    assert "unsafe" not in POLICY
    assert answer["Cache-Control"] == "no-store"
    assert b"style=" not in answer.content
    assert b"<script>" not in answer.content
