"""One open WebSocket, held until either end is done with it."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable

from starlette.websockets import WebSocket, WebSocketDisconnect

from oralquiz.errors import OralquizError
from oralquiz.sound import BLOCK
from oralquiz.web.browser_device import BrowserDevice
from oralquiz.web.connection import BROKEN, SLOW, Connection
from oralquiz.web.credentials import Limit
from oralquiz.web.device_messages import Note, Ping
from oralquiz.web.identity import classroom_of
from oralquiz.web.live_messages import to_page
from oralquiz.web.packets import packet
from oralquiz.web.pages import plainly
from oralquiz.web.patient_socket import sound_goes_to
from oralquiz.web.protocol import FromPage, ProtocolError, from_page

PING_S = 4.0

BLOCKS = (4_000.0, 75.0)
"""Blocks at once (a minute and more after a break) and a second: half as many again as sound."""

MESSAGES = (60.0, 10.0)

Hear = Callable[[FromPage], Awaitable[None]]


class Conversation:
    """``hear`` takes the page's messages, ``device`` its sound (None: it has no microphone)."""

    def __init__(
        self,
        socket: WebSocket,
        connection: Connection,
        hear: Hear,
        device: BrowserDevice | None = None,
    ) -> None:
        self._socket = socket
        self._connection = connection
        self._hear = hear
        self._device = device
        self._now = classroom_of(socket).now
        self._blocks = Limit(*BLOCKS, self._now)
        self._messages = Limit(*MESSAGES, self._now)

    async def hold(self) -> None:
        connection = self._connection
        listening = asyncio.create_task(self._listen())
        speaking = asyncio.create_task(self._speak())
        pinging = asyncio.create_task(self._ping())
        closing = asyncio.create_task(connection.closed.wait())
        tasks = {listening, speaking, pinging, closing}
        sound_goes_to(self._socket, self._take_at_once)
        try:
            await asyncio.wait({listening, speaking, closing}, return_when=asyncio.FIRST_COMPLETED)
        finally:
            sound_goes_to(self._socket, None)
            for task in tasks:
                task.cancel()
            await asyncio.wait(tasks)
        if connection.closed.is_set():
            with contextlib.suppress(RuntimeError):  # the other end may be gone already
                await self._socket.close(connection.code, connection.why)

    async def _listen(self) -> None:
        try:
            while not self._connection.closed.is_set():
                came = await self._socket.receive()
                if came["type"] != "websocket.receive":
                    return
                if came.get("bytes") is not None:
                    self._take_sound(came["bytes"])
                else:
                    await self._take_message(came["text"])
        except ProtocolError as error:
            self._connection.close(str(error), BROKEN)
        except (WebSocketDisconnect, RuntimeError):
            return

    def _take_at_once(self, raw: bytes) -> None:
        """The same sound, which did not have to wait for a task."""
        if self._connection.closed.is_set():
            return
        try:
            self._take_sound(raw)
        except ProtocolError as error:
            self._connection.close(str(error), BROKEN)

    def _take_sound(self, raw: bytes) -> None:
        number, pcm = packet(raw)
        device = self._device
        if device is None:
            raise ProtocolError("this page has no microphone")
        if not self._blocks.take("", len(pcm) / BLOCK):
            # this computer slept, and all that was on its way comes at once: the page
            # connects again and sends what is wanted
            self._connection.close("more sound than a microphone makes", SLOW)
        elif device.holds(self._connection):  # else another page has taken it over meanwhile
            device.packet(number, pcm)

    async def _take_message(self, text: str) -> None:
        if not self._messages.take(""):
            raise ProtocolError("too many messages")
        try:
            await self._hear(from_page(text))
        except ProtocolError:
            raise
        except OralquizError as error:
            self._connection.send(Note(plainly(error)))

    async def _speak(self) -> None:
        try:
            while True:
                await self._socket.send_text(to_page(await self._connection.out.get()))
        except (WebSocketDisconnect, RuntimeError):
            return

    async def _ping(self) -> None:
        """Say something now and then: a page that hears nothing takes its connection for lost."""
        while True:
            await asyncio.sleep(PING_S)
            if self._device is not None and self._device.holds(self._connection):
                self._device.ping(self._now())
            else:
                self._connection.send(Ping(0))  # nobody measures the way to a page that watches
