"""The round runner: a plain state machine that takes the microphone block by block.

    START -> DICTATING -> LISTENING -> (ASKING -> LISTENING) -> GAP -> DICTATING ... -> DONE

It owns no device and no thread. Sound comes in through ``take`` (or ``run``, which reads an
``AudioIn`` until the round is over), goes out through an ``AudioOut``; everything that happens is
an event handed to the recorder, at a sample of the one session clock. Commands of the teacher
(pause, repeat, skip, a typed answer) wait in a queue and take effect at the next block, so that
a recorded session can be run again to the same events.

The runner knows whose turn it is and what comes next. What is heard and judged of one answer is
`Answering`'s; what is played, `Playback`'s.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from enum import Enum, auto

from oralquiz.judge import Next
from oralquiz.listen import Recognizer
from oralquiz.rounds.answering import Answering
from oralquiz.rounds.commands import Command
from oralquiz.rounds.events import (
    AskedAgain,
    Commanded,
    Dictated,
    Event,
    RoundBegun,
    RoundEnded,
    SumBegun,
    SumEnded,
    TermTime,
)
from oralquiz.rounds.playback import MOST_AT_ONCE, SILENCE, Playback
from oralquiz.rounds.ports import AudioIn, AudioOut, EchoFilter, Reader, Recorder
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.sound import BLOCK, Block, Samples, quantise, samples_in


class State(Enum):
    START = auto()
    DICTATING = auto()
    LISTENING = auto()
    ASKING = auto()
    GAP = auto()
    PAUSED = auto()
    DONE = auto()


Watch = Callable[[int, Event], None]
"""Is told of every event and the sample at which it became known."""


class Runner:
    """Runs one round.

    ``watch`` is called with every event (for a screen). ``echo_filter`` takes what is played out of
    what the microphone hears; None where the two cannot meet (headphones, a virtual room).
    ``typed_waits``: a number typed while the sum is still being read is a running total and not an
    answer yet: it counts when the sum is over, unless another is typed by then. (Not when a
    recording is run again: its commands stand where they took effect.)
    """

    def __init__(
        self,
        round: Round,
        reader: Reader,
        out: AudioOut,
        recognizer: Recognizer,
        recorder: Recorder,
        options: Options | None = None,
        watch: Watch | None = None,
        echo_filter: EchoFilter | None = None,
        *,
        typed_waits: bool = True,
    ) -> None:
        self.round = round
        self.options = options or Options()
        self._reader = reader
        self._playback = Playback(out, echo_filter)
        self._recognizer = recognizer
        self._recorder = recorder
        self._watch = watch
        self._commands: deque[Command] = deque()
        self._position = 0  # the sample after the last block taken
        self._index = -1  # of the present turn
        self._answering: Answering  # of the present turn, from its dictation on
        self._typed_early: Command | None = None  # counts when the sum is over
        self._typed_waits = typed_waits
        self._wait_until = 0  # the sample at which the present state is over
        self._paused_in = State.START
        self.state = State.START

    # --- from outside -----------------------------------------------------------------------

    def run(self, source: AudioIn) -> None:
        """Read ``source`` until the round is over. A stream that ends early ends the round."""
        while self.state is not State.DONE:
            block = source.read()
            if block is None:
                self.close("the sound ended")
                return
            self.take(block)

    def command(self, command: Command) -> None:
        """Have ``command`` take effect at the next block. Safe to call from another thread."""
        self._commands.append(command)

    @property
    def at_once(self) -> int:
        """How many blocks may be taken in one go, at least 1: nothing can happen before the last of
        them."""
        if self._commands or self.state is State.START:
            return 1
        until = self._wait_until
        if self.state is State.LISTENING:
            until = self._answering.nothing_before(self._position)
        elif self.state is State.PAUSED:
            until = self._position + len(SILENCE)
        if self._typed_early is not None:
            until = min(until, self._answering.sum_ends)
        blocks = -((self._position - until) // BLOCK)
        return min(max(1, blocks), MOST_AT_ONCE)

    def take(self, block: Block, *, exact: bool = False) -> None:
        """Take what comes next of the microphone, contiguous at SESSION_RATE: a block of BLOCK
        samples, or as many as ``at_once`` says in one.

        ``exact``: they are whole steps of 16 bits already.
        """
        if self.state is State.DONE:
            return
        blocks, rest = divmod(len(block.samples), BLOCK)
        fits = not rest and (blocks == 1 or 1 < blocks <= self.at_once)
        if block.start != self._position or not fits:
            raise ValueError(
                f"a block of {len(block.samples)} at {block.start}, not {BLOCK} at {self._position}"
            )
        heard = block.samples if exact else quantise(block.samples)
        if self.state is State.START:
            self._begin()
        said = self._playback.mixed(block.start, len(heard))
        self._position = block.start + len(heard)
        consent = 0 <= self._index < len(self.round.turns) and self._asked.consent
        self._recorder.sound(said, heard if consent else SILENCE[: len(heard)])
        self._advance(self._playback.cleaned(block.start, heard))
        self._obey_what_waited()
        while self._commands:
            self._obey(self._commands.popleft())

    def interrupt(self, why: str) -> None:
        """Pause at once because of ``why`` (a microphone unplugged); ``resume`` goes on."""
        self._obey(Command("pause", why=why))

    @property
    def position(self) -> int:
        """The session sample that the next block must start at."""
        return self._position

    def close(self, why: str) -> None:
        """End the round now; what was not answered stays unanswered."""
        if self.state is not State.DONE:
            self._playback.stop(self._position)
            if self._running:
                self._drop_answer()
            self._event(RoundEnded(why, self._index))
            self.state = State.DONE

    # --- the turns --------------------------------------------------------------------------

    @property
    def _asked(self) -> Turn:
        return self.round.turns[self._index]

    def _advance(self, heard: Samples) -> None:
        if self.state is State.LISTENING:
            self._hear(heard)
        elif self._position < self._wait_until:
            return
        elif self.state is State.GAP:
            self._next_turn()
        elif self.state is State.DICTATING:
            self._answering.listen(self._position)
            self.state = State.LISTENING
        elif self.state is State.ASKING:
            self._answering.listen_again(self._position)
            self.state = State.LISTENING

    def _begin(self) -> None:
        self._event(RoundBegun(self.round.name, len(self.round.turns)))
        self._next_turn()

    def _next_turn(self) -> None:
        self._index += 1
        if self._index == len(self.round.turns):
            self._event(RoundEnded("finished", self._index))
            self.state = State.DONE
            return
        self._event(SumBegun(self._index, self._asked.pupil, self._asked.sum.terms))
        self._dictate()

    def _dictate(self) -> None:
        dictation = self._reader.dictation(self._asked)
        earliest = self._position + samples_in(self.options.lead_s)
        start = self._playback.play(dictation.samples, earliest)
        terms = tuple(TermTime(t.text, start + t.onset, start + t.offset) for t in dictation.terms)
        end = start + len(dictation.samples)
        self._event(Dictated(self._index, start, end, dictation.pace_s, terms))
        self._begin_answer(start + dictation.offset)
        self._wait_until = terms[-1].onset
        self.state = State.DICTATING

    def _begin_answer(self, sum_ends: int) -> None:
        self._typed_early = None
        self._answering = Answering(
            self._index, self._asked, self.round.highest, sum_ends, self.options, self._recognizer
        )

    def _hear(self, heard: Samples) -> None:
        for event in self._answering.hear(heard, self._position):
            self._event(event)
        if self._answering.next is Next.ASK_AGAIN:
            self._ask_again()
        elif self._answering.next is not None:
            self._finish_turn()

    def _ask_again(self) -> None:
        phrase = self._reader.phrase(self.options.ask_again_text)
        start = self._playback.play(phrase.samples, self._position)
        self._wait_until = start + len(phrase.samples)
        self._event(AskedAgain(self._index, self._answering.attempt, start, self._wait_until))
        self.state = State.ASKING

    def _finish_turn(self) -> None:
        self._drop_answer()
        self._event(SumEnded(self._index))
        self._wait_until = self._position + samples_in(self.options.gap_s)
        self.state = State.GAP

    def _drop_answer(self) -> None:
        """Nothing more counts as an answer to what was read."""
        self._typed_early = None
        self._answering.end()

    # --- commands ---------------------------------------------------------------------------

    @property
    def _running(self) -> bool:
        """Whether a sum is being read or answered."""
        return self.state in (State.DICTATING, State.LISTENING, State.ASKING)

    def _obey(self, command: Command) -> None:
        if self.state in (State.START, State.DONE):
            return  # nothing has begun yet, or everything is over
        name, value = command.name, command.value
        early = self._running and self._position < self._answering.sum_ends
        if name == "typed" and early and self._typed_waits:
            self._typed_early = command
            return
        self._event(Commanded(name, self._index, value, command.why))
        if name == "stop":
            self.close("stopped")
        elif name == "pause" and self.state is not State.PAUSED:
            self._pause()
        elif name == "resume" and self.state is State.PAUSED:
            self._resume()
        elif self._running:
            self._change_sum(name, value)

    def _obey_what_waited(self) -> None:
        typed = self._typed_early
        if typed is not None and self._position >= self._answering.sum_ends:
            self._typed_early = None
            self._obey(typed)

    def _pause(self) -> None:
        self._playback.stop(self._position)
        self._drop_answer()
        self._paused_in = self.state
        self.state = State.PAUSED

    def _resume(self) -> None:
        if self._paused_in is State.GAP:
            self.state = State.GAP
        else:
            self._dictate()

    def _change_sum(self, name: str, value: int | None) -> None:
        if name == "repeat":
            self._playback.stop(self._position)
            self._dictate()
        elif name == "skip":
            self._playback.stop(self._position)
            self._finish_turn()
        elif name == "typed" and value is not None:
            self._playback.stop(self._position)
            self._event(self._answering.typed(value, self._position))
            self._finish_turn()

    def _event(self, event: Event) -> None:
        self._recorder.event(self._position, event)
        if self._watch is not None:
            self._watch(self._position, event)
