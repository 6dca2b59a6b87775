"""What happens to a round on a device in the threads of its inbox: the runner and what it needs."""

from __future__ import annotations

import traceback
from collections import deque
from collections.abc import Callable
from concurrent.futures import Executor
from pathlib import Path

import numpy as np

from oralquiz.errors import OralquizError
from oralquiz.listen import Recognizer
from oralquiz.rounds import (
    Command,
    Commanded,
    Corrected,
    Dictated,
    EchoFilter,
    Event,
    Heard,
    Judged,
    Options,
    Round,
    State,
    SumBegun,
    SumEnded,
)
from oralquiz.session import Devices, open_round
from oralquiz.sound import BLOCK, Block, Pcm, Samples, from_pcm16
from oralquiz.web.device_messages import ClipReady, SumTimes, ToDevice
from oralquiz.web.inbox import (
    EndRound,
    Item,
    Lost,
    MicrophoneBlocks,
    Obey,
    ReadSlower,
    RoomReads,
    TeacherVerdict,
    TooLate,
)
from oralquiz.web.page_clips import AheadReader
from oralquiz.web.page_speaker import PageSpeaker, SilentSpeaker
from oralquiz.web.page_stream import PageStream
from oralquiz.web.recent_audio import KeptVoices
from oralquiz.web.reports import (
    Failed,
    Finished,
    Happened,
    Reached,
    Report,
    VerdictTooLate,
)

SILENCE: Pcm = np.zeros(BLOCK, dtype=np.int16)


class RoundWorker:
    """Takes what an inbox hands over; see RemoteRound for what it is made of."""

    def __init__(
        self,
        key: str,
        round: Round,
        options: Options,
        stream: PageStream,
        reader: AheadReader,
        recognizer: Recognizer,
        folder: Path,
        ahead: Executor,
        *,
        tell: Callable[[ToDevice], None],
        report: Callable[[Report], None],
        room: bool,
        echo_filter: EchoFilter | None,
    ) -> None:
        self.turn = -1
        self.file: Path | None = None
        self.over = False
        self.voices = KeptVoices(round)
        self._key = key
        self._round = round
        self._stream = stream
        self._reader = reader
        self._ahead = ahead
        self._tell = tell
        self._report = report
        self._held: list[MicrophoneBlocks] | None = [] if room else None
        self._waiting = False
        self._marks: deque[int] = deque()  # samples at which a term begins, or the last one ends
        self._page: PageSpeaker | SilentSpeaker = (
            SilentSpeaker(key, stream, reader, tell, lambda: self.turn)
            if room
            else PageSpeaker(key, stream, reader, tell, lambda: self._runner.position)
        )
        devices = Devices(self._page, self._page, recognizer, echo_filter)
        self.live = open_round(round, options, devices, folder, watch=self._watch, buffered=True)
        self._runner = self.live.runner

    def handle(self, item: Item) -> None:
        """Take one item; whatever goes wrong ends the round and is reported."""
        if self.over and not isinstance(item, TeacherVerdict):
            return
        try:
            self._handle(item)
        except Exception as error:  # nobody else would hear of it: a tablet that stands still
            self._fail(error)

    def _handle(self, item: Item) -> None:
        match item:
            case MicrophoneBlocks():
                self._take(item)
            case Lost(blocks):
                for _ in range(blocks):
                    self._take(MicrophoneBlocks(SILENCE))
            case Obey(command):
                self._obey(command)
            case ReadSlower():
                self._read_slower()
            case TooLate(play):
                self._read_anew(play)
            case RoomReads():
                self._room_reads(item)
            case TeacherVerdict():
                self._correct(item)
            case EndRound(why):
                self._stop(why)

    # --- blocks -----------------------------------------------------------------------------

    def _take(self, blocks: MicrophoneBlocks) -> None:
        if self._held is not None:
            self._held.append(blocks)
            return
        samples = from_pcm16(blocks.pcm)
        for at in range(0, len(samples), BLOCK):
            if self.over:
                return
            self._take_block(samples[at : at + BLOCK])

    def _take_block(self, block: Samples) -> None:
        runner = self._runner
        self.voices.add(block)
        runner.take(Block(runner.position, block))
        while self._marks and self._marks[0] <= runner.position:
            self._report(Reached(self._marks.popleft()))
        if runner.state is State.DONE:
            self._finish()

    # --- wishes -----------------------------------------------------------------------------

    def _obey(self, command: Command) -> None:
        if self._held is None:  # else it waits for the room: nothing has begun yet
            self._runner.command(command)

    def _read_anew(self, play: int) -> None:
        page = self._page
        if not isinstance(page, PageSpeaker) or self._runner.state is not State.DICTATING:
            return
        if play == page.dictation_play:
            page.allow_more()
            self._runner.command(Command("repeat", why="it could not start on time"))

    def _read_slower(self) -> None:
        self._reader.forget()
        if self._runner.state in (State.DICTATING, State.LISTENING, State.ASKING):
            self._runner.command(Command("repeat", why="asked for more slowly"))
        else:
            self._ahead.submit(self._render_next, self.turn + 1)

    def missed_play(self, seen: int) -> int | None:
        """The number of the present sum's sound, if the page has not seen it yet."""
        page = self._page
        if isinstance(page, PageSpeaker) and seen < page.dictation_play:
            return page.dictation_play
        return None

    def _room_reads(self, wish: RoomReads) -> None:
        assert isinstance(self._page, SilentSpeaker)
        self._page.times[wish.turn] = wish.at_s
        # the room may have been paused before this sum could begin here
        if not wish.again or self.turn < wish.turn:
            self._begin_with_room()
        elif self.turn == wish.turn and not self._waiting:
            paused = self._runner.state is State.PAUSED
            self._runner.command(Command("resume" if paused else "repeat"))

    def _begin_with_room(self) -> None:
        held, self._held = self._held, None
        if held is None and self._runner.state is State.PAUSED:
            self._runner.command(Command("resume"))
        for blocks in held or ():
            self._take(blocks)

    def _correct(self, verdict: TeacherVerdict) -> None:
        if self.over:  # whoever has the finished file adds it there
            self._report(VerdictTooLate(verdict))
            return
        event = Corrected(verdict.turn, verdict.verdict, verdict.value, verdict.by, verdict.when)
        self.live.correct(event)
        self._report(Happened(self._runner.position, event))

    def _stop(self, why: str) -> None:
        if self.live.begun:
            self._runner.close(why)
            self._finish()
        else:  # nothing was said yet: nothing to keep
            self.live.discard()
            self._end(None)

    # --- what the runner does ---------------------------------------------------------------

    def _watch(self, at: int, event: Event) -> None:
        match event:
            case SumBegun(turn=turn):
                self.turn = turn
                self._waiting = False
                self._ahead.submit(self._render_next, turn + 1)
            case Dictated():
                self._dictated(event)
            case Heard(turn=turn, onset=int(onset), offset=int(offset)):
                self.voices.heard(turn, onset, offset)
            case Judged():
                self.voices.judged()
            case SumEnded():
                self._marks.clear()
                self._wait_for_room()
            case Commanded(name=name) if name != "resume":
                self._marks.clear()
            case _:
                pass
        self._report(Happened(at, event))

    def _dictated(self, dictated: Dictated) -> None:
        """The pages follow each term as it sounds."""
        self.voices.judged()
        terms = dictated.terms
        self._marks = deque([*(term.onset for term in terms), terms[-1].offset])
        times = SumTimes(self._key, dictated.turn, [(t.onset, t.offset) for t in terms])
        self._stream.reading = times
        self._tell(times)

    def _wait_for_room(self) -> None:
        page = self._page
        if not isinstance(page, SilentSpeaker):
            return
        self._waiting = True
        last = self.turn + 1 == len(self._round.turns)
        if not last and self.turn + 1 not in page.times:
            self._runner.command(Command("pause", why="the room is not there yet"))

    def _render_next(self, turn: int) -> None:
        silent = isinstance(self._page, SilentSpeaker)
        if silent or self.over or turn >= len(self._round.turns):
            return
        try:
            clip = self._stream.clips.add(self._reader.prepare(self._round.turns[turn]).samples)
        except OralquizError:
            return  # the runner meets it again when it comes to that sum, and says so
        self._tell(ClipReady(self._key, clip))

    # --- the end ----------------------------------------------------------------------------

    def _finish(self) -> None:
        self._end(self.live.finish())

    def _end(self, file: Path | None) -> None:
        self.file = file
        self._let_go()
        self._report(Finished(file))

    def _let_go(self) -> None:
        """It is over: what is shown of it needs no sound but the answers."""
        self.over = True
        self.voices.ended()
        self._stream.clips.clear()
        self._reader.forget()

    def _fail(self, error: Exception) -> None:
        self._let_go()
        self._page.stop()
        if isinstance(error, OralquizError | OSError):
            why = str(error)
        else:  # a bug: named, so that it can be reported
            traceback.print_exception(error)
            why = f"something went wrong in the program ({type(error).__name__}: {error})"
        try:
            self.live.abandon()
        except (OSError, RuntimeError) as second:
            why += f"; {second}"
        self._report(Failed(why))
