"""HTTP with a time limit on what a request takes to arrive.

Without one, a few hundred requests that are begun and never finished keep everyone else out for as
long as they last.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

ARRIVAL_S = 15.0
"""Seconds in which a request has to arrive whole, headers and body, once it may be sent."""

_SENDING = (h11.IDLE, h11.SEND_BODY)
"""The page's states in which a request is still on its way, or has not begun."""


class TimedProtocol(H11Protocol):
    """Closes a connection whose request does not arrive within ARRIVAL_S."""

    def __init__(self, *args: Any, **named: Any) -> None:
        super().__init__(*args, **named)
        self._arrival: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        self._arrived()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        if self.conn.their_state in _SENDING and self.transport.get_protocol() is self:
            self._wait()
        else:
            self._arrived()

    def _wait(self) -> None:
        if self._arrival is None:
            self._arrival = self.loop.call_later(ARRIVAL_S, self.transport.close)

    def _arrived(self) -> None:
        if self._arrival is not None:
            self._arrival.cancel()
            self._arrival = None
