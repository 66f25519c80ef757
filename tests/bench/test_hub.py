"""Hints reach every page that listens, from any thread, and a stream ends when the server stops."""

import asyncio
import threading

import pytest

from evenhand.bench import hub as hub_module
from evenhand.bench import live
from evenhand.bench.hub import Hub, hint


async def _gather(hub: Hub, number: int) -> list[str]:
    found = []
    async for topic in hub.listen():
        found.append(topic)
        if len(found) == number:
            break
    return found


async def _until(condition) -> None:
    for _ in range(500):
        if condition():
            return
        await asyncio.sleep(0.01)
    raise AssertionError("it never came to that")


def test_a_hint_from_another_thread_reaches_every_listener(run_apart):
    hub = Hub()

    async def run():
        listeners = [asyncio.create_task(_gather(hub, 2)) for _ in range(3)]
        await _until(lambda: len(hub._listeners) == 3)
        for topic in ("table-1", "judged"):
            thread = threading.Thread(target=hub.publish, args=(topic,))
            thread.start()
            thread.join()
        return await asyncio.wait_for(asyncio.gather(*listeners), 5)

    assert run_apart(run()) == [["table-1", "judged"]] * 3
    assert not hub._listeners


def test_closing_ends_the_streams_and_none_begins_after_it(run_apart):
    hub = Hub()

    async def run():
        listener = asyncio.create_task(_gather(hub, 1))
        await _until(lambda: hub._listeners)
        hub.close()
        ended = await asyncio.wait_for(listener, 5)
        return ended, await asyncio.wait_for(_gather(hub, 1), 5)

    assert run_apart(run()) == ([], [])


def test_a_page_that_does_not_read_loses_the_oldest_hints_and_holds_up_nobody(run_apart):
    hub = Hub()

    async def run():
        listening = hub.listen()
        first = asyncio.ensure_future(anext(listening))
        await _until(lambda: hub._listeners)
        for number in range(250):
            hub.publish(f"t-{number}")
        await asyncio.sleep(0.05)
        await first
        for _ in range(hub_module._MOST_WAITING - 1):
            last = await asyncio.wait_for(anext(listening), 5)
        await listening.aclose()
        return last

    assert run_apart(run()) == "t-249"


@pytest.mark.django_db(transaction=True)
def test_a_hint_waits_until_what_was_written_is_safe(monkeypatch):
    from django.db import transaction

    told = []
    monkeypatch.setattr(hub_module.HUB, "publish", told.append)
    with transaction.atomic():
        hint("table-3", "today")
        assert told == []
    assert told == ["table-3", "today"]
    with transaction.atomic():
        hint("table-4")
        transaction.set_rollback(True)
    assert told == ["table-3", "today"]


def test_a_stream_ends_with_its_log_in_however_many_hints_come(run_apart, monkeypatch):
    hub, asked = Hub(), []
    monkeypatch.setattr(live, "HUB", hub)
    monkeypatch.setattr(live, "_CHECKED_S", 0.05)

    async def is_in():
        asked.append(True)
        return len(asked) < 3

    async def publish():
        while True:
            hub.publish("judged")
            await asyncio.sleep(0.005)

    async def run():
        publisher = asyncio.create_task(publish())
        try:
            return [told async for told in live._stream(is_in)]
        finally:
            publisher.cancel()

    async def bounded():
        return await asyncio.wait_for(run(), 5)

    told = run_apart(bounded())
    assert told[0] == "retry: 2000\n\n"
    assert set(told[1:]) == {"data: judged\n\n"}
    assert len(asked) == 3
    assert len(told) > 6  # it asks now and then, not at each hint
    assert not hub._listeners


def test_a_stream_without_hints_asks_at_its_beat(run_apart, monkeypatch):
    monkeypatch.setattr(live, "HUB", Hub())
    monkeypatch.setattr(live, "_CHECKED_S", 0.04)
    monkeypatch.setattr(hub_module, "_BEAT_S", 0.05)

    async def is_in():
        return False

    async def run():
        return [told async for told in live._stream(is_in)]

    async def bounded():
        return await asyncio.wait_for(run(), 5)

    assert run_apart(bounded()) == ["retry: 2000\n\n"]
