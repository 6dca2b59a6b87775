"""When a connection stops reading, and which way its messages go."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from itertools import repeat
from unittest import mock

import numpy as np
import pytest
import uvicorn
from starlette.types import Receive, Scope, Send
from starlette.websockets import WebSocket
from uvicorn.server import ServerState
from websockets.frames import Frame, Opcode

from oralquiz.web.packets import PACKET_BYTES
from oralquiz.web.patient_socket import PatientSocket, PatientTransport, sound_goes_to


class Later:
    """A loop on which delayed calls happen when the test says so."""

    def __init__(self) -> None:
        self.calls: list[Callable[[], None]] = []

    def call_soon(self, call: Callable[[], None]) -> None:
        self.calls.append(call)

    def call_later(self, delay_s: float, call: Callable[[], None]) -> None:
        self.calls.append(call)

    def pass_time(self) -> None:
        calls, self.calls = self.calls, []
        for call in calls:
            call()


def patient(loop: Later) -> tuple[PatientTransport, mock.Mock]:
    inner = mock.Mock(spec=asyncio.Transport)
    inner.is_closing.return_value = False
    return PatientTransport(inner, loop), inner  # type: ignore[arg-type]


def test_reading_goes_on_past_a_message_that_is_taken_soon() -> None:
    loop = Later()
    transport, inner = patient(loop)
    for _ in range(5):
        transport.pause_reading()
        transport.resume_reading()
    loop.pass_time()
    inner.pause_reading.assert_not_called()
    inner.resume_reading.assert_not_called()


def test_reading_stops_while_a_message_waits_for_longer() -> None:
    loop = Later()
    transport, inner = patient(loop)
    transport.pause_reading()
    inner.pause_reading.assert_not_called()
    loop.pass_time()
    inner.pause_reading.assert_called_once()
    transport.resume_reading()
    inner.resume_reading.assert_called_once()
    transport.pause_reading()
    loop.pass_time()
    assert inner.pause_reading.call_count == 2


def test_what_is_written_at_the_same_moment_is_sent_together() -> None:
    loop = Later()
    transport, inner = patient(loop)
    transport.write(b"one, ")
    transport.write(b"two")
    inner.write.assert_not_called()
    loop.pass_time()
    inner.write.assert_called_once_with(b"one, two")
    transport.write(b"three")
    transport.close()  # not before it is sent
    assert inner.mock_calls[-2:] == [mock.call.write(b"three"), mock.call.close()]
    loop.pass_time()
    assert inner.write.call_count == 2


def test_everything_else_is_left_to_the_transport() -> None:
    transport, inner = patient(Later())
    transport.abort()
    inner.abort.assert_called_once_with()


# --- which way messages go --------------------------------------------------------------------

REQUEST = (
    b"GET / HTTP/1.1\r\nhost: here\r\nupgrade: websocket\r\nconnection: upgrade\r\n"
    b"sec-websocket-version: 13\r\nsec-websocket-key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
)
SOUND = bytes(range(256)) * 7 + b"1234"
FRAMES = [
    Frame(Opcode.BINARY, SOUND),
    Frame(Opcode.BINARY, SOUND[::-1]),
    Frame(Opcode.TEXT, b"{}"),
    Frame(Opcode.BINARY, b"short"),
    Frame(Opcode.BINARY, SOUND[:125]),
    Frame(Opcode.PING, b""),
    Frame(Opcode.BINARY, SOUND, fin=False),
    Frame(Opcode.CONT, SOUND),
    Frame(Opcode.BINARY, bytes(PACKET_BYTES + 4)),
    Frame(Opcode.BINARY, bytes(70_000)),
    Frame(Opcode.BINARY, SOUND),
]


async def received(sizes: Iterator[int], frames: list[Frame]) -> tuple[list[bytes], list[object]]:
    """What an app gets at once, and what the usual way, when ``frames`` come in pieces of these
    ``sizes``."""
    at_once: list[bytes] = []
    usual: list[object] = []

    async def app(scope: Scope, receive: Receive, send: Send) -> None:
        socket = WebSocket(scope, receive, send)
        await socket.accept()
        sound_goes_to(socket, at_once.append)
        while (came := await socket.receive())["type"] == "websocket.receive":
            usual.append(came.get("bytes") or came.get("text"))
        usual.append(came["code"])

    config = uvicorn.Config(app, ws_max_size=80_000, ws_per_message_deflate=False)
    state, loop = ServerState(), asyncio.get_running_loop()
    socket = PatientSocket(config, state, {}, loop)
    transport = mock.Mock(spec=asyncio.Transport)
    transport.is_closing.return_value = False
    transport.get_extra_info.return_value = None
    socket.connection_made(transport)
    socket.data_received(REQUEST)
    while transport.write.call_count < 1:
        await asyncio.sleep(0)
    data, at = b"".join(frame.serialize(mask=True) for frame in frames), 0
    while at < len(data):
        size = next(sizes)
        socket.data_received(data[at : at + size])
        at += size
        for _ in range(10):  # the app takes what came
            await asyncio.sleep(0)
    socket.connection_lost(None)
    await asyncio.gather(*state.tasks)
    return at_once, usual


@pytest.mark.parametrize("most", [1_500, 100_000_000])
def test_sound_that_came_whole_goes_straight_to_who_takes_it(most: int) -> None:
    sizes = np.random.default_rng(most)
    at_once, usual = asyncio.run(received(iter(lambda: int(sizes.integers(1, most)), 0), FRAMES))
    long = bytes(PACKET_BYTES + 4)
    others = ["{}", b"short", SOUND[:125], SOUND + SOUND, long, bytes(70_000)]
    assert at_once[:2] == [SOUND, SOUND[::-1]]
    assert [one for one in usual if one != SOUND] == [*others, 1005]
    assert at_once[2:] + [one for one in usual if one == SOUND] == [SOUND]


def test_what_is_too_long_still_ends_the_connection() -> None:
    frames = [Frame(Opcode.BINARY, bytes(90_000)), Frame(Opcode.BINARY, SOUND)]
    at_once, usual = asyncio.run(received(repeat(10_000), frames))
    assert at_once == []
    assert usual[0] == 1009
