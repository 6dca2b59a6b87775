"""What is put into the inbox of a round on a device."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from oralquiz.judge import Verdict
from oralquiz.rounds import Command
from oralquiz.speak import Dictation
from oralquiz.web.page_stream import Delays


@dataclass(frozen=True)
class MicrophoneBlocks:
    """Blocks of the microphone that came at ``at_s`` on the server's clock, the last sample of the
    stream among them the one before ``ends``. Whoever takes them makes samples of them, since the
    event loop has enough to do."""

    pcm: bytes
    ends: int
    at_s: float


@dataclass(frozen=True, eq=False)
class SumReady:
    """The sum of ``turn`` as it is read aloud."""

    turn: int
    dictation: Dictation


@dataclass(frozen=True)
class SumFailed:
    """The sum of ``turn`` cannot be read aloud."""

    turn: int
    why: str


@dataclass(frozen=True)
class Delayed:
    """How long sound and messages take to the page and back, from now on."""

    delays: Delays


@dataclass(frozen=True)
class Reopened:
    """The page was opened again: it has another clock."""


@dataclass(frozen=True)
class Lost:
    """This many blocks will never come."""

    blocks: int


@dataclass(frozen=True)
class Obey:
    """A command for the runner."""

    command: Command


@dataclass(frozen=True)
class ReadSlower:
    """The pace has changed, and what was rendered at the old one was rendered again."""


@dataclass(frozen=True)
class TooLate:
    """The page could not start sound ``play`` on time."""

    play: int


@dataclass(frozen=True)
class RoomReads:
    """The room hears the sum of ``turn`` at ``at_s`` on the server's clock, perhaps ``again``."""

    turn: int
    at_s: float
    again: bool = False


@dataclass(frozen=True)
class TeacherVerdict:
    """The teacher's verdict on a turn. ``when`` is an ISO 8601 date and time."""

    turn: int
    verdict: Verdict
    value: int | None
    by: str
    when: str


@dataclass(frozen=True)
class EndRound:
    """End now, whether or not the device still sends."""

    why: str


Item = (
    MicrophoneBlocks
    | SumReady
    | SumFailed
    | Delayed
    | Reopened
    | Lost
    | Obey
    | TooLate
    | ReadSlower
    | RoomReads
    | TeacherVerdict
    | EndRound
)

Put = Callable[[Item], None]
"""Puts an item into a round's inbox. Never waits."""
