"""What each answer says of the rules that its sum uses."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from oralquiz.beads import Rule, Sum
from oralquiz.judge import Diagnoser, Diagnosis
from oralquiz.learn.choice import Known
from oralquiz.learn.practice_state import PracticeState
from oralquiz.learn.skill import blame, uses_of


class SkillTracker:
    """Keeps what is known of each rule in ``state``: the skill, the memory, the mastery of it."""

    def __init__(self, state: PracticeState) -> None:
        self._state = state
        self._diagnosers: dict[int, Diagnoser] = {}

    def tell(self, terms: Sum, right: bool, value: int | None, now: datetime) -> None:
        """``terms`` was answered with ``value`` (None: not known)."""
        known = {Rule.parse(name): one for name, one in self._state.known.items()}
        uses = uses_of(terms, self._state.shape.columns)
        failed: Mapping[Rule, float] = {}
        if not right:
            beliefs = {rule: one.belief for rule, one in known.items()}
            failed = blame(self._diagnosis(terms, value), uses, beliefs)
        for rule, count in uses.items():
            if rule in known:
                lost = min(failed.get(rule, 0.0), count)
                self._state.known[rule.name] = self._after(known[rule], count, lost, now)

    def _after(self, known: Known, uses: int, failed: float, now: datetime) -> Known:
        days = (now - known.seen).days if known.seen else 0
        belief = known.belief.drifted(days) if days else known.belief.drifted()
        belief = belief.after(uses - failed, failed)
        return Known(
            belief,
            known.memory.after(now.date(), now, uses, failed),
            known.mastery.after(belief, now.date(), self._state.settings.mastered_at),
            known.uses + uses,
            now,
        )

    def _diagnosis(self, terms: Sum, value: int | None) -> Diagnosis | None:
        if value is None or value == terms.answer:
            return None
        columns = self._state.shape.columns
        if columns not in self._diagnosers:
            self._diagnosers[columns] = Diagnoser(columns)
        return self._diagnosers[columns].diagnose(terms, value, self._state.previous)
