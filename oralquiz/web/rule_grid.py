"""A class's pupils and rules side by side, and the lesson that is proposed from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from urllib.parse import urlencode

from oralquiz.learn import (
    Lesson,
    RuleColumn,
    Standing,
    pace_for_class,
    propose_lesson,
    rule_columns,
    rule_words,
)
from oralquiz.records import class_paces, class_skills
from oralquiz.web.classroom import Classroom

SIGNS = {
    Standing.MASTERED: "the moves go right reliably, on two days or more",
    Standing.GROWING: "being learned",
    Standing.DUE: "was learned, and should be practised again",
    Standing.NOT_YET: "not taught, or hardly used",
}
"""What each sign of the grid means."""


@dataclass(frozen=True)
class RuleGrid:
    """``columns`` are the rules that the class met, ``pupils`` the rows."""

    pupils: Sequence[str]
    columns: Sequence[RuleColumn]

    @property
    def lesson(self) -> Lesson | None:
        return propose_lesson(self.columns)

    @property
    def met(self) -> Sequence[RuleColumn]:
        return [column for column in self.columns if not column.new]

    def needing(self, step: str) -> list[str]:
        """The pupils for whom a rule of ``step`` is growing or due."""
        needed = {
            name
            for one in self.columns
            if one.step == step and not one.new
            for name in one.needed_by
        }
        return [name for name in self.pupils if name in needed]

    @staticmethod
    def words(column: RuleColumn) -> str:
        return rule_words(column.rule)

    @staticmethod
    def plan_url(step: str) -> str:
        """The page that plans a round for ``step``, with those chosen who need it."""
        return f"/plan?{urlencode({'step': step})}"


async def grid_of(classroom: Classroom) -> RuleGrid:
    """The grid of the class that the teacher's pages show, as of the last answers taken in."""
    skills = await classroom.records.do(class_skills, classroom.class_name)
    return RuleGrid(tuple(skills), rule_columns(skills, classroom.syllabus, datetime.now(UTC)))


async def pace_of(classroom: Classroom, names: Sequence[str] = ()) -> float | None:
    """The pace that suits three in four of the pupils called ``names`` (none: of the class)."""
    paces = await classroom.records.do(class_paces, classroom.class_name)
    return pace_for_class([pace for name, pace in paces.items() if not names or name in names])
