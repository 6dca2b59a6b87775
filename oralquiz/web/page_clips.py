"""The sounds that a page is about to play, by name: fetched ahead so that they start on time."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from dataclasses import dataclass
from threading import Lock

from oralquiz.rounds import Turn
from oralquiz.session import RoundReader
from oralquiz.sound import Clip, Samples, to_pcm16
from oralquiz.speak import Dictation

KEPT = 3
"""Sums a round keeps: the one playing, the next one, and one to spare."""


@dataclass(frozen=True)
class Clipping:
    """A sound as a page fetches it: 16-bit PCM at SESSION_RATE, and a name that is the same for the
    same sound."""

    name: str
    pcm: bytes

    @classmethod
    def of(cls, samples: Samples) -> Clipping:
        pcm = to_pcm16(samples).tobytes()
        return cls(hashlib.sha256(pcm).hexdigest()[:32], pcm)


class PageClips:
    """The last few sums of one round, and the phrases said in it. Safe between threads."""

    def __init__(self) -> None:
        self._sums: OrderedDict[str, bytes] = OrderedDict()
        self._phrases: dict[str, bytes] = {}
        self._lock = Lock()

    def add(self, samples: Samples) -> str:
        """Keep a sum (n,) for a while; returns its name."""
        clip = Clipping.of(samples)
        with self._lock:
            self._sums[clip.name] = clip.pcm
            self._sums.move_to_end(clip.name)
            while len(self._sums) > KEPT:
                self._sums.popitem(last=False)
        return clip.name

    def keep(self, phrase: Clipping) -> None:
        """Keep a phrase until the end."""
        with self._lock:
            self._phrases[phrase.name] = phrase.pcm

    def clear(self) -> None:
        """Nothing will be played any more."""
        with self._lock:
            self._sums.clear()
            self._phrases.clear()

    def get(self, name: str) -> bytes | None:
        with self._lock:
            return self._sums.get(name) or self._phrases.get(name)


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
