"""WebSockets that do not stop reading for the moment in which a message is taken, that hand on
sound at once, and that send what is said at the same moment together.

uvicorn stops reading after each message and goes on when the app has taken it, in a task of its
own that is woken for it. For the packets of a class that is two calls of the system a packet, and
half of what its connections cost. Here reading stops only when a message has waited a while, and a
packet of sound that came whole goes straight to who takes it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any

from starlette.websockets import WebSocket
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol
from websockets.http11 import Request
from websockets.protocol import OPEN

from oralquiz.web.packets import PACKET_BYTES

try:
    from websockets.speedups import apply_mask
except ImportError:  # not compiled for this system
    from websockets.utils import apply_mask

PATIENCE_S = 0.2
"""Seconds for which what comes is taken in although the app has not asked for it yet."""

EXTENSION = "oralquiz.sound"
"""The name under which an app finds the socket in its scope."""

TakeSound = Callable[[bytes], None]


class PatientSocket(WebSocketsSansIOProtocol):
    """A WebSocket on a `PatientTransport`. ``take_sound`` is given short binary messages that come
    while nothing else waits; all others go the usual way."""

    take_sound: TakeSound | None = None
    _rest = b""

    def connection_made(self, transport: Any) -> None:
        super().connection_made(PatientTransport(transport, self.loop))  # type: ignore[arg-type]

    def handle_connect(self, event: Request) -> None:
        super().handle_connect(event)
        if self.response.status_code == 101:
            self.scope["extensions"][EXTENSION] = {"socket": self}

    def data_received(self, data: bytes) -> None:
        if not self.handshake_initiated:  # the request for this socket
            super().data_received(data)
            return
        data, at = self._rest + data, 0
        while (end := frame_end(data, at)) <= len(data):
            self._take(data[at:end])
            at = end
        self._rest = data[at:]
        if len(self._rest) > self.config.ws_max_size + LONGEST_HEAD:
            super().data_received(self._rest)  # too long: it ends the connection
            self._rest = b""

    def _take(self, frame: bytes) -> None:
        message = None
        if self.take_sound is not None and self._idle:
            message = short_message(frame)
        if message is None or self.take_sound is None:
            super().data_received(frame)
        else:
            self.take_sound(message)

    @property
    def _idle(self) -> bool:
        """Whether the connection is open, and nothing that came before waits."""
        return self.conn.state is OPEN and not self.close_sent and self.queue.empty()


def sound_goes_to(socket: WebSocket, take: TakeSound | None) -> None:
    """Have ``take`` be given the binary messages of ``socket``, as far as its server can do that;
    None: as any other message again."""
    found = socket.scope.get("extensions", {}).get(EXTENSION)
    if found is not None:
        found["socket"].take_sound = take


LONGEST_HEAD = 14
"""Bytes of a frame before what it carries, at most (RFC 6455, section 5.2)."""


def frame_end(data: bytes, at: int) -> int:
    """Where the frame that begins at ``at`` ends; beyond ``data`` as long as that is not known."""
    if len(data) < at + 2:
        return len(data) + 1
    masked, length = divmod(data[at + 1], 128)
    begin = at + 2 + 4 * masked
    if length >= 126:
        size = 2 if length == 126 else 8
        length = int.from_bytes(data[at + 2 : at + 2 + size], "big")
        begin += size
    return begin + length


def short_message(frame: bytes) -> bytes | None:
    """What a whole ``frame`` of a client carries, if that is a whole binary message no longer than
    a packet of sound."""
    if frame[:2] != b"\x82\xfe" or len(frame) - 8 > PACKET_BYTES:
        return None
    return apply_mask(frame[8:], frame[4:8])


class PatientTransport:
    """Passes everything on to ``transport``, but a wish to stop reading only when it has lasted,
    and what is written together with what else is, until the loop comes round: each call of the
    system costs as much as all that leads to it."""

    def __init__(self, transport: Any, loop: asyncio.AbstractEventLoop) -> None:
        self._transport = transport
        self._loop = loop
        self._wanted = True
        self._reading = True
        self._timer: asyncio.TimerHandle | None = None
        self._unsent: list[bytes] = []

    def __getattr__(self, name: str) -> Any:
        return getattr(self._transport, name)

    def write(self, data: bytes) -> None:
        if not self._unsent:
            self._loop.call_soon(self._send)
        self._unsent.append(data)

    def close(self) -> None:
        self._send()
        self._transport.close()

    def _send(self) -> None:
        unsent, self._unsent = self._unsent, []
        if unsent:
            self._transport.write(b"".join(unsent))

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
