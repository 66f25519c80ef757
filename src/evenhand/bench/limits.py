"""Holds what anybody may send to a size: all of it is written to the disk here before anybody is asked who they are."""

from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

MOST_BYTES = 6 * 2**20
"""For a form or a sheet: a little more than Django reads of one (DATA_UPLOAD_MAX_MEMORY_SIZE)."""

MOST_BYTES_IMPORTED = 64 * 2**20
"""For a file to import, whose own limit is 50 MB (records.folder.MAX_FILE_BYTES)."""

_SENTENCE = b"This is more than the bench takes at once. Nothing was kept."


class Bounded:
    """An ASGI application that is told no more than it may be: a longer request is answered 413.

    Parameters
    ----------
    app
        The application.
    import_path
        Where files to import are sent.
    """

    def __init__(self, app: App, import_path: str) -> None:
        self.app = app
        self.import_path = import_path

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most = MOST_BYTES_IMPORTED if scope["path"] == self.import_path else MOST_BYTES
        length = dict(scope["headers"]).get(b"content-length", b"0")
        if length.isdigit() and int(length) > most:
            await _refuse(send)
            return
        taken, is_too_much, is_answered = 0, False, False

        async def receive_bounded() -> Message:
            nonlocal taken, is_too_much
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > most:  # a sender that does not say how much will come
                is_too_much = True
                return {"type": "http.disconnect"}
            return message

        async def send_noted(message: Message) -> None:
            nonlocal is_answered
            is_answered = True
            await send(message)

        await self.app(scope, receive_bounded, send_noted)
        if is_too_much and not is_answered:
            await _refuse(send)


async def _refuse(send: Send) -> None:
    headers = [(b"content-type", b"text/plain; charset=utf-8"), (b"connection", b"close")]
    await send({"type": "http.response.start", "status": 413, "headers": headers})
    await send({"type": "http.response.body", "body": _SENTENCE})
