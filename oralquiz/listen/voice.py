"""Where a voice begins and ends, on the stream's own clock.

First form: energy in 10 ms frames against a floor that follows the room.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from oralquiz.listen.hearing import Samples


@dataclass(frozen=True)
class Stretch:
    """One stretch of voice: samples ``onset`` .. ``offset`` of the stream (offset: after the last).

    ``offset`` is None while it goes on.
    """

    onset: int
    offset: int | None


class VoiceDetector:
    """Follows one stream; ``stretches`` grows as voice is found."""

    def __init__(self, sample_rate: int) -> None:
        self.sample_rate = sample_rate
        self.frame = sample_rate // 100
        self.position = 0
        self.stretches: list[Stretch] = []
        self._rest = np.zeros(0, np.float32)
        self._floor_db = -60.0
        self._loud = 0
        self._quiet = 0

    @property
    def on(self) -> bool:
        return bool(self.stretches) and self.stretches[-1].offset is None

    def feed(self, samples: Samples) -> None:
        """Take the next samples (n,)."""
        joined = np.concatenate([self._rest, samples])
        whole = len(joined) // self.frame * self.frame
        for frame in joined[:whole].reshape(-1, self.frame):
            self._step(frame)
        self._rest = joined[whole:]

    def close(self) -> None:
        """The stream is over: a voice that goes on ends here."""
        if self.on:
            end = self.position + len(self._rest)
            self.stretches[-1] = Stretch(self.stretches[-1].onset, end)

    def _step(self, frame: Samples) -> None:
        level = 10 * np.log10(float(np.mean(frame * frame)) + 1e-10)
        loud = level > max(self._floor_db + 10, -55)
        if not self.on:
            rate = 0.2 if level < self._floor_db else 0.01
            self._floor_db += rate * (level - self._floor_db)
            self._loud = self._loud + 1 if loud else 0
            if self._loud >= 3:
                self.stretches.append(Stretch(self.position - 2 * self.frame, None))
                self._quiet = 0
        else:
            self._quiet = 0 if loud else self._quiet + 1
            if self._quiet >= 8:
                self.stretches[-1] = Stretch(
                    self.stretches[-1].onset, self.position - 7 * self.frame
                )
                self._loud = 0
        self.position += self.frame
