"""A room where numbers are pulses: a voice says v as a pulse of level (v + 2) / 200, and the
recogniser reads the level back. It is exact, quick, and knows nothing about the sums."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.beads import Sum
from oralquiz.judge import PRACTICE, Policy
from oralquiz.listen.hearing import Candidate, Hearing
from oralquiz.rounds.events import AskedAgain, Dictated, Event
from oralquiz.rounds.round import Options, Round, Turn
from oralquiz.rounds.runner import Runner
from oralquiz.session.file import header
from oralquiz.session.recorder import FileRecorder
from oralquiz.sound.blocks import SESSION_RATE
from oralquiz.sound.clip import Clip, Samples
from oralquiz.speak.dictation import Dictation, SpokenTerm

MUMBLE = 190  # said by a pupil, this comes back as a candidate between 13 and 30
NO = 192  # this as a voice that says no number


def pulse(value: int, seconds: float = 0.4) -> Samples:
    return np.full(round(seconds * SESSION_RATE), (value + 2) / 200, dtype=np.float32)


class PulseReader:
    """Reads every term as a faint pulse of half a second, one second apart."""

    voice_name = "pulse"

    def prepare(self, round_: Round, options: Options) -> None:
        """Everything is ready."""

    def dictation(self, turn: Turn) -> Dictation:
        count = len(turn.sum.terms)
        samples = np.zeros(count * SESSION_RATE, dtype=np.float32)
        terms = []
        for k, term in enumerate(turn.sum.terms):
            onset = k * SESSION_RATE
            samples[onset : onset + SESSION_RATE // 2] = 0.25
            terms.append(SpokenTerm(str(term), onset, onset + SESSION_RATE // 2))
        return Dictation(turn.sum, 1.0, SESSION_RATE, samples, tuple(terms))

    def phrase(self, text: str) -> Clip:
        return Clip(np.full(SESSION_RATE // 4, 0.125, dtype=np.float32), SESSION_RATE)


class PulseRecognizer:
    name = "pulse"
    sample_rate = SESSION_RATE

    def listen(self, lowest: int, highest: int) -> PulseListener:
        return PulseListener()


@dataclass
class PulseListener:
    heard: list[Samples] = field(default_factory=list)
    speaking: bool = False
    at_once: int = 0

    def feed(self, samples: Samples) -> Hearing | None:
        self.heard.append(samples)
        self.speaking = bool(np.abs(samples[-1]) > 0.007)
        sound = np.concatenate(self.heard)
        if not self.speaking and np.any(np.abs(sound) > 0.007):
            return self._hearing(sound)
        return None

    def finish(self) -> Hearing:
        return self._hearing(np.concatenate([np.zeros(0, dtype=np.float32), *self.heard]))

    def _hearing(self, sound: Samples) -> Hearing:
        """The last number; a voice without one after it changes nothing."""
        loud = np.flatnonzero(np.abs(sound) > 0.007)
        if not len(loud):
            return Hearing((), "", None, None)
        offset = (loud[-1] + 1) / SESSION_RATE
        pulses = np.split(loud, np.flatnonzero(np.diff(loud) > 1) + 1)
        numbers = [(round(float(np.median(sound[pulse])) * 200) - 2, pulse[0]) for pulse in pulses]
        standing = [number for number in numbers if number[0] != NO]
        if not standing:
            return Hearing((), "[unk]", loud[0] / SESSION_RATE, float(offset))
        value, onset = standing[-1][0], float(standing[-1][1] / SESSION_RATE)
        if value == MUMBLE:
            candidates = (Candidate(13, "thirteen", 0.55), Candidate(30, "thirty", 0.4))
            return Hearing(candidates, "thirteen", onset, float(offset))
        return Hearing((Candidate(value, str(value), 0.999),), str(value), onset, float(offset))


@dataclass
class Answers:
    """Says what it is told to, ``delay`` seconds after the last term."""

    room: VirtualRoom
    values: list[int | None]
    delay: float = 1.0
    events: list[tuple[int, Event]] = field(default_factory=list)

    def watch(self, at: int, event: Event) -> None:
        self.events.append((at, event))
        if isinstance(event, Dictated):
            self._say(event.terms[-1].offset)
        elif isinstance(event, AskedAgain):
            self._say(event.end)

    def _say(self, after: int) -> None:
        value = self.values.pop(0) if self.values else None
        if value is not None:
            self.room.speak(pulse(value), after + round(self.delay * SESSION_RATE))


def make_round(*sums: str, pupil: str = "Asha", consent: bool = True) -> Round:
    turns = tuple(Turn(pupil, Sum.parse(text), consent) for text in sums)
    return Round("test", "2026-01-05T09:00:00+00:00", turns, step="direct", rule="direct")


def run(
    folder: Path,
    round: Round,
    values: list[int | None],
    delay: float = 1.0,
    policy: Policy = PRACTICE,
) -> tuple[Path, Answers, Runner]:
    """Run a round in the pulse room; returns the session file, the pupil, the runner."""
    options = Options(pace_s=1.0, answer_within_s=3.0, policy=policy)
    room = VirtualRoom(np.random.default_rng(1))
    answers = Answers(room, values, delay)
    head = header(round, options, voice="pulse", model="pulse", software="test")
    recorder = FileRecorder(folder, head)
    runner = Runner(round, PulseReader(), room, PulseRecognizer(), recorder, options, answers.watch)
    runner.run(room)
    return recorder.finish(), answers, runner
