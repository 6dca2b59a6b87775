"""When an answer is complete: how long a quiet must last, by what was heard before it."""

from __future__ import annotations

from dataclasses import dataclass

from oralquiz.listen.hearing import Hearing
from oralquiz.listen.language import Growth

DOUBTFUL = 0.5
"""Below this confidence more voice is waited for, whatever the number."""


@dataclass(frozen=True)
class EndRule:
    """Seconds of quiet after the voice that end an answer.

    ``closed_s`` when the number cannot grow, ``digits_s`` when only digit by digit, ``open_s`` when
    it can or is doubtful, ``other_s`` when no number was heard.
    """

    closed_s: float = 0.15
    digits_s: float = 0.22
    open_s: float = 0.5
    other_s: float = 2.0

    def quiet_s(self, heard: Hearing, growth: Growth) -> float:
        """The seconds of quiet that end the answer ``heard``."""
        if heard.value is None:
            return self.other_s
        if heard.confidence < DOUBTFUL:
            return self.open_s
        return {
            Growth.CLOSED: self.closed_s,
            Growth.DIGITS: self.digits_s,
            Growth.OPEN: self.open_s,
        }[growth]
