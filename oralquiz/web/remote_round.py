"""One runner fed by one device's stream.

The event loop only appends to an inbox; a small pool of threads empties it, one thread at a time
for a run, because taking a block may mean recognising speech and waiting for the disk. What the
run has to say goes out through two callbacks, which are called from those threads.
"""

from __future__ import annotations

import time
import traceback
from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any, cast

import numpy as np

from oralquiz.audio import EchoCanceller, HalfDuplexGate
from oralquiz.errors import OralquizError
from oralquiz.judge import Verdict
from oralquiz.listen import Recognizer
from oralquiz.rounds import (
    Command,
    Commanded,
    Corrected,
    Dictated,
    Event,
    Heard,
    Judged,
    Options,
    Reader,
    Round,
    Runner,
    State,
    SumBegun,
    SumEnded,
    Turn,
)
from oralquiz.session import BufferedRecorder, SessionRecorder
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Clip, Samples
from oralquiz.speak import Dictation
from oralquiz.web.block_sequence import BlockSequence, StreamClock, block_start
from oralquiz.web.page_clips import AheadReader, PageClips
from oralquiz.web.recent_audio import RecentAudio

MARGIN_S = 0.15
"""Seconds that a page has to get a sound going, on top of its delay and the way there."""

MARGIN_MAX_S = 2.0
SILENCE: Samples = np.zeros(BLOCK, dtype=np.float32)

Message = dict[str, Any]


@dataclass(frozen=True)
class Reached:
    """A term begins to sound at this sample, or the last one has sounded."""


@dataclass(frozen=True)
class Over:
    """The run has ended; ``file`` of it is set, or None when nothing was said."""


@dataclass(frozen=True)
class CorrectedLate:
    """A correction that came after the end: it is not in the run's file."""

    corrected: Corrected


@dataclass(frozen=True)
class Failed:
    """The run cannot go on."""

    why: str


Fact = tuple[int, Event | Reached | Over | CorrectedLate | Failed]
"""What a run has to say, and the sample at which it was so."""


class _Page:
    """The page as the runner's reader and loudspeaker: it knows which of the two is asked for."""

    def __init__(
        self,
        reader: AheadReader,
        play: Callable[[Samples, int, bool], int],
        stop: Callable[[], None],
    ) -> None:
        self._reader = reader
        self._play = play
        self._stop = stop
        self._dictates = False

    def dictation(self, turn: Turn) -> Dictation:
        self._dictates = True
        return self._reader.dictation(turn)

    def phrase(self, text: str) -> Clip:
        self._dictates = False
        return self._reader.phrase(text)

    def play(self, samples: Samples, at: int) -> int:
        return self._play(samples, at, self._dictates)

    def stop(self) -> None:
        self._stop()


class RemoteRound:
    """A round on one device.

    ``tell`` takes messages for the page, ``fact`` the runner's events and what else a Fact can be.
    With ``room`` the sums are read by another device: this one keeps silent, and waits before each
    sum until ``go``. ``pool`` takes the blocks, ``ahead`` renders the next sum meanwhile. ``guard``
    keeps the reading, from this loudspeaker or the room's, out of what is heard.
    """

    def __init__(
        self,
        key: str,
        round: Round,
        options: Options,
        reader: Reader,
        recognizer: Recognizer,
        recorder: SessionRecorder,
        pool: Executor,
        ahead: Executor,
        *,
        tell: Callable[[Message], None],
        fact: Callable[[RemoteRound, Fact], None],
        room: bool = False,
        guard: EchoCanceller | HalfDuplexGate | None = None,
    ) -> None:
        self.key = key
        self.round = round
        self.options = options
        self.room = room
        self.intake = BlockSequence()
        self.clock = StreamClock()
        self.clips = PageClips()
        self.delay_s = 0.0
        """Seconds a sound takes from the page's clock to the ear, microphone included."""
        self.in_s = 0.0
        """Seconds of it that belong to the microphone."""
        self.way_s = 0.05
        """Seconds a message takes to the page and back."""
        self.file: Path | None = None
        self.turn = -1
        self.reading: Message | None = None
        """When the terms of the present sum sound, for the page."""
        self.over = False
        self._reader = AheadReader(reader)
        self._recorder = BufferedRecorder(recorder)
        self._pool = pool
        self._ahead = ahead
        self._tell = tell
        self._fact = fact
        self._lock = Lock()
        self._inbox: deque[Samples | Callable[[], None] | Corrected] = deque()
        self._busy = False
        self._held: list[Samples] | None = [] if room else None
        self._room_times: dict[int, float] = {}
        self._heard = RecentAudio()
        self.sounds: dict[int, Samples] = {}
        """The voice of each turn whose pupil agreed to recording, for the teacher's ear."""
        self._said_from: int | None = None
        self._waiting = False
        self._plays = 0
        self._dictation_play = -1
        self._extra_s = 0.0
        self._marks: deque[int] = deque()  # samples at which a term begins, or the last ends
        page = _Page(self._reader, self._play, self._hush)
        self._runner = Runner(
            round,
            page,
            page,
            recognizer,
            self._recorder,
            options,
            self._watch,
            cast(EchoCanceller | None, guard),
        )

    # --- from the event loop ----------------------------------------------------------------

    def prepare(self) -> str:
        """Render the first sum; returns the name of its clip. Slow: call it in a thread."""
        return self.clips.add(self._reader.prepare(self.round.turns[0]).samples)

    def packet(self, number: int, samples: Samples) -> None:
        """Blocks from ``number`` on came from the page. Raises Gap when one before is missing."""
        fresh = self.intake.fresh(number, len(samples) // BLOCK)
        if fresh:
            self.clock.arrived(block_start(self.intake.next), time.monotonic())
            self._push(samples[len(samples) - fresh * BLOCK :])

    def lost(self, first: int, count: int) -> None:
        """The page could not keep packets ``first`` ..: silence takes their place."""
        for _ in range(self.intake.skip(first, count)):
            self._push(SILENCE)  # a block at a time: a quarter of an hour is 58 MB otherwise

    def reopened(self) -> None:
        """The page was opened again: a new clock, and the sum from its start."""
        self.clock = StreamClock()
        if self.turn >= 0:
            self.command(Command("repeat", why="the page was opened again"))

    def command(self, command: Command) -> None:
        """Have the runner obey at its next block."""

        def obey() -> None:
            if self._held is None:  # else it waits for the room: nothing has begun yet
                self._runner.command(command)

        self._push(obey)

    def late(self, play: int) -> None:
        """The page could not start a sound in time, so it did not: the sum is read anew."""

        def again() -> None:
            if play == self._dictation_play and self._runner.state is State.DICTATING:
                self._extra_s = min(MARGIN_MAX_S, 2 * self._extra_s + 0.25)
                self._runner.command(Command("repeat", why="it could not start on time"))

        self._push(again)

    def missed(self, seen: int) -> None:
        """The page is back and had seen ``seen`` sounds: one it never got is as one too late."""
        if seen < self._dictation_play:
            self.late(self._dictation_play)

    def go(self, turn: int, at_s: float) -> None:
        """The room hears the sum of ``turn`` at ``at_s`` on the monotonic clock."""
        self._push(lambda: self._start(turn, at_s))

    def _start(self, turn: int, at_s: float) -> None:
        self._room_times[turn] = at_s
        held, self._held = self._held, None
        if held is None and self._runner.state is State.PAUSED:
            self._runner.command(Command("resume"))
        for samples in held or ():
            self._take(samples)

    def read_again(self, turn: int, at_s: float) -> None:
        """The room hears the sum of ``turn`` anew at ``at_s``; whoever has answered it waits."""

        def again() -> None:
            if self.turn < turn:  # the room was paused before this sum could begin here
                self._start(turn, at_s)
                return
            self._room_times[turn] = at_s
            if self.turn == turn and not self._waiting:
                paused = self._runner.state is State.PAUSED
                self._runner.command(Command("resume" if paused else "repeat"))

        self._push(again)

    def correct(self, turn: int, verdict: str, value: int | None, *, by: str, when: str) -> None:
        """Add the teacher's verdict on ``turn`` while the round still runs."""
        self._push(Corrected(turn, Verdict(verdict), value, by, when))

    def stop(self, why: str) -> None:
        """End the round now, whether or not the device still sends."""

        def end() -> None:
            if self._runner.state is State.START:  # nothing was said yet: nothing to keep
                self._recorder.discard()
                self._end(None)
            else:
                self._runner.close(why)
                self._finish()

        self._push(end)

    # --- what the runner sees of the page ---------------------------------------------------

    def _play(self, samples: Samples, at: int, exact: bool) -> int:
        if self.room:
            return self._play_in_room(at, exact)
        soonest = self._now() + round(
            (self.delay_s + self.way_s + MARGIN_S + self._extra_s) * SESSION_RATE
        )
        start = max(at, soonest)
        self._plays += 1
        if exact:
            self._dictation_play = self._plays
        self._tell(
            {
                "t": "play",
                "run": self.key,
                "play": self._plays,
                "clip": self.clips.add(samples),
                "at": start,
                "exact": exact,
            }
        )
        return start

    def _hush(self) -> None:
        self._tell({"t": "hush", "run": self.key})

    def _now(self) -> int:
        """The sample that the page's microphone is at, as well as it is known here."""
        position = self._runner.position
        if not self.clock.running:
            return position
        return max(position, self.clock.sample_at(time.monotonic()))

    def _play_in_room(self, at: int, exact: bool) -> int:
        if not exact:  # the page shows the phrase: thirty tablets need not say it
            return at
        return max(0, self.clock.sample_at(self._room_times[self.turn] + self.in_s))

    # --- the threads ------------------------------------------------------------------------

    def _push(self, item: Samples | Callable[[], None] | Corrected) -> None:
        with self._lock:
            self._inbox.append(item)
            if self._busy:
                return
            self._busy = True
        self._pool.submit(self._drain)

    def _drain(self) -> None:
        while True:
            with self._lock:
                if not self._inbox:
                    self._busy = False
                    return
                item = self._inbox.popleft()
            if self.over and not isinstance(item, Corrected):
                continue
            try:
                if isinstance(item, Corrected):
                    self._corrected(item)
                elif callable(item):
                    item()
                else:
                    self._take(item)
            except Exception as error:  # nobody else would hear of it: a tablet that stands still
                self._fail(error)

    def _corrected(self, corrected: Corrected) -> None:
        if self.over:  # the round ended meanwhile: whoever has the finished file adds it there
            self._fact(self, (self._runner.position, CorrectedLate(corrected)))
            return
        self._recorder.event(self._runner.position, corrected)
        self._fact(self, (self._runner.position, corrected))

    def _take(self, samples: Samples) -> None:
        if self._held is not None:
            self._held.append(samples)
            return
        runner = self._runner
        for at in range(0, len(samples), BLOCK):
            block = samples[at : at + BLOCK]
            self._heard.add(block)
            runner.take(Block(runner.position, block))
            while self._marks and self._marks[0] <= runner.position:
                self._fact(self, (self._marks.popleft(), Reached()))
            if runner.state is State.DONE:
                self._finish()
                return

    def _watch(self, at: int, event: Event) -> None:
        if isinstance(event, SumBegun):
            self.turn = event.turn
            self._waiting = False
            self._ahead.submit(self._render_next, self.turn + 1)
        elif isinstance(event, Dictated):
            self._show_reading(event)
        elif isinstance(event, Heard):
            self._keep_voice(event)
        elif isinstance(event, Judged):
            self._said_from = None
        elif isinstance(event, SumEnded):
            self._marks.clear()
            self._wait_for_room()
        elif isinstance(event, Commanded) and event.name != "resume":
            self._marks.clear()
        self._fact(self, (at, event))

    def _show_reading(self, dictated: Dictated) -> None:
        """Have the page know when each term sounds."""
        terms = dictated.terms
        self._marks = deque([*(term.onset for term in terms), terms[-1].offset])
        self.reading = {
            "t": "reading",
            "run": self.key,
            "turn": dictated.turn,
            "terms": [[term.onset, term.offset] for term in terms],
        }
        self._tell(self.reading)
        self._said_from = None

    def _keep_voice(self, heard: Heard) -> None:
        """The voice of a pupil who agreed: a number, and what it was taken back for."""
        if heard.onset is None or heard.offset is None:
            return
        if self._said_from is None:
            self._said_from = heard.onset
        if self.round.turns[heard.turn].consent:
            self.sounds[heard.turn] = self._heard.cut(self._said_from, heard.offset)

    def _wait_for_room(self) -> None:
        if not self.room:
            return
        self._waiting = True
        last = self.turn + 1 == len(self.round.turns)
        if not last and self.turn + 1 not in self._room_times:
            self._runner.command(Command("pause", why="the room is not there yet"))

    def _render_next(self, turn: int) -> None:
        if self.room or self.over or turn >= len(self.round.turns):
            return
        try:
            clip = self.clips.add(self._reader.prepare(self.round.turns[turn]).samples)
        except OralquizError:
            return  # the runner meets it again when it comes to that sum, and says so
        self._tell({"t": "clip", "run": self.key, "clip": clip})

    def _finish(self) -> None:
        self._end(self._recorder.finish())

    def _end(self, file: Path | None) -> None:
        self.file = file
        self.over = True
        self._fact(self, (self._runner.position, Over()))

    def _fail(self, error: Exception) -> None:
        self.over = True
        self._hush()
        if isinstance(error, OralquizError | OSError):
            why = str(error)
        else:  # a mistake of ours: said with what it was, so that it can be told
            traceback.print_exception(error)
            why = f"something went wrong in the program ({type(error).__name__}: {error})"
        try:
            self._recorder.close()
        except (OSError, RuntimeError) as second:
            why += f"; {second}"
        self._fact(self, (self._runner.position, Failed(why)))
