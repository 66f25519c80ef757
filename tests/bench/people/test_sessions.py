"""A log-in whose end cannot be put off just now: what was asked is answered all the same."""

import time

import pytest
from django.contrib.sessions.models import Session
from django.db import OperationalError
from django.utils import timezone

from evenhand.bench.live import _is_in
from evenhand.bench.models import Account
from evenhand.bench.people.sessions import end_sessions


@pytest.fixture
def locked(monkeypatch):
    """The table of log-ins cannot be written: SQLite's own sentence, error code SQLITE_BUSY."""

    def save(*_args, **_named):
        raise OperationalError("database is locked")

    return lambda: monkeypatch.setattr(Session, "save", save)


@pytest.fixture
def on_tablet(client_as):
    """Bo, who entered by PIN five minutes ago."""
    client = client_as("Bo")
    session = client.session
    session["device"], session["awake_at"] = 1, time.time() - 300
    session.save()
    return client


def test_a_page_is_shown_while_the_end_of_a_log_in_cannot_be_put_off(on_tablet, locked):
    awake_at = on_tablet.session["awake_at"]
    locked()
    answer = on_tablet.get("/people/me/")
    assert answer.status_code == 200
    assert "evenhand_session" not in answer.cookies
    assert on_tablet.session["awake_at"] == awake_at


def test_a_form_that_was_kept_is_not_called_refused(on_tablet, locked):
    locked()
    assert on_tablet.post("/people/me/units/", {"units": "us"}).status_code == 303
    assert Account.objects.get(person__name="Bo").units == "us"


def test_a_log_in_that_cannot_be_written_is_none(client, shop, password, locked):
    locked()
    client.raise_request_exception = False
    assert client.post("/people/sign-in/password/", {"name": "Bo", "password": password}).status_code >= 400
    assert client.get("/people/me/").status_code == 302


def test_a_log_in_that_ended_meanwhile_is_not_brought_back(on_tablet, monkeypatch):
    def leave(*_args, **_named):
        Session.objects.all().delete()
        return "metric"

    monkeypatch.setattr("evenhand.bench.people.views._show_me", lambda request: _answer(leave()))
    assert on_tablet.get("/people/me/").status_code == 200
    assert not Session.objects.exists()
    assert on_tablet.get("/people/me/").status_code == 302


def _answer(text):
    from django.http import HttpResponse

    return HttpResponse(text)


def test_a_stream_knows_whether_the_log_in_stands(client_as, pen):
    client, account = client_as("Bo"), Account.objects.get(person__name="Bo")
    key = client.session.session_key
    assert _is_in(key, account.pk)
    assert not _is_in("", account.pk)
    end_sessions(account)
    assert not _is_in(key, account.pk)
    other = client_as("Bo").session.session_key
    Session.objects.filter(session_key=other).update(expire_date=timezone.now())
    assert not _is_in(other, account.pk)
    third = client_as("Bo").session.session_key
    pen.change(account.person, is_active=False)
    assert not _is_in(third, account.pk)
