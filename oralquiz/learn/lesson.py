"""What to teach or repeat next: a class's pupils and rules side by side, and a proposal from them.

The teacher decides; the proposal is where most pupils gain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from oralquiz.beads import DIRECT, Rule, Syllabus
from oralquiz.learn.choice import rule_words
from oralquiz.learn.practice import Skill
from oralquiz.learn.standing import Standing, standing_of

READY = 0.75
"""The share of the class that has mastered what was taught last, before something new comes."""

NEEDS = (Standing.GROWING, Standing.DUE)


@dataclass(frozen=True)
class RuleColumn:
    """A rule, the step that adds it, how each pupil stands with it, and who needs it: those for
    whom it is growing or due (if it is ``new``, those who have never met it)."""

    rule: Rule
    step: str
    standings: Mapping[str, Standing]
    new: bool = False

    @property
    def needed_by(self) -> tuple[str, ...]:
        wanted = (Standing.NOT_YET,) if self.new else NEEDS
        return tuple(name for name, its in self.standings.items() if its in wanted)

    def share(self, standing: Standing) -> float:
        """The share of the pupils who have this standing."""
        return sum(its is standing for its in self.standings.values()) / len(self.standings)


@dataclass(frozen=True)
class Lesson:
    """A proposal: the step to drill, who needs it, and why, in words."""

    step: str
    pupils: tuple[str, ...]
    reason: str


def rule_columns(
    skills: Mapping[str, Mapping[Rule, Skill]], syllabus: Syllabus, now: datetime
) -> tuple[RuleColumn, ...]:
    """The rules that some of the pupils have met, in the course's order, and the one that comes
    next.

    ``skills``: by a pupil's name what is known of each rule (empty: the pupil has never answered).
    """
    added = [(rule, step.name) for step in syllabus.steps for rule in step.adds]
    columns: list[RuleColumn] = []
    for rule, step in added:
        standings = {
            name: standing_of(rule, known.get(rule), now) for name, known in skills.items()
        }
        met = any(its is not Standing.NOT_YET for its in standings.values())
        columns.append(RuleColumn(rule, step, standings, new=not met))
    met_last = max((at for at, one in enumerate(columns) if not one.new), default=-1)
    return tuple(columns[: met_last + 2]) if skills else ()


def propose_lesson(columns: Sequence[RuleColumn]) -> Lesson | None:
    """The next new rule if the class is ready for it, else the rule that most pupils need; among
    several, the one that was taught last. None for a class without pupils."""
    old = [one for one in columns if not one.new and one.rule != DIRECT]
    coming = next((one for one in columns if one.new), None)
    ready = not old or old[-1].share(Standing.MASTERED) >= READY
    needed = max(reversed(old), key=lambda one: len(one.needed_by), default=None)
    if coming is not None and ready and not _pressing(needed):
        return Lesson(coming.step, (), f"{rule_words(coming.rule)} is next")
    if needed is None or not needed.needed_by:
        return None
    due = sum(its is Standing.DUE for its in needed.standings.values())
    growing = len(needed.needed_by) - due
    parts = [f"growing with {growing}"] * (growing > 0) + [f"due for {due}"] * (due > 0)
    of = len(needed.standings)
    reason = f"{rule_words(needed.rule)} is {' and '.join(parts)} of {of}"
    return Lesson(needed.step, needed.needed_by, reason)


def _pressing(column: RuleColumn | None) -> bool:
    """Whether most of the class need it before anything new."""
    return column is not None and 2 * len(column.needed_by) > len(column.standings)


def pace_for_class(paces: Sequence[float]) -> float | None:
    """The pace, in seconds, that suits three in four; None where nobody's is known."""
    if not paces:
        return None
    slowest_first = sorted(paces, reverse=True)
    return round(slowest_first[len(paces) // 4], 1)
