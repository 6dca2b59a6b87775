"""WebSockets that do not stop reading for the moment in which a message is taken.

uvicorn stops reading after each message and goes on when the app has taken it. For the packets of a
class that is two calls of the system a packet, a sixth of what its connections cost. Here reading
stops only when a message has waited a while.
"""

from __future__ import annotations

import asyncio
from typing import Any

from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

PATIENCE_S = 0.2
"""Seconds for which what comes is taken in although the app has not asked for it yet."""


class PatientSocket(WebSocketsSansIOProtocol):
    """A WebSocket on a `PatientTransport`."""

    def connection_made(self, transport: Any) -> None:
        super().connection_made(PatientTransport(transport, self.loop))  # type: ignore[arg-type]


class PatientTransport:
    """Passes everything on to ``transport``, but a wish to stop reading only when it has lasted."""

    def __init__(self, transport: Any, loop: asyncio.AbstractEventLoop) -> None:
        self._transport = transport
        self._loop = loop
        self._wanted = True
        self._reading = True
        self._timer: asyncio.TimerHandle | None = None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)

    def pause_reading(self) -> None:
        self._wanted = False
        if self._timer is None:
            self._timer = self._loop.call_later(PATIENCE_S, self._settle)

    def resume_reading(self) -> None:
        self._wanted = True
        if not self._reading:
            self._reading = True
            self._transport.resume_reading()

    def _settle(self) -> None:
        self._timer = None
        if not self._wanted and self._reading and not self._transport.is_closing():
            self._reading = False
            self._transport.pause_reading()
