"""The round runner: a plain state machine that takes the microphone block by block.

    START -> DICTATING -> LISTENING -> (ASKING -> LISTENING) -> GAP -> DICTATING ... -> DONE

It owns no device and no thread. Sound comes in through ``take`` (or ``run``, which reads an
``AudioIn`` until the round is over), goes out through an ``AudioOut``; everything that happens is
an event handed to the recorder, at a sample of the one session clock. Commands of the teacher
(pause, repeat, skip, a typed answer) wait in a queue and take effect at the next block, so that
a recorded session can be run again to the same events.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from enum import Enum, auto
from typing import Protocol

import numpy as np

from oralquiz.judge import (
    Next,
    Verdict,
    combine_hearings,
    decide,
    judge,
    latency_s,
    probability_right,
)
from oralquiz.listen import Hearing, Listener, Recognizer
from oralquiz.rounds.events import (
    COMMANDS,
    AskedAgain,
    Commanded,
    Dictated,
    Event,
    Guess,
    Heard,
    Judged,
    RoundBegun,
    RoundEnded,
    SumBegun,
    SumEnded,
    TermTime,
)
from oralquiz.rounds.ports import AudioIn, AudioOut
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Clip, Mixer, Samples, quantise
from oralquiz.speak import Dictation


class Recorder(Protocol):
    """Keeps events and sound as they happen."""

    def event(self, at: int, event: Event) -> None: ...

    def sound(self, said: Samples, heard: Samples) -> None: ...


class Reader(Protocol):
    """Turns sums and phrases into sound at the session's rate."""

    def dictation(self, turn: Turn) -> Dictation: ...

    def phrase(self, text: str) -> Clip: ...


class EchoFilter(Protocol):
    """Takes what is played out of what the microphone hears: see audio/echo_canceller.py."""

    def played(self, samples: Samples, at: int) -> None: ...

    def stopped(self, at: int) -> None: ...

    def clean(self, start: int, heard: Samples) -> Samples: ...


class State(Enum):
    START = auto()
    DICTATING = auto()
    LISTENING = auto()
    ASKING = auto()
    GAP = auto()
    PAUSED = auto()
    DONE = auto()


SILENCE: Samples = np.zeros(BLOCK, dtype=np.float32)
SILENCE.setflags(write=False)

Watch = Callable[[int, Event], None]
"""Is told of every event and the sample at which it became known."""


@dataclass(frozen=True)
class Command:
    """A command of the teacher or pupil: one of COMMANDS. ``value`` is the number of ``typed``;
    ``why`` says what forced a pause.
    """

    name: str
    value: int | None = None
    why: str = ""

    def __post_init__(self) -> None:
        if self.name not in COMMANDS:
            raise ValueError(f"no command {self.name!r}")


def as_recorded(hearing: Hearing) -> Hearing:
    """``hearing`` with confidences to 6 decimals, as the file has them: what the file says is what
    is judged, now and when it is run again."""
    candidates = tuple(replace(g, confidence=round(g.confidence, 6)) for g in hearing.candidates)
    return replace(hearing, candidates=candidates)


@dataclass(eq=False)
class TurnState:
    """Where the answer to one sum is; begun anew when the sum is read again.

    Positions are samples of the session. ``early`` is a number said before the sum was over, with
    the sample at which it began; ``wrong`` one that may yet be taken back; ``typed`` one given by
    hand while the sum was read.
    """

    sum_ends: int
    deadline: int
    listen_from: int
    listen_until: int = 0
    attempt: int = 0
    hearings: list[Hearing] = field(default_factory=list)
    early: tuple[Hearing, int] | None = None
    wrong: Hearing | None = None
    typed: Command | None = None
    listener: Listener | None = None


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
        self._out = out
        self._recognizer = recognizer
        self._recorder = recorder
        self._watch = watch
        self._echo_filter = echo_filter
        self._commands: deque[Command] = deque()
        self._playing = Mixer()
        self._position = 0  # the sample after the last block taken
        self._index = -1  # of the present turn
        self._turn = TurnState(0, 0, 0)
        self._wait_until = 0
        self._typed_waits = typed_waits
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

    def take(self, block: Block, *, exact: bool = False) -> None:
        """Take the next block of the microphone: BLOCK samples at SESSION_RATE, contiguous.

        ``exact``: they are whole steps of 16 bits already.
        """
        if self.state is State.DONE:
            return
        if block.start != self._position or len(block.samples) != BLOCK:
            raise ValueError(
                f"a block of {len(block.samples)} at {block.start}, not {BLOCK} at {self._position}"
            )
        heard = block.samples if exact else quantise(block.samples)
        if self.state is State.START:
            self._begin()
        said = self._mix(block.start, len(heard))
        self._position = block.start + len(heard)
        consent = 0 <= self._index < len(self.round.turns) and self._asked.consent
        self._recorder.sound(said, heard if consent else SILENCE)
        if self._echo_filter is not None:
            heard = self._echo_filter.clean(block.start, heard)
        self._advance(heard)
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
            self._out.stop()
            self._event(RoundEnded(why, self._index))
            self._turn.listener = None
            self.state = State.DONE

    # --- the machine ------------------------------------------------------------------------

    @property
    def _asked(self) -> Turn:
        return self.round.turns[self._index]

    def _advance(self, heard: Samples) -> None:
        turn = self._turn
        if self.state is State.GAP and self._position >= self._wait_until:
            self._next_turn()
        elif self.state is State.ASKING and self._position >= self._wait_until:
            turn.deadline = self._position + self._samples(self.options.answer_within_s)
            self._listen_on()
        elif self.state is State.DICTATING and self._position >= turn.listen_from:
            self._listen_on()
        elif self.state is State.LISTENING and turn.listener is not None:
            hearing = self._listened(turn, turn.listener, heard)
            if hearing is None:
                return
            if turn.wrong is not None and self._nothing_since(hearing):
                self._answered(turn.wrong, self._on_clock(turn.wrong.onset_s))
            else:
                self._heard(as_recorded(hearing))

    def _listened(self, turn: TurnState, listener: Listener, heard: Samples) -> Hearing | None:
        """The hearing, as soon as nothing more is waited for."""
        hearing = listener.feed(heard)
        if hearing is not None and not self._nothing_since(hearing):
            return hearing
        if self._position < turn.listen_until:
            return None
        late = self._position >= turn.listen_until + self._samples(self.options.hear_out_s)
        return listener.finish() if late or not listener.speaking else None

    def _nothing_since(self, hearing: Hearing) -> bool:
        """Whether this is still the wrong number that might have been taken back."""
        wrong = self._turn.wrong
        return wrong is not None and hearing.offset_s == wrong.offset_s

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
        start = self._play(dictation.samples, self._position + self._samples(self.options.lead_s))
        terms = tuple(TermTime(t.text, start + t.onset, start + t.offset) for t in dictation.terms)
        end = start + len(dictation.samples)
        self._event(Dictated(self._index, start, end, dictation.pace_s, terms))
        sum_ends = start + dictation.offset
        deadline = sum_ends + self._samples(self.options.answer_within_s)
        self._turn = TurnState(sum_ends, deadline, listen_from=terms[-1].onset)
        self.state = State.DICTATING

    def _listen_on(self) -> None:
        turn = self._turn
        turn.listen_until = turn.deadline
        turn.wrong = None
        turn.listener = self._recognizer.listen(0, self.round.highest)
        turn.listen_from = self._position  # whole blocks: the next one is the first heard
        self.state = State.LISTENING

    def _heard(self, hearing: Hearing) -> None:
        onset = self._on_clock(hearing.onset_s)
        early = onset is not None and onset < self._turn.sum_ends
        guesses = tuple(Guess(g.value, g.words, g.confidence) for g in hearing.candidates)
        offset = self._on_clock(hearing.offset_s)
        place = (self._index, self._turn.attempt)
        self._event(Heard(*place, hearing.words, guesses, onset, offset, early))
        verdict = self._judge(hearing)
        if onset is not None and early and verdict is not Verdict.RIGHT:
            # perhaps a total said to oneself: it counts only if nothing follows
            self._turn.early = (hearing, onset)
            self._listen_on()
            return
        wrong = bool(hearing.candidates) and verdict is Verdict.WRONG
        if wrong and self._may_be_taken_back(hearing):
            return
        self._answered(hearing, onset)

    def _answered(self, hearing: Hearing, onset: int | None) -> None:
        """Nothing more is waited for. ``onset``: of the answer, on the session clock."""
        turn = self._turn
        turn.listener = None
        if not hearing.voiced and turn.early is not None:
            hearing, onset = turn.early
        turn.early = None
        turn.hearings.append(hearing)
        decision = decide(
            turn.hearings,
            self._asked.sum.answer,
            self.options.policy,
            self.options.asks,
            numbers=self._numbers,
        )
        # the latency of a second try says nothing about the speed of the answer
        latency = latency_s(turn.sum_ends, onset, SESSION_RATE) if turn.attempt == 0 else None
        value, right = decision.hearing.value, self._probability_right(decision.hearing)
        place = (self._index, turn.attempt)
        self._event(Judged(*place, decision.verdict, value, latency, round(right, 6)))
        if decision.next is Next.ASK_AGAIN:
            self._ask_again()
        else:
            self._finish_turn()

    def _ask_again(self) -> None:
        self._turn.attempt += 1
        phrase = self._reader.phrase(self.options.ask_again_text)
        start = self._play(phrase.samples)
        self._wait_until = start + len(phrase.samples)
        self._event(AskedAgain(self._index, self._turn.attempt, start, self._wait_until))
        self.state = State.ASKING

    def _may_be_taken_back(self, hearing: Hearing) -> bool:
        """Whether to listen on, with the same listener, before a wrong number is marked."""
        turn = self._turn
        offset = self._on_clock(hearing.offset_s)
        assert offset is not None
        until = offset + self._samples(self.options.take_back_s)
        too_late = self._position >= turn.deadline + self._samples(self.options.hear_out_s)
        if until <= self._position or too_late:
            return False
        turn.wrong = hearing
        turn.listen_until = until
        return True

    @property
    def _numbers(self) -> int:
        """How many numbers could be said."""
        return self.round.highest + 1

    def _judge(self, hearing: Hearing) -> Verdict:
        """The verdict so far: on all attempts, ``hearing`` the last of them."""
        attempts = combine_hearings([*self._turn.hearings, hearing], self._numbers)
        return judge(attempts, self._asked.sum.answer, self.options.policy, numbers=self._numbers)

    def _probability_right(self, hearing: Hearing) -> float:
        answer = self._asked.sum.answer
        return probability_right(hearing, answer, self.options.policy, numbers=self._numbers)

    def _finish_turn(self) -> None:
        self._turn.listener = self._turn.typed = None
        self._event(SumEnded(self._index))
        self._wait_until = self._position + self._samples(self.options.gap_s)
        self.state = State.GAP

    @property
    def _running(self) -> bool:
        """Whether a sum is being read or answered."""
        return self.state in (State.DICTATING, State.LISTENING, State.ASKING)

    def _obey(self, command: Command) -> None:
        if self.state in (State.START, State.DONE):
            return  # nothing has begun yet, or everything is over
        name, value = command.name, command.value
        early = self._running and self._position < self._turn.sum_ends
        if name == "typed" and early and self._typed_waits:
            self._turn.typed = command
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
        typed = self._turn.typed
        if typed is not None and self._position >= self._turn.sum_ends:
            self._turn.typed = None
            self._obey(typed)

    def _pause(self) -> None:
        self._silence()
        self._turn.listener = self._turn.typed = None
        self._paused_in = self.state
        self.state = State.PAUSED

    def _resume(self) -> None:
        if self._paused_in is State.GAP:
            self.state = State.GAP
        else:
            self._dictate()

    def _change_sum(self, name: str, value: int | None) -> None:
        if name == "repeat":
            self._silence()
            self._dictate()
        elif name == "skip":
            self._silence()
            self._finish_turn()
        elif name == "typed" and value is not None:
            self._typed(value)

    def _typed(self, value: int) -> None:
        """An answer given by hand is certain; its latency is that of the hand."""
        self._silence()
        right = value == self._asked.sum.answer
        verdict = Verdict.RIGHT if right else Verdict.WRONG
        latency = latency_s(self._turn.sum_ends, self._position, SESSION_RATE)
        place = (self._index, self._turn.attempt)
        self._event(Judged(*place, verdict, value, latency, typed=True))
        self._finish_turn()

    # --- small helpers -----------------------------------------------------------------------

    def _event(self, event: Event) -> None:
        self._recorder.event(self._position, event)
        if self._watch is not None:
            self._watch(self._position, event)

    def _samples(self, duration_s: float) -> int:
        return round(duration_s * SESSION_RATE)

    def _on_clock(self, time_s: float | None) -> int | None:
        return None if time_s is None else self._turn.listen_from + self._samples(time_s)

    def _play(self, samples: Samples, at: int | None = None) -> int:
        samples = quantise(samples)
        start = self._out.play(samples, self._position if at is None else at)
        self._playing.add(samples, start)
        if self._echo_filter is not None:
            self._echo_filter.played(samples, start)
        return start

    def _silence(self) -> None:
        self._out.stop()
        if self._echo_filter is not None:
            self._echo_filter.stopped(self._position)
        self._playing.stop(self._position)

    def _mix(self, start: int, count: int) -> Samples:
        """What the loudspeaker says in ``count`` samples from ``start`` on."""
        if self._playing.silent(start, start + count):
            return SILENCE
        said = np.zeros(count, dtype=np.float32)
        self._playing.mix(said, start)
        return said
