"""One browser that plays and listens: a pupil's tablet, or the computer at the front.

A device outlives its connection: when the page comes back, it goes on with the same round from the
block that is wanted next. Everything here happens on the event loop.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from oralquiz.rounds import COMMANDS, Command
from oralquiz.sound import Pcm
from oralquiz.web.block_sequence import Gap
from oralquiz.web.connection import REPLACED, Connection
from oralquiz.web.device_messages import (
    Aside,
    BeginStream,
    EndStream,
    Ping,
    Receipt,
    Resend,
    Show,
    ShowPhase,
    Welcome,
)
from oralquiz.web.live_messages import ToPage
from oralquiz.web.page_delays import PageDelays
from oralquiz.web.page_stream import Delays, PageStream
from oralquiz.web.protocol import (
    Delay,
    FromDevice,
    Hello,
    Late,
    Ordered,
    Pong,
    ProtocolError,
    Ready,
    StretchTime,
    Typed,
)
from oralquiz.web.remote_round import RemoteRound

RECEIPT_EVERY = 150
"""Blocks between two receipts: three seconds of sound that a page must keep at least."""

SLOWER = "slower"
"""What a page may say besides a runner's commands: read more slowly from now on."""

MOST_LOST = 15 * 60 * 50
"""Blocks (a quarter of an hour) that a page may declare lost at once."""


class Streamed(Protocol):
    """What runs on a device: a RemoteRound, or the reading aloud to a room."""

    @property
    def key(self) -> str: ...

    @property
    def stream(self) -> PageStream: ...

    def packet(self, number: int, pcm: Pcm) -> None: ...

    def lost(self, first: int, count: int) -> None: ...

    def missed(self, seen: int) -> None: ...

    def delayed(self, delays: Delays) -> None: ...

    def reopened(self) -> None: ...

    def late(self, play: int) -> None: ...

    def command(self, command: Command) -> None: ...

    def slower(self) -> None: ...


class BrowserDevice:
    """``key`` is unique among devices; ``commands`` are those its page may give: a runner's, and
    SLOWER."""

    def __init__(
        self,
        key: str,
        name: str,
        commands: frozenset[str],
        changed: Callable[[BrowserDevice], None],
    ) -> None:
        assert commands <= COMMANDS | {SLOWER}
        self.key = key
        self.name = name
        self.commands = commands
        self.running: Streamed | None = None
        self.mic = False
        self.ready = False
        self.measured = False
        self.home = False
        """Whether its page came with a pupil's own card."""
        self.visit = ""
        """The visit whose page this is or was last."""
        self.held: set[str] = set()
        """The rounds that were held here in that visit, as the records call them."""
        self.stretch = 1
        """How many times longer than usual this pupil may take for an answer; 0: no limit."""
        self._changed = changed
        self._connection: Connection | None = None
        self._shown: Show = ShowPhase("waiting")
        self._delays = PageDelays()
        self._receipt = 0

    @property
    def online(self) -> bool:
        return self._connection is not None

    # --- the connection ---------------------------------------------------------------------

    def attach(self, connection: Connection) -> None:
        """Make ``connection`` the device's; an older one ends."""
        self.cut("the page was opened somewhere else", REPLACED)
        self._connection = connection
        if connection.visit != self.visit:
            self._begin_visit(connection.visit)
        self._changed(self)

    def _begin_visit(self, visit: str) -> None:
        """Somebody else opens the page: what the visit before did is not theirs to see."""
        self.visit, self.held = visit, set()
        if self.running is None:
            self._shown = ShowPhase("waiting")

    def take_over(self, connection: Connection) -> None:
        """Make ``connection`` the device's; the page before it stays, is told so, and only
        watches."""
        if self._connection is not None and self._connection is not connection:
            self._connection.send(Aside())
        self._connection = connection
        self._changed(self)

    def holds(self, connection: Connection) -> bool:
        """Whether ``connection`` is the device's."""
        return self._connection is connection

    def detach(self, connection: Connection) -> None:
        if self._connection is connection:
            self._connection = None
            self.ready = self.ready and self.running is not None
            self._changed(self)

    def send(self, message: ToPage) -> None:
        """Send if there is a connection; what still matters is sent again after Hello."""
        if self._connection is not None:
            self._connection.send(message)

    @property
    def showing(self) -> str:
        """The phase that the page shows."""
        return self._shown.phase

    def show(self, shown: Show) -> None:
        """Have the page show this, now and whenever it comes back."""
        self._shown = shown
        self.send(shown)

    def close(self, why: str) -> None:
        """End the connection; a round that is running here is stopped."""
        if isinstance(self.running, RemoteRound):
            self.running.stop(why)
        self.cut(why, REPLACED)

    def cut(self, why: str, code: int) -> None:
        """End the connection only: the page may come back."""
        if self._connection is not None:
            self._connection.close(why, code)

    def ping(self, now_s: float) -> None:
        """Measure the way to the page and back; the answer is a Pong."""
        self.send(Ping(self._delays.pinged(now_s)))

    # --- rounds -----------------------------------------------------------------------------

    def begin(self, running: Streamed, clip: str | None) -> None:
        """``running`` begins on this device: its page starts to stream."""
        self.running = running
        self._receipt = 0
        self._tell_delays()
        self.send(self._begin(running, clip))

    def end(self) -> None:
        """Nothing is running here any more: the page stops streaming."""
        self.running = None
        self.send(EndStream())

    def _begin(self, running: Streamed, clip: str | None) -> BeginStream:
        return BeginStream(running.key, running.stream.blocks.next, clip, sorted(self.commands))

    def _tell_delays(self) -> None:
        if self.running is not None:
            self.running.delayed(self._delays.known)

    # --- what the page says -----------------------------------------------------------------

    def packet(self, number: int, pcm: Pcm) -> None:
        """Blocks from ``number`` on, (k * BLOCK,)."""
        running = self.running
        if running is None:
            return  # the round ended while this was on its way
        try:
            running.packet(number, pcm)
        except Gap as gap:
            self.send(Resend(running.key, gap.expected))
            return
        if running.stream.blocks.next >= self._receipt + RECEIPT_EVERY:
            self._receipt = running.stream.blocks.next
            self.send(Receipt(running.key, self._receipt))

    def hear(self, said: FromDevice, now_s: float) -> None:
        """A message of the page. Raises ProtocolError for one that this page may not send."""
        match said:
            case Hello():
                self._welcome(said)
            case Ready(mic):
                self._is_ready(mic)
            case Delay():
                self._delays.are(said.out_s, said.in_s)
                self.measured = said.measured
                self._tell_delays()
            case StretchTime(stretch):
                self.stretch = stretch
            case Pong(number):
                self._delays.ponged(number, now_s)
                self._tell_delays()
            case Late() | Typed() | Ordered():
                if self.running is not None and said.run == self.running.key:
                    self._for_round(self.running, said)

    def _is_ready(self, mic: bool) -> None:
        self.mic, self.ready = mic, True
        if self.running is not None:  # the page was opened anew in the middle of a round
            self.running.reopened()
            self.send(self._begin(self.running, None))
        self._changed(self)

    def _for_round(self, running: Streamed, said: Late | Typed | Ordered) -> None:
        match said:
            case Late(play=play):
                running.late(play)
            case Typed(value=value):
                running.command(Command("typed", value))
            case Ordered(name=name):
                if name not in self.commands:
                    raise ProtocolError(f"this page may not {name}")
                if name == SLOWER:
                    running.slower()
                else:
                    running.command(Command(name))

    def _welcome(self, hello: Hello) -> None:
        """The page is here, or here again: tell it where to go on."""
        running = self.running
        going_on = running is not None and hello.run == running.key
        if running is not None and going_on:
            self._go_on(running, hello)
        else:
            self.ready = False
        self.send(
            Welcome(
                self.name,
                running.key if running is not None and going_on else "",
                running.stream.blocks.next if running is not None else 0,
                sorted(self.commands),
            )
        )
        if running is not None and going_on and running.stream.reading is not None:
            self.send(running.stream.reading)
        self.send(self._shown)
        self._changed(self)

    def _go_on(self, running: Streamed, hello: Hello) -> None:
        missing = hello.first - running.stream.blocks.next
        if missing > MOST_LOST:
            raise ProtocolError("too much of the sound is lost")
        if missing > 0:
            running.lost(running.stream.blocks.next, missing)
        running.missed(hello.play)
        self.ready, self.mic = True, hello.mic
