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
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum, auto
from typing import Any, Protocol

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
from oralquiz.rounds.plan import Options, Round, Turn
from oralquiz.rounds.ports import AudioIn, AudioOut
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Clip, Mixer, Samples, quantise
from oralquiz.speak import Dictation


class Recorder(Protocol):
    """Keeps events and sound as they happen."""

    def event(self, at: int, type: str, data: Mapping[str, Any]) -> None: ...

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


COMMANDS = frozenset({"pause", "resume", "repeat", "skip", "stop", "typed"})


@dataclass(frozen=True)
class Command:
    """A wish of the teacher or pupil: one of COMMANDS.

    ``value`` is the number of ``typed``; ``why`` says what a pause was forced by.
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


class Runner:
    """Runs one round.

    ``watch`` is called with every event (for a screen). ``guard`` takes what is played out of
    what the microphone hears; None where the two cannot meet (headphones, a virtual room).
    """

    def __init__(
        self,
        round: Round,
        reader: Reader,
        out: AudioOut,
        recognizer: Recognizer,
        recorder: Recorder,
        options: Options | None = None,
        watch: Callable[[int, str, Mapping[str, Any]], None] | None = None,
        guard: EchoFilter | None = None,
    ) -> None:
        self.round = round
        self.options = options or Options()
        self._reader = reader
        self._out = out
        self._recognizer = recognizer
        self._recorder = recorder
        self._watch = watch
        self._guard = guard
        self._commands: deque[Command] = deque()
        self._playing = Mixer()
        self._position = 0  # the sample after the last block taken
        self._turn = -1
        self._attempt = 0
        self._hearings: list[Hearing] = []  # of this turn
        self._early: Hearing | None = None  # a number said before the sum was over
        self._early_onset: int | None = None
        self._wrong: Hearing | None = None  # a wrong number that may yet be taken back
        self._said_end = 0  # session sample at which the last spoken term ended
        self._listener: Listener | None = None
        self._listen_from = 0
        self._deadline = 0
        self._listen_until = 0
        self._wait_until = 0
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

    def take(self, block: Block) -> None:
        """Take the next block of the microphone: BLOCK samples at SESSION_RATE, contiguous."""
        if self.state is State.DONE:
            return
        if block.start != self._position or len(block.samples) != BLOCK:
            raise ValueError(
                f"a block of {len(block.samples)} at {block.start}, not {BLOCK} at {self._position}"
            )
        heard = quantise(block.samples)
        if self.state is State.START:
            self._begin()
        said = self._mix(block.start, len(heard))
        self._position = block.start + len(heard)
        consent = 0 <= self._turn < len(self.round.turns) and self.round.turns[self._turn].consent
        self._recorder.sound(said, heard if consent else np.zeros_like(heard))
        if self._guard is not None:
            heard = self._guard.clean(block.start, heard)
        self._advance(heard)
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
            self._event("round_ended", {"why": why, "turns": self._turn})
            self.state = State.DONE

    # --- the machine ------------------------------------------------------------------------

    def _advance(self, heard: Samples) -> None:
        if self.state is State.GAP and self._position >= self._wait_until:
            self._next_turn()
        elif self.state is State.ASKING and self._position >= self._wait_until:
            self._deadline = self._position + self._samples(self.options.answer_within_s)
            self._listen_on()
        elif self.state is State.DICTATING and self._position >= self._listen_from:
            self._listen_on()
        elif self.state is State.LISTENING and self._listener is not None:
            hearing = self._listener.feed(heard)
            if hearing is not None and self._nothing_since(hearing):
                hearing = None
            if hearing is None and self._position >= self._listen_until:
                late = self._position >= self._listen_until + self._samples(self.options.hear_out_s)
                if late or not self._listener.speaking:
                    hearing = self._listener.finish()
            if hearing is None:
                return
            if self._wrong is not None and self._nothing_since(hearing):
                self._answered(self._wrong, self._on_clock(self._wrong.onset_s))
            else:
                self._heard(as_recorded(hearing))

    def _nothing_since(self, hearing: Hearing) -> bool:
        """Whether this is still the wrong number that might have been taken back."""
        return self._wrong is not None and hearing.offset_s == self._wrong.offset_s

    def _begin(self) -> None:
        self._event("round_begun", {"name": self.round.name, "turns": len(self.round.turns)})
        self._next_turn()

    def _next_turn(self) -> None:
        self._turn += 1
        if self._turn == len(self.round.turns):
            self._event("round_ended", {"why": "finished", "turns": self._turn})
            self.state = State.DONE
            return
        turn = self.round.turns[self._turn]
        self._event(
            "sum_begun",
            {"turn": self._turn, "pupil": turn.pupil, "terms": list(turn.sum.terms)},
        )
        self._dictate()

    def _dictate(self) -> None:
        turn = self.round.turns[self._turn]
        dictation = self._reader.dictation(turn)
        start = self._play(dictation.samples, self._position + self._samples(self.options.lead_s))
        self._attempt, self._hearings = 0, []
        self._said_end = start + dictation.offset
        self._event(
            "dictated",
            {
                "turn": self._turn,
                "start": start,
                "end": start + len(dictation.samples),
                "pace_s": dictation.pace_s,
                "terms": [
                    {"text": term.text, "onset": start + term.onset, "offset": start + term.offset}
                    for term in dictation.terms
                ],
            },
        )
        self._early = None
        self._listen_from = start + dictation.terms[-1].onset
        self._deadline = self._said_end + self._samples(self.options.answer_within_s)
        self.state = State.DICTATING

    def _listen_on(self) -> None:
        self._listen_until = self._deadline
        self._wrong = None
        self._listener = self._recognizer.listen(0, self.round.highest)
        self._listen_from = self._position  # whole blocks: the next one is the first heard
        self.state = State.LISTENING

    def _heard(self, hearing: Hearing) -> None:
        onset = self._on_clock(hearing.onset_s)
        early = onset is not None and onset < self._said_end
        self._event(
            "heard",
            {
                "turn": self._turn,
                "attempt": self._attempt,
                "words": hearing.words,
                "guesses": [
                    {"value": g.value, "words": g.words, "confidence": g.confidence}
                    for g in hearing.candidates
                ],
                "onset": onset,
                "offset": self._on_clock(hearing.offset_s),
                "early": early,
            },
        )
        if early and self._judge(hearing) is not Verdict.RIGHT:
            # perhaps a total said to oneself: it counts only if nothing follows
            self._early = hearing
            self._early_onset = onset
            self._listen_on()
            return
        wrong = bool(hearing.candidates) and self._judge(hearing) is Verdict.WRONG
        if wrong and self._may_be_taken_back(hearing):
            return
        self._answered(hearing, onset)

    def _answered(self, hearing: Hearing, onset: int | None) -> None:
        """Nothing more is waited for. ``onset``: of the answer, on the session clock."""
        self._listener = None
        if not hearing.voiced and self._early is not None:
            hearing, onset = self._early, self._early_onset
        self._hearings.append(hearing)
        decision = decide(
            self._hearings,
            self.round.turns[self._turn].sum.answer,
            self.options.policy,
            self.options.asks,
            numbers=self.round.highest + 1,
        )
        # the latency of a second try says nothing about the speed of the answer
        latency = latency_s(self._said_end, onset, SESSION_RATE) if self._attempt == 0 else None
        self._event(
            "judged",
            {
                "turn": self._turn,
                "attempt": self._attempt,
                "verdict": decision.verdict.value,
                "value": decision.hearing.value,
                "latency_s": latency,
                "right_probability": round(self._probability_right(decision.hearing), 6),
            },
        )
        self._early = None
        if decision.next is Next.ASK_AGAIN:
            self._attempt += 1
            phrase = self._reader.phrase(self.options.ask_again_text)
            start = self._play(phrase.samples)
            self._wait_until = start + len(phrase.samples)
            self._event(
                "asked_again",
                {
                    "turn": self._turn,
                    "attempt": self._attempt,
                    "start": start,
                    "end": self._wait_until,
                },
            )
            self.state = State.ASKING
        else:
            self._finish_turn()

    def _may_be_taken_back(self, hearing: Hearing) -> bool:
        """Whether to listen on, with the same listener, before a wrong number is marked."""
        offset = self._on_clock(hearing.offset_s)
        assert offset is not None
        until = offset + self._samples(self.options.take_back_s)
        too_late = self._position >= self._deadline + self._samples(self.options.hear_out_s)
        if until <= self._position or too_late:
            return False
        self._wrong = hearing
        self._listen_until = until
        return True

    def _judge(self, hearing: Hearing) -> Verdict:
        """The verdict so far: on all attempts, ``hearing`` the last of them."""
        answer, numbers = self.round.turns[self._turn].sum.answer, self.round.highest + 1
        attempts = combine_hearings([*self._hearings, hearing], numbers)
        return judge(attempts, answer, self.options.policy, numbers=numbers)

    def _probability_right(self, hearing: Hearing) -> float:
        answer = self.round.turns[self._turn].sum.answer
        return probability_right(
            hearing, answer, self.options.policy, numbers=self.round.highest + 1
        )

    def _finish_turn(self) -> None:
        self._listener = None
        self._event("sum_ended", {"turn": self._turn})
        self._wait_until = self._position + self._samples(self.options.gap_s)
        self.state = State.GAP

    def _obey(self, command: Command) -> None:
        if self.state in (State.START, State.DONE):
            return  # nothing has begun yet, or everything is over
        data: dict[str, Any] = {"name": command.name, "turn": self._turn}
        if command.value is not None:
            data["value"] = command.value
        if command.why:
            data["why"] = command.why
        self._event("commanded", data)
        running = self.state in (State.DICTATING, State.LISTENING, State.ASKING)
        if command.name == "stop":
            self.close("stopped")
        elif command.name == "pause" and self.state is not State.PAUSED:
            self._silence()
            self._listener = None
            self._paused_in = self.state
            self.state = State.PAUSED
        elif command.name == "resume" and self.state is State.PAUSED:
            if self._paused_in is State.GAP:
                self.state = State.GAP
            else:
                self._dictate()
        elif command.name == "repeat" and running:
            self._silence()
            self._listener = None
            self._dictate()
        elif command.name == "skip" and running:
            self._silence()
            self._finish_turn()
        elif command.name == "typed" and running and command.value is not None:
            self._typed(command.value)

    def _typed(self, value: int) -> None:
        """An answer given by hand is certain; its latency is that of the hand."""
        self._silence()
        right = value == self.round.turns[self._turn].sum.answer
        verdict = Verdict.RIGHT if right else Verdict.WRONG
        self._event(
            "judged",
            {
                "turn": self._turn,
                "attempt": self._attempt,
                "verdict": verdict.value,
                "value": value,
                "latency_s": latency_s(self._said_end, self._position, SESSION_RATE),
                "typed": True,
            },
        )
        self._finish_turn()

    # --- small change -----------------------------------------------------------------------

    def _event(self, type: str, data: Mapping[str, Any]) -> None:
        self._recorder.event(self._position, type, data)
        if self._watch is not None:
            self._watch(self._position, type, data)

    def _samples(self, duration_s: float) -> int:
        return round(duration_s * SESSION_RATE)

    def _on_clock(self, time_s: float | None) -> int | None:
        return None if time_s is None else self._listen_from + self._samples(time_s)

    def _play(self, samples: Samples, at: int | None = None) -> int:
        samples = quantise(samples)
        start = self._out.play(samples, self._position if at is None else at)
        self._playing.add(samples, start)
        if self._guard is not None:
            self._guard.played(samples, start)
        return start

    def _silence(self) -> None:
        self._out.stop()
        if self._guard is not None:
            self._guard.stopped(self._position)
        self._playing.stop(self._position)

    def _mix(self, start: int, count: int) -> Samples:
        """What the loudspeaker says in ``count`` samples from ``start`` on."""
        said = np.zeros(count, dtype=np.float32)
        self._playing.mix(said, start)
        return said
