"""A clip: one spoken phrase as samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float32]
"""Mono sound, float32 in [-1, 1], shape (n,)."""


@dataclass(frozen=True, eq=False)
class Clip:
    """One spoken phrase: ``samples`` (n,) float32 mono at ``sample_rate`` hertz."""

    samples: Samples
    sample_rate: int

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.sample_rate


class Voice(Protocol):
    """Something that says a phrase."""

    @property
    def name(self) -> str: ...

    @property
    def sample_rate(self) -> int: ...

    def say(self, text: str) -> Clip:
        """``text`` as a clip that starts and ends with the voice. Raises AudioError."""
        ...
