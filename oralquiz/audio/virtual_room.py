"""A room without loudspeaker or microphone, and pupils who are not there.

The room keeps the session clock by being read. A virtual pupil hears what is dictated, works it
out (and sometimes slips), and after a human-like delay says the answer in a synthetic voice. What
the pupil said is known here only; the session hears it only as sound, if at all.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from random import Random

import numpy as np

from oralquiz.beads import Sum
from oralquiz.judge import SimulatedPupil
from oralquiz.rounds import AskedAgain, Dictated, Event, SumBegun
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Mixer, Samples, samples_in
from oralquiz.speak import Voice

NOISE = 10 ** (-72 / 20)
"""The room's hiss, as the standard deviation of the samples: -72 dB re full scale."""


class VirtualRoom:
    """AudioOut, AudioIn and Clock in one. With ``real_time`` a block takes 20 ms to come."""

    def __init__(self, rng: np.random.Generator, *, real_time: bool = False) -> None:
        self._rng = rng
        self._position = 0
        self._voices = Mixer()
        self._begun = time.monotonic() if real_time else None

    def now(self) -> int:
        return self._position

    def play(self, samples: Samples, at: int) -> int:
        return max(at, self._position)

    def stop(self) -> None:
        """Nothing sounds here."""

    def speak(self, samples: Samples, at: int) -> None:
        """Have a voice in the room say ``samples`` from position ``at`` on."""
        self._voices.add(samples, max(at, self._position))

    def hush(self) -> None:
        """Whoever speaks or is about to speak stops."""
        self._voices.clear()

    def read(self) -> Block:
        start, end = self._position, self._position + BLOCK
        heard = (self._rng.standard_normal(BLOCK) * NOISE).astype(np.float32)
        self._voices.mix(heard, start)
        self._position = end
        if self._begun is not None:
            time.sleep(max(0.0, self._begun + end / SESSION_RATE - time.monotonic()))
        return Block(start, heard)


@dataclass(frozen=True)
class Habits:
    """How a virtual pupil answers: ``slips`` is the share of sums with a slip, ``silences`` of
    sums without an answer; ``delay_s`` the median seconds before answering."""

    name: str
    voice: Voice
    slips: float = 0.2
    silences: float = 0.05
    delay_s: float = 1.1


@dataclass(frozen=True)
class Said:
    """What a virtual pupil meant to say for a turn (None: nothing)."""

    turn: int
    value: int | None


class VirtualPupils:
    """Sits in a VirtualRoom and answers. Give its ``watch`` to the runner.

    ``say`` turns a number into a pupil's voice, (n,) at SESSION_RATE.
    """

    def __init__(
        self,
        room: VirtualRoom,
        habits: Mapping[str, Habits],
        say: Callable[[Voice, int], Samples],
        rng: np.random.Generator,
        columns: int,
    ) -> None:
        self._room = room
        self._habits = habits
        self._render = say
        self._rng = rng
        self._mind = SimulatedPupil(columns)
        self._luck = Random(int(rng.integers(1 << 32)))
        self._pupil = ""
        self._sum = Sum((1,))
        self.said: list[Said] = []

    def watch(self, at: int, event: Event) -> None:
        if isinstance(event, SumBegun):
            self._pupil, self._sum = event.pupil, Sum(event.terms)
        elif isinstance(event, Dictated):
            self._answer(event.turn, event.terms[-1].offset)
        elif isinstance(event, AskedAgain) and self.said and self.said[-1].value is not None:
            self._say(self.said[-1].value, event.end + samples_in(0.4))

    def _answer(self, turn: int, heard_at: int) -> None:
        habits = self._habits[self._pupil]
        fate = self._rng.random()
        if fate < habits.silences:
            self.said.append(Said(turn, None))
            return
        slips = fate < habits.silences + habits.slips
        value = self._slip() if slips else self._sum.answer
        self.said.append(Said(turn, value))
        delay = habits.delay_s * float(np.exp(self._rng.normal(0.0, 0.35)))
        self._say(value, heard_at + samples_in(delay))

    def _slip(self) -> int:
        """What comes out when the beads are not moved as they should be."""
        while (said := self._mind.play(self._sum, self._luck).said) == self._sum.answer:
            pass
        return said

    def _say(self, value: int, at: int) -> None:
        self._room.speak(self._render(self._habits[self._pupil].voice, value), at)
