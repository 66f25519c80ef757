"""Nobody fills the disk of the shop's machine by sending more than a form, a sheet or an import holds."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.test import AsyncRequestFactory

from evenhand.bench import limits
from evenhand.bench.limits import Bounded


def ask(app, chunks, path="/people/sign-in/password/", **headers):
    """Send chunks to an application as a server does, and return the statuses and how many chunks were asked for."""
    waiting = [{"type": "http.request", "body": chunk, "more_body": True} for chunk in chunks]
    waiting.append({"type": "http.request", "body": b"", "more_body": False})
    told = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    scope = AsyncRequestFactory()._base_scope(path=path) | {"type": "http", "method": "POST", "headers": told}
    sent, asked = [], 0

    async def receive():
        nonlocal asked
        asked += 1
        return waiting.pop(0)

    async def send(message):
        sent.append(message)

    with ThreadPoolExecutor(1) as pool:  # the browser's driver holds the loop of the tests' own thread
        pool.submit(asyncio.run, app(scope, receive, send)).result()
    return [message["status"] for message in sent if message["type"] == "http.response.start"], asked


async def reads_all(_scope, receive, send):
    while (message := await receive())["type"] != "http.disconnect":
        if not message["more_body"]:
            await send({"type": "http.response.start", "status": 200, "headers": []})
            await send({"type": "http.response.body", "body": b""})
            return


@pytest.fixture(autouse=True)
def small(monkeypatch):
    monkeypatch.setattr(limits, "MOST_BYTES", 100)
    monkeypatch.setattr(limits, "MOST_BYTES_IMPORTED", 300)


def test_what_fits_goes_through():
    assert ask(Bounded(reads_all, "/in/"), [b"x" * 50, b"x" * 50]) == ([200], 3)


def test_a_length_that_is_told_and_too_large_is_refused_unread():
    assert ask(Bounded(reads_all, "/in/"), [b"x"], content_length="101") == ([413], 0)


def test_more_than_was_told_is_refused_before_the_rest_is_read():
    assert ask(Bounded(reads_all, "/in/"), [b"x" * 60] * 50) == ([413], 2)


def test_an_import_may_be_larger():
    assert ask(Bounded(reads_all, "/in/"), [b"x" * 60] * 4, path="/in/") == ([200], 5)


def test_the_pages_are_served_behind_it(monkeypatch):
    from evenhand.bench.asgi import application

    assert application.import_path == "/setup/import/"
    assert ask(application, [b"x" * 60] * 50) == ([413], 2)
