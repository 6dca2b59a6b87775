"""What the server tells the page of a device.

Every message is a class of its own, encoded by ``to_page`` (``live_messages.py``). Samples are
counted at SESSION_RATE on the clock of the page's own stream.
"""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import UNSET, Struct, UnsetType


class Welcome(Struct, frozen=True, tag_field="t", tag="welcome"):
    """The answer to Hello. ``run`` is empty unless the page goes on streaming from ``next``."""

    name: str
    run: str
    next: int
    commands: list[str]


class Aside(Struct, frozen=True, tag_field="t", tag="aside"):
    """Another page has this device now: this one only watches."""


class BeginStream(Struct, frozen=True, tag_field="t", tag="begin"):
    """Stream for ``run`` from block ``next`` on; ``clip`` is the sound that will come first."""

    run: str
    next: int
    clip: str | None
    commands: list[str]


class EndStream(Struct, frozen=True, tag_field="t", tag="end"):
    """Stop streaming."""


class Receipt(Struct, frozen=True, tag_field="t", tag="receipt"):
    """Everything before block ``next`` has arrived."""

    run: str
    next: int


class Resend(Struct, frozen=True, tag_field="t", tag="resend"):
    """A block is missing: send again from ``next`` on."""

    run: str
    next: int


class ClipReady(Struct, frozen=True, tag_field="t", tag="clip"):
    """A sound that will be played later can be fetched."""

    run: str
    clip: str


class Play(Struct, frozen=True, tag_field="t", tag="play"):
    """Have ``clip`` heard at sample ``at``; if ``exact``, on time or not at all."""

    run: str
    play: int
    clip: str
    at: int
    exact: bool


class Hush(Struct, frozen=True, tag_field="t", tag="hush"):
    """Silence whatever is still playing."""

    run: str


class SumTimes(Struct, frozen=True, tag_field="t", tag="reading"):
    """When the terms of the present sum sound: onset and offset of each."""

    run: str
    turn: int
    terms: list[tuple[int, int]]


class Ping(Struct, frozen=True, tag_field="t", tag="ping"):
    """To be answered by Pong; 0 when nobody measures how long that takes."""

    n: int


class Note(Struct, frozen=True, tag_field="t", tag="note"):
    """Why what was asked for is not done, in a sentence."""

    text: str


class ShowPhase(Struct, frozen=True, tag_field="t", tag="show"):
    """``waiting``, or ``trouble``."""

    phase: str


class ShowTurn(Struct, frozen=True, tag_field="t", tag="show"):
    """``listen``, ``speak`` or ``paused`` in sum ``turn`` of ``of``, which is ``who``'s."""

    phase: str
    turn: int
    of: int
    who: str


class ShowAgain(Struct, frozen=True, tag_field="t", tag="show"):
    """Asked once more; ``heard`` is the number that was heard, or nothing."""

    turn: int
    of: int
    who: str
    heard: str
    phase: str = "again"


class ShowAnswer(Struct, frozen=True, tag_field="t", tag="show"):
    """How the sum ended: a verdict, or ``skipped``."""

    turn: int
    of: int
    who: str
    verdict: str
    value: int | None
    typed: bool
    phase: str = "answer"


class ShowOver(Struct, frozen=True, tag_field="t", tag="show"):
    """The round is over; ``replay`` names it once the pupil can look at what went wrong."""

    counts: Mapping[str, int]
    practice: bool
    replay: str | UnsetType = UNSET
    phase: str = "over"


Show = ShowPhase | ShowTurn | ShowAgain | ShowAnswer | ShowOver
Streaming = Welcome | Aside | BeginStream | EndStream | Receipt | Resend | Ping
Sounding = ClipReady | Play | Hush | SumTimes
ToDevice = Streaming | Sounding | Show
