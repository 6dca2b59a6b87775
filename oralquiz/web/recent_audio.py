"""The last seconds of a microphone, so that an answer can be cut out once it has been heard.

Sound is 16-bit PCM at SESSION_RATE, as it comes from pages.
"""

from __future__ import annotations

from collections import deque

from oralquiz.rounds import Round
from oralquiz.sound import SESSION_RATE

AROUND_S = 0.4
"""Seconds of sound before and after an answer when the teacher listens to it."""

LONGEST_S = 12.0


class RecentAudio:
    """Keeps the last LONGEST_S seconds, in the pieces in which they came."""

    def __init__(self) -> None:
        self._pieces: deque[bytes] = deque()
        self._start = self._end = 0

    def add(self, pcm: bytes) -> None:
        self._pieces.append(pcm)
        self._end += len(pcm) // 2
        while self._end - self._start > LONGEST_S * SESSION_RATE:
            self._start += len(self._pieces.popleft()) // 2

    def cut(self, onset: int, offset: int) -> bytes:
        """``onset`` .. ``offset`` and a little around it, as far as it is still here."""
        around = round(AROUND_S * SESSION_RATE)
        first, last = max(self._start, onset - around), min(self._end, offset + around)
        return b"".join(self._pieces)[2 * (first - self._start) : 2 * max(0, last - self._start)]


class HeardVoices:
    """Cuts out the answers of the pupils who agreed to recording, as they were heard."""

    def __init__(self, round: Round) -> None:
        self._round = round
        self._recent = RecentAudio()
        self._said_from: int | None = None

    def add(self, pcm: bytes) -> None:
        """What comes next from the microphone."""
        self._recent.add(pcm)

    def heard(self, turn: int, onset: int, offset: int) -> bytes | None:
        """A voice was heard; together with a number before it that it takes back. None when it may
        not be kept."""
        if self._said_from is None:
            self._said_from = onset
        if not self._round.turns[turn].consent:
            return None
        return self._recent.cut(self._said_from, offset)

    def ended(self) -> None:
        """Nothing more will be heard."""
        self._recent = RecentAudio()

    def judged(self) -> None:
        """What is heard from now on is another answer."""
        self._said_from = None
