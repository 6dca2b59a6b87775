"""One browser that sounds and listens: a pupil's tablet, or the computer at the front.

A device outlives its connection: when the page comes back, it goes on with the same run from the
packet that is wanted next. Everything here happens on the event loop.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from oralquiz.rounds import COMMANDS, Command
from oralquiz.sound import Samples
from oralquiz.web.block_sequence import BlockSequence, Gap
from oralquiz.web.page_clips import PageClips
from oralquiz.web.planning import STRETCHES
from oralquiz.web.protocol import MAX_TYPED, ProtocolError
from oralquiz.web.remote_round import Message, RemoteRound

QUEUE = 400
"""Messages that wait for a slow page before its connection is given up."""

RECEIPT_EVERY = 12
"""Blocks between two receipts: a quarter of a second of sound that a page must keep at least."""

MOST_LOST = 15 * 60 * 50
"""Blocks (a quarter of an hour) that a page may declare lost at once."""

MOST_DELAY_S = 2.0


class Streamed(Protocol):
    """What runs on a device: a Run, or the reading aloud to a room."""

    key: str
    intake: BlockSequence
    delay_s: float
    in_s: float
    way_s: float
    reading: Message | None
    clips: PageClips

    def packet(self, number: int, samples: Samples) -> None: ...

    def lost(self, first: int, count: int) -> None: ...

    def missed(self, seen: int) -> None: ...

    def reopened(self) -> None: ...

    def late(self, play: int) -> None: ...

    def command(self, command: Command) -> None: ...


BROKEN, REFUSED, REPLACED, SLOW = 4400, 4403, 4409, 1013
"""Why a connection ends, as WebSocket close codes: the page broke the rules; nobody has come in
here; another page took its place; it does not keep up (and may try again, RFC 6455's registry)."""


class Connection:
    """What waits to be sent over one connection. ``closed`` is set when it must end."""

    def __init__(self) -> None:
        self.out: asyncio.Queue[Message] = asyncio.Queue(QUEUE)
        self.closed = asyncio.Event()
        self.why = ""
        self.code = 0

    def send(self, message: Message) -> None:
        try:
            self.out.put_nowait(message)
        except asyncio.QueueFull:
            self.close("the page does not keep up", SLOW)

    def close(self, why: str, code: int) -> None:
        if not self.closed.is_set():
            self.why, self.code = why, code
            self.closed.set()


class Device:
    """``key`` is unique among devices; ``commands`` are those its page may give a runner."""

    def __init__(
        self, key: str, name: str, commands: frozenset[str], changed: Callable[[Device], None]
    ) -> None:
        assert commands <= COMMANDS
        self.key = key
        self.name = name
        self.commands = commands
        self.run: Streamed | None = None
        self.mic = False
        self.ready = False
        self.measured = False
        self.home = False
        """Whether its page came with a pupil's own card."""
        self.stretch = 1
        """How much longer than usual this pupil may take; 0: as long as it takes."""
        self._changed = changed
        self._line: Connection | None = None
        self._show: Message = {"t": "show", "phase": "waiting"}
        self._out_s = 0.0
        self._in_s = 0.0
        self._way_s = 0.05
        self._receipt = 0
        self._pings: dict[int, float] = {}

    @property
    def online(self) -> bool:
        return self._line is not None

    # --- the connection ---------------------------------------------------------------------

    def attach(self, line: Connection) -> None:
        """``line`` is the device's connection from now on; an older one ends."""
        if self._line is not None:
            self._line.close("the page was opened somewhere else", REPLACED)
        self._line = line
        self._changed(self)

    def take_over(self, line: Connection) -> None:
        """``line`` is the device's connection from now on; the page before it stays, only watches,
        and is told so."""
        if self._line is not None and self._line is not line:
            self._line.send({"t": "aside"})
        self._line = line
        self._changed(self)

    def holds(self, line: Connection) -> bool:
        """Whether ``line`` is the device's connection."""
        return self._line is line

    def detach(self, line: Connection) -> None:
        if self._line is line:
            self._line = None
            self.ready = self.ready and self.run is not None
            self._changed(self)

    def send(self, message: Message) -> None:
        """Send if there is a connection; what matters later is sent again by ``_welcome``."""
        if self._line is not None:
            self._line.send(message)

    @property
    def showing(self) -> str:
        """The phase that the page shows."""
        return str(self._show["phase"])

    def show(self, phase: str, **what: Any) -> None:
        """Have the page show ``phase``, now and whenever it comes back."""
        self._show = {"t": "show", "phase": phase, **what}
        self.send(self._show)

    def close(self, why: str) -> None:
        """End the connection; a run that goes on here is stopped."""
        if isinstance(self.run, RemoteRound):
            self.run.stop(why)
        if self._line is not None:
            self._line.close(why, REPLACED)

    def ping(self, now_s: float) -> None:
        """Measure the way to the page and back; the answer is a ``pong``."""
        number = max(self._pings, default=0) + 1
        self._pings = dict([*self._pings.items(), (number, now_s)][-4:])
        self.send({"t": "ping", "n": number})

    # --- runs -------------------------------------------------------------------------------

    def begin(self, run: Streamed, clip: str | None) -> None:
        """``run`` begins on this device: its page starts to stream."""
        self.run = run
        self._receipt = 0
        self._delays()
        self.send(self._begin(run, clip))

    def end(self) -> None:
        """No run any more: the page stops to stream."""
        self.run = None
        self.send({"t": "end"})

    def _begin(self, run: Streamed, clip: str | None) -> Message:
        return {
            "t": "begin",
            "run": run.key,
            "next": run.intake.next,
            "clip": clip,
            "commands": sorted(self.commands),
        }

    def _delays(self) -> None:
        if self.run is not None:
            self.run.delay_s = self._out_s + self._in_s
            self.run.in_s = self._in_s
            self.run.way_s = self._way_s

    # --- what the page says -----------------------------------------------------------------

    def packet(self, number: int, samples: Samples) -> None:
        run = self.run
        if run is None:
            return  # the run ended while this was on its way
        try:
            run.packet(number, samples)
        except Gap as gap:
            self.send({"t": "resend", "run": run.key, "next": gap.expected})
            return
        if run.intake.next >= self._receipt + RECEIPT_EVERY:
            self._receipt = run.intake.next
            self.send({"t": "receipt", "run": run.key, "next": run.intake.next})

    def hear(self, data: Mapping[str, Any], now_s: float) -> None:
        """A message of the page. Raises ProtocolError for one that this page may not send."""
        kind = data["t"]
        if kind == "hello":
            self._welcome(data)
        elif kind == "ready":
            self.mic, self.ready = data["mic"], True
            if self.run is not None:  # the page was opened anew in the middle of a run
                self.run.reopened()
                self.send(self._begin(self.run, None))
            self._changed(self)
        elif kind == "delay":
            self._out_s = min(max(0.0, data["out_s"]), MOST_DELAY_S)
            self._in_s = min(max(0.0, data["in_s"]), MOST_DELAY_S)
            self.measured = data["measured"]
            self._delays()
        elif kind == "time":
            if data["stretch"] not in STRETCHES:
                raise ProtocolError("time can be stretched 1, 2, 5 or 10 times, or taken off")
            self.stretch = data["stretch"]
        elif kind == "pong":
            sent = self._pings.pop(data["n"], None)
            if sent is not None:
                way = now_s - sent
                # jumps up at once, comes down slowly: too early is worse than a little late
                self._way_s = min(max(way, 0.9 * self._way_s), MOST_DELAY_S)
                self._delays()
        elif kind in ("late", "typed", "command"):
            if self.run is not None and data["run"] == self.run.key:
                self._for_run(self.run, kind, data)
        else:
            raise ProtocolError(f"this page does not say {kind}")

    def _for_run(self, run: Streamed, kind: str, data: Mapping[str, Any]) -> None:
        if kind == "late":
            run.late(data["play"])
        elif kind == "typed":
            if not 0 <= data["value"] <= MAX_TYPED:
                raise ProtocolError("an answer is a number that the frame can show")
            run.command(Command("typed", data["value"]))
        else:
            if data["name"] not in self.commands:
                raise ProtocolError(f"this page may not {data['name']}")
            run.command(Command(data["name"]))

    def _welcome(self, data: Mapping[str, Any]) -> None:
        """The page is here, or here again: where it should go on."""
        run = self.run
        going_on = run is not None and data["run"] == run.key
        if run is not None and going_on:
            missing = data["first"] - run.intake.next
            if missing > MOST_LOST:
                raise ProtocolError("too much of the sound is lost")
            if missing > 0:
                run.lost(run.intake.next, missing)
            run.missed(data["play"])
            self.ready, self.mic = True, data["mic"]
        else:
            self.ready = False
        self.send(
            {
                "t": "welcome",
                "name": self.name,
                "run": run.key if run is not None and going_on else "",
                "next": run.intake.next if run is not None else 0,
                "commands": sorted(self.commands),
            }
        )
        if run is not None and going_on and run.reading is not None:
            self.send(run.reading)
        self.send(self._show)
        self._changed(self)
