"""A round on one device: its page streams in and is told what to play.

It lives on the event loop and only puts what it is given into the round's inbox; the round itself
is held by a host (``round_host.py``, ``round_worker.py``), and what it says comes back here.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from pathlib import Path

from oralquiz.errors import OralquizError
from oralquiz.rounds import Command, SumBegun
from oralquiz.sound import Pcm, Samples, from_pcm16
from oralquiz.speak import Dictation
from oralquiz.web.device_messages import ClipReady, Hush, Play, SumTimes, ToDevice
from oralquiz.web.inbox import (
    Delayed,
    EndRound,
    Item,
    Lost,
    MicrophoneBlocks,
    Obey,
    Put,
    ReadSlower,
    Reopened,
    RoomReads,
    SumFailed,
    SumReady,
    TeacherVerdict,
    TooLate,
)
from oralquiz.web.page_clips import AheadReader, Clipping
from oralquiz.web.page_stream import Delays, Now, PageStream
from oralquiz.web.reports import Failed, Finished, Happened, Report, Said, VoiceKept
from oralquiz.web.round_worker import Opening


class RemoteRound:
    """A round on one device, opened by ``begin``.

    ``tell`` takes messages for the page, ``report`` what happens: the runner's events and what the
    other classes of ``reports.py`` say; both may be called from threads. ``reader`` renders the
    sums in ``ahead``. ``stream_begun`` is called when the page's stream begins, ``slower`` when the
    pupil asks for a slower pace.
    """

    def __init__(
        self,
        opening: Opening,
        reader: AheadReader,
        ahead: Executor,
        *,
        tell: Callable[[ToDevice], None],
        report: Callable[[RemoteRound, Report], None],
        now: Now,
        stream_begun: Callable[[], None] = lambda: None,
        slower: Callable[[], None] = lambda: None,
    ) -> None:
        self._slower = slower
        self.key = opening.key
        self.round = opening.round
        self.options = opening.options
        self.room = opening.room
        self.turn = -1
        """The turn that the round has come to, -1 before the first."""
        self.over = False
        self.file: Path | None = None
        """The session file, once the round is over and something was said in it."""
        self.stream = PageStream(now, on_first=stream_begun)
        for phrase in opening.phrases.values():
            self.stream.clips.keep(Clipping.of(phrase.samples))
        self._reader = reader
        self._ahead = ahead
        self._tell = tell
        self._report = report
        self._given = -1  # by the room
        self._dictation_play = -1
        self._voices: dict[int, bytes] = {}
        self._opened: Put | None = None

    def begin(self, put: Put) -> str | None:
        """It is opened: ``put`` puts into its inbox. Returns the name of the first sound; None
        where another device reads. Quick once the reader has prepared the first turn."""
        self._opened = put
        return None if self.room else self._give(0)

    def _put(self, item: Item) -> None:
        if self._opened is not None:
            self._opened(item)

    # --- the answers that were heard --------------------------------------------------------

    def heard(self, turn: int) -> bool:
        """Whether the voice of ``turn`` is kept: only that of pupils who agreed to recording is."""
        return turn in self._voices

    def voice(self, turn: int) -> Samples | None:
        """The answer of ``turn`` as it was heard, (n,) at SESSION_RATE; None when it was not
        kept."""
        return from_pcm16(self._voices[turn]) if turn in self._voices else None

    def forget_voices(self) -> None:
        """Nobody will listen to the answers any more."""
        self._voices.clear()

    # --- from the page ----------------------------------------------------------------------

    def packet(self, number: int, pcm: Pcm) -> None:
        """Blocks from ``number`` on came. Raises Gap when one before is missing."""
        fresh = self.stream.arrived(number, pcm)
        if len(fresh):
            self._put(MicrophoneBlocks(fresh.tobytes(), *self.stream.last))

    def lost(self, first: int, count: int) -> None:
        """The page could not keep the blocks ``first`` ..: silence takes their place."""
        missing = self.stream.blocks.skip(first, count)
        if missing:
            self._put(Lost(missing))

    def delayed(self, delays: Delays) -> None:
        """So long sound and messages take to the page and back."""
        if delays != self.stream.delays:
            self.stream.delays = delays
            self._put(Delayed(delays))

    def reopened(self) -> None:
        """The page was opened again: a new clock, and the sum from its start."""
        self.stream.reopened()
        self._put(Reopened())
        if self.turn >= 0:
            self.command(Command("repeat", why="the page was opened again"))

    def command(self, command: Command) -> None:
        """Have the runner obey at its next block. A number typed while the sum is still being read
        counts when it is over, unless another is typed until then."""
        self._put(Obey(command))

    def slower(self) -> None:
        """The pupil asks for a slower pace: the present sum is read again at it, unless it was
        answered."""
        self._slower()
        self._ahead.submit(self._render_slower)

    def late(self, play: int) -> None:
        """The page could not start a sound in time, so it did not: the sum is read anew."""
        self._put(TooLate(play))

    def missed(self, seen: int) -> None:
        """The page is back and had seen ``seen`` sounds: one it never got is as one too late."""
        if seen < self._dictation_play:
            self.late(self._dictation_play)

    # --- from the class round ---------------------------------------------------------------

    def room_reads(
        self, turn: int, dictation: Dictation, at_s: float, *, again: bool = False
    ) -> None:
        """The room hears the sum of ``turn`` at ``at_s`` on the server's clock. When it hears it
        ``again``, whoever has answered it already waits."""
        if turn != self._given:
            self._given = turn
            self._put(SumReady(turn, dictation))
        self._put(RoomReads(turn, at_s, again))

    def correct(self, verdict: TeacherVerdict) -> None:
        """Add the teacher's verdict on a turn while the round still runs."""
        self._put(verdict)

    def stop(self, why: str) -> None:
        """End the round now, whether or not the device still sends."""
        self._put(EndRound(why))

    # --- from where it is heard -------------------------------------------------------------

    def hear(self, said: Said) -> None:
        """Take what the round says. May be called from a thread, for one thing at a time."""
        match said:
            case Play() | SumTimes() | Hush():
                self._for_page(said)
            case VoiceKept(turn, pcm):
                self._voices[turn] = pcm
            case _:
                self._follow(said)
                self._report(self, said)

    def _for_page(self, message: Play | SumTimes | Hush) -> None:
        if isinstance(message, Play) and message.exact:
            self._dictation_play = message.play
        elif isinstance(message, SumTimes):
            self.stream.reading = message
        self._tell(message)

    def _follow(self, report: Report) -> None:
        match report:
            case Happened(event=SumBegun(turn=turn)):
                self.turn = turn
                if not self.room and turn + 1 < len(self.round.turns):
                    self._ahead.submit(self._render, turn + 1)
            case Finished(file):
                self.file = file
                self._let_go()
            case Failed():
                self._let_go()
            case _:
                pass

    def _let_go(self) -> None:
        """It is over: what is shown of it needs no sound but the answers."""
        self.over = True
        self.stream.clips.clear()
        self._reader.forget()

    # --- the sums to come -------------------------------------------------------------------

    def _render(self, turn: int) -> None:
        """Render a sum while the one before is asked; where that fails, the round ends when it
        comes to it."""
        if self.over:
            return
        try:
            self._tell(ClipReady(self.key, self._give(turn)))
        except OralquizError as error:
            self._put(SumFailed(turn, str(error)))

    def _render_slower(self) -> None:
        """Render the present sum and the next one at another pace."""
        for turn in range(max(0, self.turn), min(self.turn + 2, len(self.round.turns))):
            self._render(turn)
        self._put(ReadSlower())

    def _give(self, turn: int) -> str:
        """Hand over the sum of ``turn``; returns the name of its sound."""
        dictation = self._reader.prepare(self.round.turns[turn])
        self._reader.forget()
        clip = self.stream.clips.add(dictation.samples)
        self._put(SumReady(turn, dictation))
        return clip
