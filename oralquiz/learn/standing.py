"""Where a pupil stands with a rule, in four words that a teacher can plan by."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum

from oralquiz.beads import DIRECT, Rule
from oralquiz.learn.choice import FEW_USES
from oralquiz.learn.practice import Skill


class Standing(StrEnum):
    """The standing of one pupil with one rule."""

    MASTERED = "mastered"
    DUE = "due"
    """It was learned, and should be practised again before it is forgotten."""
    GROWING = "growing"
    NOT_YET = "not yet"
    """It has not been taught, or has hardly been used."""


def standing_of(rule: Rule, skill: Skill | None, now: datetime) -> Standing:
    """Moves whose beads are free come in every sum: they are never due."""
    if skill is None or skill.uses < FEW_USES:
        return Standing.NOT_YET
    if rule != DIRECT and skill.due is not None and skill.due <= now:
        return Standing.DUE
    return Standing.MASTERED if skill.mastered else Standing.GROWING
