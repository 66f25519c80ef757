"""Passes hints to the pages that are open: "something about this changed, ask again". A hint is never data.

Topics name no batch: `table-7`, `judged`, `today`, `coffee-3`. Everybody hears all of them, so nothing that is done for
a table sends a hint about a coffee: beside the code that turns from empty to poured it would unblind the cup.
"""

import asyncio
import threading
from collections.abc import AsyncIterator
from functools import partial

from django.db import transaction

_BEAT_S = 20.0
_MOST_WAITING = 100


class Hub:
    """The pages that listen, and a way to reach them from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._listeners: dict[asyncio.Queue[str | None], asyncio.AbstractEventLoop] = {}
        self._closed = False

    def publish(self, topic: str) -> None:
        """Send a hint to every page that listens; callable from any thread."""
        self._send(topic)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        self._closed = True
        self._send(None)

    def open_again(self) -> None:
        """Let pages listen after `close`."""
        self._closed = False

    async def listen(self) -> AsyncIterator[str]:
        """Give hints as they come, and an empty one now and then to show that the line stands."""
        queue: asyncio.Queue[str | None] = asyncio.Queue(_MOST_WAITING)
        with self._lock:
            self._listeners[queue] = asyncio.get_running_loop()
        try:
            while not self._closed:
                try:
                    topic = await asyncio.wait_for(queue.get(), _BEAT_S)
                except TimeoutError:
                    topic = ""
                if topic is None:
                    return
                yield topic
        finally:
            with self._lock:
                self._listeners.pop(queue, None)

    def _send(self, topic: str | None) -> None:
        with self._lock:
            listeners = list(self._listeners.items())
        for queue, loop in listeners:
            try:
                loop.call_soon_threadsafe(_put, queue, topic)
            except RuntimeError:  # that loop is gone, and its listener with it
                continue


def _put(queue: "asyncio.Queue[str | None]", topic: str | None) -> None:
    if queue.full():  # a page that does not read: the oldest hints go, since any hint makes it ask again
        queue.get_nowait()
    queue.put_nowait(topic)


HUB = Hub()


def hint(*topics: str) -> None:
    """Send hints once what was written is safe in the database."""
    for topic in topics:
        transaction.on_commit(partial(HUB.publish, topic))
