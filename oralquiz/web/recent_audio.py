"""The last seconds of a microphone, so that an answer can be cut out once it has been heard."""

from __future__ import annotations

from collections import deque

import numpy as np

from oralquiz.rounds import Round
from oralquiz.sound import BLOCK, SESSION_RATE, Samples

AROUND_S = 0.4
"""Seconds of sound before and after an answer when the teacher listens to it."""

LONGEST_S = 12.0


class RecentAudio:
    """Keeps the last LONGEST_S seconds of blocks."""

    def __init__(self) -> None:
        self._blocks: deque[Samples] = deque(maxlen=round(LONGEST_S * SESSION_RATE / BLOCK))
        self._end = 0

    def add(self, samples: Samples) -> None:
        self._blocks.append(samples)
        self._end += len(samples)

    def cut(self, onset: int, offset: int) -> Samples:
        """A copy of ``onset`` .. ``offset`` and a little around it, as far as it is still here."""
        around = round(AROUND_S * SESSION_RATE)
        start = self._end - sum(map(len, self._blocks))
        first, last = max(start, onset - around), min(self._end, offset + around)
        if not self._blocks or last <= first:
            return np.zeros(0, dtype=np.float32)
        return np.concatenate(list(self._blocks))[first - start : last - start].copy()


class KeptVoices:
    """The answers to a round as they were heard, of the pupils who agreed to recording."""

    def __init__(self, round: Round) -> None:
        self._round = round
        self._recent = RecentAudio()
        self._kept: dict[int, Samples] = {}
        self._said_from: int | None = None

    def of(self, turn: int) -> Samples | None:
        """The answer of ``turn``, (n,) at SESSION_RATE; None when it was not kept."""
        return self._kept.get(turn)

    def add(self, samples: Samples) -> None:
        """The microphone's next block, (BLOCK,)."""
        self._recent.add(samples)

    def heard(self, turn: int, onset: int, offset: int) -> None:
        """A voice was heard; together with a number before it that it takes back."""
        if self._said_from is None:
            self._said_from = onset
        if self._round.turns[turn].consent:
            self._kept[turn] = self._recent.cut(self._said_from, offset)

    def ended(self) -> None:
        """Nothing more will be heard: only the answers are kept."""
        self._recent = RecentAudio()

    def judged(self) -> None:
        """What is heard from now on is another answer."""
        self._said_from = None
