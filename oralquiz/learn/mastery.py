"""Mastered: a rule's moves succeed often enough, surely enough, on more than one day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from oralquiz.learn.skill import SkillBelief, probability

SURE_SDS = 1.65
"""The claim is made from the skill's lower end: 19 in 20 lie above it."""
DAYS = 2


@dataclass(frozen=True)
class Mastery:
    """On how many days, and last on which, a rule's skill was surely high enough."""

    days: int = 0
    last: date | None = None

    def after(self, belief: SkillBelief, day: date, wanted: float) -> Mastery:
        """What the skill shows on ``day``; a skill that is likely below ``wanted`` begins anew."""
        if probability(belief.mean) < wanted:
            return Mastery()
        if belief.at_least(SURE_SDS) < wanted or self.last == day:
            return self
        return Mastery(self.days + 1, day)

    @property
    def reached(self) -> bool:
        return self.days >= DAYS
