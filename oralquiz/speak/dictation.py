"""A dictation: one buffer in which a sum is read aloud, each term's onset known to the sample."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.beads import Sum
from oralquiz.speak.clip import Samples


@dataclass(frozen=True)
class SpokenTerm:
    """What was said for one term, and where in the dictation (samples, offset exclusive)."""

    text: str
    onset: int
    offset: int


@dataclass(frozen=True, eq=False)
class Dictation:
    """One buffer that reads a whole sum aloud.

    ``samples`` (n,) float32 at ``sample_rate`` hertz; term k starts exactly at
    ``start + k * pace_s`` (rounded to a sample). ``pace_s`` is seconds from onset to onset.
    """

    sum: Sum
    pace_s: float
    sample_rate: int
    samples: Samples
    terms: tuple[SpokenTerm, ...]

    @property
    def offset(self) -> int:
        """Sample at which the last term ends: where a pupil's latency begins."""
        return self.terms[-1].offset
