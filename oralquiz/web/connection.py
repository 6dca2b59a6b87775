"""One open WebSocket: what waits to be sent, and why it ends."""

from __future__ import annotations

import asyncio

from oralquiz.web.live_messages import ToPage

QUEUE = 400
"""Messages that may wait for a slow page before its connection is given up."""

BROKEN, REFUSED, REPLACED, SLOW = 4400, 4403, 4409, 1013
"""Why a connection ends, as WebSocket close codes: the page broke the rules; nobody has signed in
here; another page took its place; it does not keep up (and may try again, RFC 6455's registry)."""

REASON_BYTES = 123
"""The longest reason that fits a close frame (RFC 6455, section 5.5)."""


class Connection:
    """What waits to be sent over one connection. ``closed`` is set when it must end; ``visit`` is
    the mark of the visit that opened it."""

    def __init__(self, visit: str = "") -> None:
        self.visit = visit
        self.out: asyncio.Queue[ToPage] = asyncio.Queue(QUEUE)
        self.closed = asyncio.Event()
        self.why = ""
        self.code = 0

    def send(self, message: ToPage) -> None:
        try:
            self.out.put_nowait(message)
        except asyncio.QueueFull:
            self.close("the page does not keep up", SLOW)

    def close(self, why: str, code: int) -> None:
        if not self.closed.is_set():
            self.why, self.code = close_reason(why), code
            self.closed.set()


def close_reason(why: str) -> str:
    """``why`` as it fits a close frame: at most REASON_BYTES of UTF-8."""
    return why.encode("utf-8", "replace")[:REASON_BYTES].decode("utf-8", "ignore")
