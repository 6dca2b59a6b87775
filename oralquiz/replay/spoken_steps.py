"""The explanation spoken by a voice: each step's rule is said, then the step is shown slowly.

The same few sentences come up in every sum of a lesson, so each is kept once, as a piece of MP3,
and a sum's explanation is a list of pieces. Pieces of MP3 of one constant bit rate can be played
end to end; the length of each is a whole number of frames, so every time is known exactly.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from oralquiz.replay.replay_audio import encode, seconds
from oralquiz.replay.step_words import Form, StepPhrases, spoken, words
from oralquiz.replay.story import Story
from oralquiz.replay.timing import Beat, Mark
from oralquiz.sound import SESSION_RATE, at_session_rate
from oralquiz.speak import Voice

WORDS_PER_MINUTE = 120
"""Slower than a dictation, slower than most presenters (125): the rule has to be understood."""

BIT_RATE = 16_000
GESTURE_S = 0.9  # how long one gesture takes in slow motion
REST_S = 0.5


@dataclass(frozen=True)
class SpokenExplanation:
    """One sum explained: the names of its pieces in order, and when each step happens in it."""

    pieces: tuple[str, ...]
    duration: float
    beats: tuple[Beat, ...]
    said: tuple[Mark, ...]
    answer_at: float


def spoken_sentences(text: str, table: StepPhrases) -> list[str]:
    """``text`` for a voice, sentence by sentence: so that each can be used again."""
    return re.split(r"(?<=[.!?]) ", spoken(text, table))


@dataclass
class Explainer:
    """Explains sums with ``voice``. ``pieces`` gains what has not been said before."""

    voice: Voice
    form: Form
    table: StepPhrases
    pieces: dict[str, bytes] = field(default_factory=dict)
    _names: dict[str, str] = field(default_factory=dict)

    def explain(self, story: Story) -> SpokenExplanation:
        """``story`` spoken. Raises AudioError when the voice fails."""
        order = [self._silence(REST_S)]
        now = self._seconds(order[0])
        beats: list[Beat] = []
        said: list[Mark] = []
        for gestures, text in self._sentences(story):
            begun = now
            for sentence in spoken_sentences(text, self.table):
                piece = self._say(sentence)
                said.append(Mark(sentence, now, now + self._seconds(piece)))
                order.append(piece)
                now += self._seconds(piece)
            move = GESTURE_S * gestures
            if gestures:
                beats.append(Beat(begun, now, now + move))
            order.append(self._silence(move + REST_S))
            answer_at, now = begun, now + self._seconds(order[-1])
        return SpokenExplanation(tuple(order), now, tuple(beats), tuple(said), answer_at)

    def _sentences(self, story: Story) -> Iterator[tuple[int, str]]:
        """Each sentence with how many gestures it is about; the answer is about none."""
        for step in story.steps:
            told = words(step, self.form, self.table)
            yield len(step.gestures), told.why
        yield 0, self.table.text("page", f"end_{self.form}", value=story.sum.answer)

    def _say(self, text: str) -> str:
        if text not in self._names:
            self._keep(text, at_session_rate(self.voice.say(text)).samples)
        return self._names[text]

    def _silence(self, duration_s: float) -> str:
        key = f"{duration_s:.3f}"
        if key not in self._names:
            self._keep(key, np.zeros(round(duration_s * SESSION_RATE), dtype=np.float32))
        return self._names[key]

    def _keep(self, key: str, samples: np.ndarray[tuple[int], np.dtype[np.float32]]) -> None:
        name = f"piece-{len(self.pieces)}"
        self._names[key] = name
        self.pieces[name] = encode(samples, SESSION_RATE, BIT_RATE, early=False)

    def _seconds(self, piece: str) -> float:
        return seconds(self.pieces[piece], BIT_RATE)
