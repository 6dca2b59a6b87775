"""What every voice can do."""

from __future__ import annotations

from typing import Protocol

from oralquiz.sound import Clip


class Voice(Protocol):
    """Something that says a phrase."""

    @property
    def name(self) -> str: ...

    @property
    def sample_rate(self) -> int: ...

    def say(self, text: str) -> Clip:
        """``text`` as a clip that starts and ends with the voice. Raises AudioError."""
        ...
