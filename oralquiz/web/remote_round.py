"""A round on one device: its page streams in and is told what to play.

The methods are called on the event loop and only put what they are given into an inbox; the round
itself runs in the inbox's threads (``round_worker.py``).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path

from oralquiz.listen import Recognizer
from oralquiz.rounds import Command, EchoFilter, Options, Round
from oralquiz.session import LiveRound
from oralquiz.sound import Pcm, Samples
from oralquiz.web.device_messages import ToDevice
from oralquiz.web.inbox import (
    EndRound,
    Inbox,
    Lost,
    MicrophoneBlocks,
    Obey,
    ReadSlower,
    RoomReads,
    TeacherVerdict,
    TooLate,
)
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_stream import Now, PageStream
from oralquiz.web.reports import Report
from oralquiz.web.round_worker import RoundWorker


@dataclass(frozen=True)
class Threads:
    """``pool`` takes the blocks, ``ahead`` renders the next sum meanwhile."""

    pool: Executor
    ahead: Executor


class RemoteRound:
    """A round on one device.

    ``tell`` takes messages for the page, ``report`` what happens: the runner's events and what the
    other classes of ``reports.py`` say; both are called from threads. With ``room`` the sums are
    read by another device: this one keeps silent, and waits before each sum until ``room_reads``.
    ``echo_filter`` keeps the reading, from this loudspeaker or the room's, out of what is heard.
    ``stream_begun`` is called when the page's stream begins, ``slower`` when the pupil asks for a
    slower pace.
    """

    def __init__(
        self,
        key: str,
        round: Round,
        options: Options,
        reader: AheadReader,
        recognizer: Recognizer,
        folder: Path,
        threads: Threads,
        *,
        tell: Callable[[ToDevice], None],
        report: Callable[[RemoteRound, Report], None],
        now: Now,
        stream_begun: Callable[[], None] = lambda: None,
        room: bool = False,
        echo_filter: EchoFilter | None = None,
        slower: Callable[[], None] = lambda: None,
    ) -> None:
        self._slower = slower
        self.key = key
        self.round = round
        self.options = options
        self.room = room
        self.stream = PageStream(now, stream_begun)
        self._reader = reader
        self._worker = RoundWorker(
            key,
            round,
            options,
            self.stream,
            reader,
            recognizer,
            folder,
            threads.ahead,
            tell=tell,
            report=lambda what: report(self, what),
            room=room,
            echo_filter=echo_filter,
        )
        self._inbox = Inbox(threads.pool, self._worker.handle)

    @property
    def live(self) -> LiveRound:
        """The round's life, from here to its file in ``folder``."""
        return self._worker.live

    @property
    def turn(self) -> int:
        """The turn that the round has come to, -1 before the first."""
        return self._worker.turn

    @property
    def over(self) -> bool:
        return self._worker.over

    @property
    def file(self) -> Path | None:
        """The session file, once the round is over and something was said in it."""
        return self._worker.file

    def voice(self, turn: int) -> Samples | None:
        """The answer of ``turn`` as it was heard, (n,) at SESSION_RATE; None when it was not kept:
        only the voice of pupils who agreed to recording is."""
        return self._worker.voices.of(turn)

    def first_clip(self) -> str:
        """The name of the first sound. Quick once the reader has prepared the first turn."""
        return self.stream.clips.add(self._reader.prepare(self.round.turns[0]).samples)

    # --- from the page ----------------------------------------------------------------------

    def packet(self, number: int, pcm: Pcm) -> None:
        """Blocks from ``number`` on came. Raises Gap when one before is missing."""
        fresh = self.stream.arrived(number, pcm)
        if len(fresh):
            self._inbox.put(MicrophoneBlocks(fresh))

    def lost(self, first: int, count: int) -> None:
        """The page could not keep the blocks ``first`` ..: silence takes their place."""
        missing = self.stream.blocks.skip(first, count)
        if missing:
            self._inbox.put(Lost(missing))

    def reopened(self) -> None:
        """The page was opened again: a new clock, and the sum from its start."""
        self.stream.reopened()
        if self.turn >= 0:
            self.command(Command("repeat", why="the page was opened again"))

    def command(self, command: Command) -> None:
        """Have the runner obey at its next block. A number typed while the sum is still being read
        counts when it is over, unless another is typed until then."""
        self._inbox.put(Obey(command))

    def slower(self) -> None:
        """The pupil asks for a slower pace: the present sum is read again at it, unless it was
        answered."""
        self._slower()
        self._inbox.put(ReadSlower())

    def late(self, play: int) -> None:
        """The page could not start a sound in time, so it did not: the sum is read anew."""
        self._inbox.put(TooLate(play))

    def missed(self, seen: int) -> None:
        """The page is back and had seen ``seen`` sounds: one it never got is as one too late."""
        missed = self._worker.missed_play(seen)
        if missed is not None:
            self.late(missed)

    # --- from the class round ---------------------------------------------------------------

    def room_reads(self, turn: int, at_s: float, *, again: bool = False) -> None:
        """The room hears the sum of ``turn`` at ``at_s`` on the server's clock. When it hears it
        ``again``, whoever has answered it already waits."""
        self._inbox.put(RoomReads(turn, at_s, again))

    def correct(self, verdict: TeacherVerdict) -> None:
        """Add the teacher's verdict on a turn while the round still runs."""
        self._inbox.put(verdict)

    def stop(self, why: str) -> None:
        """End the round now, whether or not the device still sends."""
        self._inbox.put(EndRound(why))
