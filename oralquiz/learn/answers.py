"""One answered sum, as speed, change and weakness are worked out from it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from oralquiz.beads import Sum
from oralquiz.judge import Verdict


@dataclass(frozen=True)
class Answer:
    """The verdict that counts for one sum of one pupil, corrections included.

    ``said`` is the number that counted (None: silent, or unclear). ``latency_s`` is None where
    it says nothing about speed: silence, an answer asked for twice, one that was typed.
    ``deadline_s`` is the time in which the answer had to begin, ``pace_s`` that from one term's
    onset to the next (None: not known).
    ``previous`` is what the pupil said to the sum before in the same round (None: the first sum,
    or not known).
    """

    day: date
    terms: Sum
    verdict: Verdict
    said: int | None = None
    latency_s: float | None = None
    columns: int = 2
    previous: int | None = None
    deadline_s: float | None = None
    pace_s: float | None = None
