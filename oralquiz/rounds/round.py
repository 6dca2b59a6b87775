"""A round: an ordered set of sums for one or more pupils, and how it is to be run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from oralquiz.beads import MoveOrder, Sum, top
from oralquiz.judge import PRACTICE, Policy
from oralquiz.listen import find_language


@dataclass(frozen=True)
class Turn:
    """One sum for one pupil. The voice is only recorded with ``consent``.

    Where the sum was chosen for this pupil, ``rule`` names what it drills and ``reason`` says why,
    in words.
    """

    pupil: str
    sum: Sum
    consent: bool = False
    rule: str = ""
    reason: str = ""


@dataclass(frozen=True)
class Round:
    """What is asked: the turns in order, all for one step of the syllabus on one frame.

    ``step`` names the syllabus step, ``rule`` the rule drilled (empty: several). ``created`` is
    an ISO 8601 date and time. ``place``: ``class`` or ``home``; empty where nobody said.
    """

    name: str
    created: str
    turns: tuple[Turn, ...]
    step: str = ""
    rule: str = ""
    columns: int = 2
    move_order: MoveOrder = MoveOrder.FIVE_FIRST
    place: str = ""

    @property
    def highest(self) -> int:
        return top(self.columns)


@dataclass(frozen=True)
class Options:
    """How a round is run. All times in seconds.

    ``answer_within_s`` counts from the end of the last spoken term; a voice that has begun by
    then is heard out for at most ``hear_out_s`` more. A wrong number may be taken back ("seven, no,
    nine"): it is marked only when nothing was said for ``take_back_s`` after it. ``asks`` is how
    often an unclear answer is asked for again before it waits for the teacher's ear.
    """

    pace_s: float = 2.5
    lead_s: float = 0.6
    answer_within_s: float = 8.0
    hear_out_s: float = 4.0
    take_back_s: float = 0.45
    asks: int = 1
    gap_s: float = 1.2
    ask_again_text: str = find_language("en").ask_again
    policy: Policy = field(default=PRACTICE)

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Options:
        return cls(**{**data, "policy": Policy(**data["policy"])})
