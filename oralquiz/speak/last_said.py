"""The phrases that a voice said last."""

from __future__ import annotations

from collections.abc import Callable
from threading import Lock

from oralquiz.sound import Clip

MOST = 150
"""Phrases that are kept. With what is worked out of them they take some 150 KB each; all numbers of
two digits, added and taken away, are some 190."""


class LastSaid:
    """Keeps the last ``most`` phrases. Safe between threads."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._clips: dict[str, Clip] = {}
        self._lock = Lock()

    def __len__(self) -> int:
        return len(self._clips)

    def said(self, text: str, say: Callable[[], Clip]) -> Clip:
        """``text`` as it was said last, or as ``say`` says it now. Raises what that raises."""
        with self._lock:
            clip = self._clips.pop(text, None)
            if clip is not None:
                self._clips[text] = clip  # now the last
                return clip
        clip = say()
        with self._lock:
            clip = self._clips.setdefault(text, clip)
            while len(self._clips) > self._most:
                del self._clips[next(iter(self._clips))]
        return clip
