"""A recorder in front of another that takes the sound in larger pieces.

Thirty devices make 1,500 blocks a second; writing each on its own is a third of the work. What
was heard is still written before the event that rests on it.
"""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import Protocol

import numpy as np

from oralquiz.rounds import Event, Recorder
from oralquiz.sound import BLOCK, Samples

GATHERED = 25
"""Blocks (half a second) that are written at once when nothing happens."""


class SessionRecorder(Recorder, Protocol):
    """What a session needs of a recorder in addition (see FileRecorder)."""

    def sync(self) -> None: ...

    def close(self) -> None: ...

    def abandon(self) -> None: ...

    def discard(self) -> None: ...

    def finish(self) -> Path: ...


class BufferedRecorder:
    """Passes everything on to ``recorder``, in the same order."""

    def __init__(self, recorder: SessionRecorder) -> None:
        self._recorder = recorder
        self._said: list[Samples] = []
        self._heard: list[Samples] = []
        self._gathered = 0  # samples

    def event(self, at: int, event: Event) -> None:
        self._pass_on()
        self._recorder.event(at, event)

    def sound(self, said: Samples, heard: Samples) -> None:
        self._said.append(said)
        self._heard.append(heard)
        self._gathered += len(said)
        if self._gathered >= GATHERED * BLOCK:
            self._pass_on()

    def sync(self) -> None:
        self._recorder.sync()

    def close(self) -> None:
        try:
            self._pass_on()
        finally:
            self._recorder.close()

    def abandon(self) -> None:
        with suppress(OSError):  # what is not on the disk by now will not get there
            self._pass_on()
        self._recorder.abandon()

    def discard(self) -> None:
        self._recorder.discard()

    def finish(self) -> Path:
        self._pass_on()
        return self._recorder.finish()

    def _pass_on(self) -> None:
        if self._said:
            said, heard = np.concatenate(self._said), np.concatenate(self._heard)
            self._said, self._heard, self._gathered = [], [], 0
            self._recorder.sound(said, heard)
