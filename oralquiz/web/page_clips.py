"""The sounds that a page is about to play, by name: fetched ahead so that they start on time."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from threading import Lock

from oralquiz.rounds import Turn
from oralquiz.session import RoundReader
from oralquiz.sound import Clip, Samples, to_pcm16
from oralquiz.speak import Dictation

KEPT = 4
"""Sounds a round keeps: the one playing, the next one, a phrase, and one to spare."""


class PageClips:
    """The last few sounds of one round as 16-bit PCM at SESSION_RATE. Safe between threads."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._lock = Lock()

    def add(self, samples: Samples) -> str:
        """Keep ``samples`` (n,); returns the name, which is the same for the same sound."""
        data = to_pcm16(samples).tobytes()
        name = hashlib.sha256(data).hexdigest()[:32]
        with self._lock:
            self._kept[name] = data
            self._kept.move_to_end(name)
            while len(self._kept) > KEPT:
                self._kept.popitem(last=False)
        return name

    def clear(self) -> None:
        """Nothing will be played any more."""
        with self._lock:
            self._kept.clear()

    def get(self, name: str) -> bytes | None:
        with self._lock:
            return self._kept.get(name)


class AheadReader:
    """A reader that has the next sum ready before it is asked for."""

    def __init__(self, reader: RoundReader) -> None:
        self._reader = reader
        self._ready: dict[Turn, Dictation] = {}
        self._lock = Lock()

    @property
    def voice_name(self) -> str:
        return self._reader.voice_name

    def prepare(self, turn: Turn) -> Dictation:
        """Render ``turn`` unless it is ready; the last two are kept. Raises as the voice does."""
        with self._lock:
            if turn not in self._ready:
                dictation = self._reader.dictation(turn)
                self._ready = dict([*self._ready.items(), (turn, dictation)][-2:])
            return self._ready[turn]

    def forget(self) -> None:
        """Keep nothing ready. What is asked for after all is rendered again."""
        with self._lock:
            self._ready.clear()

    def dictation(self, turn: Turn) -> Dictation:
        return self.prepare(turn)

    def phrase(self, text: str) -> Clip:
        return self._reader.phrase(text)
