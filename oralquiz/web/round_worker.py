"""The life of a round on a device: the runner and what it needs, wherever that is.

It takes what is put into the round's inbox, one item at a time, and answers with what
``reports.py`` says. Whoever hands it the items passes the answers on, reports after ``sync``: what
is told is on the disk. A round that is over is packed by whoever has time for it.
"""

from __future__ import annotations

import traceback
from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from oralquiz.audio import EchoCanceller, HalfDuplexGate
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
from oralquiz.sound import BLOCK, Block, Clip, Samples, from_pcm16
from oralquiz.web.device_messages import SumTimes
from oralquiz.web.given_sums import GivenSums
from oralquiz.web.inbox import (
    Delayed,
    EndRound,
    Item,
    Lost,
    MicrophoneBlocks,
    Obey,
    ReadSlower,
    Reopened,
    RoomReads,
    SumFailed,
    SumReady,
    TeacherVerdict,
    TooLate,
)
from oralquiz.web.page_speaker import PageSpeaker, RoundPage, SilentSpeaker
from oralquiz.web.page_stream import Now, PageTimes
from oralquiz.web.recent_audio import HeardVoices
from oralquiz.web.reports import (
    Failed,
    Finished,
    Happened,
    Reached,
    Said,
    VerdictTooLate,
    VoiceKept,
)

SILENCE = bytes(2 * BLOCK)


class AgainstEcho(StrEnum):
    """What keeps a loudspeaker out of a round's microphone."""

    NONE = "none"
    CANCELLED = "cancelled"
    HALF_DUPLEX = "half duplex"


@dataclass(frozen=True)
class Opening:
    """What a round on a device begins with. ``phrases`` are all that is said besides the sums. In a
    ``room`` they are read by another device: this one keeps silent, and waits for it."""

    key: str
    round: Round
    options: Options
    folder: Path
    voice_name: str
    phrases: Mapping[str, Clip]
    room: bool = False
    echo: AgainstEcho = AgainstEcho.NONE


class RoundWorker:
    """A round that was opened: its session is begun. ``over``: only verdicts are taken any more;
    ``unpacked``: its session waits for ``packed``."""

    def __init__(self, opening: Opening, recognizer: Recognizer, now: Now) -> None:
        self.over = self.unpacked = False
        self._said: list[Said] = []
        self._lost: OSError | None = None
        self._hear = self._said.append
        self._turn = -1
        self._key = opening.key
        self._round = opening.round
        self._voices = HeardVoices(opening.round)
        self._times = PageTimes(now)
        self._sums = GivenSums(opening.round, opening.voice_name, opening.phrases)
        self._held: deque[bytes] = deque()
        self._room_is_waited_for = opening.room
        self._waiting = False
        self._marks: deque[int] = deque()  # samples at which a term begins, or the last one ends
        page = RoundPage(opening.key, self._times, self._sums, self._hear)
        self._page: PageSpeaker | SilentSpeaker = (
            SilentSpeaker(page, lambda: self._turn)
            if opening.room
            else PageSpeaker(page, lambda: self._runner.position)
        )
        devices = Devices(self._page, self._page, recognizer, _echo_filter(opening.echo))
        self._live = open_round(
            opening.round,
            opening.options,
            devices,
            opening.folder,
            watch=self._watch,
            buffered=True,
        )
        self._runner = self._live.runner

    def handle(self, item: Item) -> list[Said]:
        """Take one item; returns what comes of it. Whatever goes wrong ends the round and is
        reported."""
        if not self.over or isinstance(item, TeacherVerdict):
            try:
                if self._lost is not None and not self.over:
                    raise self._lost
                self._handle(item)
            except Exception as error:  # nobody else would hear of it: a tablet that stands still
                self._fail(error)
        said = self._said.copy()
        self._said.clear()
        return said

    def sync(self) -> bool:
        """Have on the disk what was said until now. May be called from another thread. False when
        that is impossible: the round then ends with the next item."""
        try:
            self._live.sync()
        except OSError as error:
            self._lost = error
            return False
        return True

    def packed(self) -> list[Said]:
        """Pack the session of a round that has just ended; returns what comes of it. May be called
        from another thread, after what was said before has been passed on."""
        if not self.unpacked:
            return []
        self.unpacked = False
        try:
            return [Finished(self._live.finish())]
        except Exception as error:
            return [Failed(plain_reason(error))]

    def _handle(self, item: Item) -> None:
        match item:
            case MicrophoneBlocks():
                self._times.clock.arrived(item.ends, item.at_s)
                self._take(item.pcm)
            case SumReady(turn, dictation):
                self._sums.give(turn, dictation)
                self._take_held()
            case SumFailed(turn, why):
                self._sums.give(turn, why)
                self._take_held()
            case Delayed(delays):
                self._times.delays = delays
            case Reopened():
                self._times.reopened()
            case Lost(blocks):
                for _ in range(blocks):
                    self._take(SILENCE)
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

    def _take(self, pcm: bytes) -> None:
        """Take blocks of the microphone, or hold them while something is waited for."""
        if self._held or self._must_hold:
            self._held.append(pcm)
            return
        samples = from_pcm16(pcm)
        at = 0
        while at < len(samples) and not self.over:
            if self._must_hold:
                self._held.append(pcm[2 * at :])
                return
            stop = at + self._at_once
            self._voices.add(pcm[2 * at : 2 * stop])
            self._take_blocks(samples[at:stop])
            at = stop

    @property
    def _at_once(self) -> int:
        """How many samples can be taken in one go: nothing is to be said before the last of
        them."""
        samples = self._runner.at_once * BLOCK
        if self._marks:
            until = -(-(self._marks[0] - self._runner.position) // BLOCK) * BLOCK
            samples = max(BLOCK, min(samples, until))
        return samples

    @property
    def _must_hold(self) -> bool:
        """Whether the room, or the rendering of the next sum, is waited for: what comes from the
        microphone is taken afterwards."""
        next_one = self._runner.state in (State.START, State.GAP)
        return self._room_is_waited_for or (next_one and not self._sums.has(self._turn + 1))

    def _take_held(self) -> None:
        while self._held and not self._must_hold and not self.over:
            rest, self._held = self._held, deque()
            while rest:
                self._take(rest.popleft())

    def _take_blocks(self, samples: Samples) -> None:
        runner = self._runner
        runner.take(Block(runner.position, samples), exact=True)
        while self._marks and self._marks[0] <= runner.position:
            self._hear(Reached(self._marks.popleft()))
        if runner.state is State.DONE:
            self._finish()

    # --- wishes -----------------------------------------------------------------------------

    def _obey(self, command: Command) -> None:
        if not self._room_is_waited_for:  # else nothing has begun yet
            self._runner.command(command)

    def _read_anew(self, play: int) -> None:
        page = self._page
        if not isinstance(page, PageSpeaker) or self._runner.state is not State.DICTATING:
            return
        if play == page.dictation_play:
            page.allow_more()
            self._runner.command(Command("repeat", why="it could not start on time"))

    def _read_slower(self) -> None:
        if self._runner.state in (State.DICTATING, State.LISTENING, State.ASKING):
            self._runner.command(Command("repeat", why="asked for more slowly"))

    def _room_reads(self, wish: RoomReads) -> None:
        assert isinstance(self._page, SilentSpeaker)
        self._page.heard_s[wish.turn] = wish.at_s
        # the room may have been paused before this sum could begin here
        if not wish.again or self._turn < wish.turn:
            self._begin_with_room()
        elif self._turn == wish.turn and not self._waiting:
            paused = self._runner.state is State.PAUSED
            self._runner.command(Command("resume" if paused else "repeat"))

    def _begin_with_room(self) -> None:
        waited, self._room_is_waited_for = self._room_is_waited_for, False
        if not waited and self._runner.state is State.PAUSED:
            self._runner.command(Command("resume"))
        self._take_held()

    def _correct(self, verdict: TeacherVerdict) -> None:
        if self.over:  # whoever has the finished file adds it there
            self._hear(VerdictTooLate(verdict))
            return
        event = Corrected(verdict.turn, verdict.verdict, verdict.value, verdict.by, verdict.when)
        self._live.correct(event)
        self._hear(Happened(self._runner.position, event))

    def _stop(self, why: str) -> None:
        if self._live.begun:
            self._runner.close(why)
            self._finish()
        else:  # nothing was said yet: nothing to keep
            self._live.discard()
            self._let_go()
            self._hear(Finished(None))

    def leave(self) -> None:
        """Whoever puts into the inbox is gone: leave a round that was cut short."""
        if self.over:
            return
        self.over = True
        if self._live.begun:
            self._live.abandon()
        else:
            self._live.discard()

    # --- what the runner does ---------------------------------------------------------------

    def _watch(self, at: int, event: Event) -> None:
        match event:
            case SumBegun(turn=turn):
                self._turn = turn
                self._waiting = False
            case Dictated():
                self._dictated(event)
            case Heard(turn=turn, onset=int(onset), offset=int(offset)):
                voice = self._voices.heard(turn, onset, offset)
                if voice is not None:
                    self._hear(VoiceKept(turn, voice))
            case Judged():
                self._voices.judged()
            case SumEnded():
                self._marks.clear()
                self._wait_for_room()
            case Commanded(name=name) if name != "resume":
                self._marks.clear()
            case _:
                pass
        self._hear(Happened(at, event))

    def _dictated(self, dictated: Dictated) -> None:
        """The pages follow each term as it sounds."""
        self._voices.judged()
        terms = dictated.terms
        self._marks = deque([*(term.onset for term in terms), terms[-1].offset])
        self._hear(SumTimes(self._key, dictated.turn, [(t.onset, t.offset) for t in terms]))

    def _wait_for_room(self) -> None:
        page = self._page
        if not isinstance(page, SilentSpeaker):
            return
        self._waiting = True
        last = self._turn + 1 == len(self._round.turns)
        if not last and self._turn + 1 not in page.heard_s:
            self._runner.command(Command("pause", why="the room is not there yet"))

    # --- the end ----------------------------------------------------------------------------

    def _finish(self) -> None:
        self._let_go()
        self.unpacked = True

    def _let_go(self) -> None:
        """It is over: no sound of it is needed any more."""
        self.over = True
        self._voices.ended()
        self._held.clear()
        self._sums.forget()

    def _fail(self, error: Exception) -> None:
        self._let_go()
        self._page.stop()
        why = plain_reason(error)
        try:
            self._live.abandon()
        except (OSError, RuntimeError) as second:
            why += f"; {second}"
        self._hear(Failed(why))


def plain_reason(error: Exception) -> str:
    """Why something failed, in a line; a bug is named, so that it can be reported."""
    if isinstance(error, OralquizError | OSError):
        return str(error)
    traceback.print_exception(error)
    return f"something went wrong in the program ({type(error).__name__}: {error})"


def _echo_filter(echo: AgainstEcho) -> EchoFilter | None:
    match echo:
        case AgainstEcho.CANCELLED:
            return EchoCanceller()
        case AgainstEcho.HALF_DUPLEX:
            return HalfDuplexGate()
        case _:
            return None
