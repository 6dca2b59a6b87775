"""Practice that adapts: which sum is next for one pupil, how quickly it is read, and why.

It keeps no clock and draws nothing that its seed does not decide: the same calls give the same
tasks, and a practice read back from its JSON goes on as if it had never stopped.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import msgspec
import numpy as np

from oralquiz.beads import Rule, Sum, Syllabus
from oralquiz.compose import load_syllabus
from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.learn.choice import Known
from oralquiz.learn.pace import SHAPE, PaceBelief
from oralquiz.learn.practice_state import (
    RECENT,
    PracticeSettings,
    PracticeState,
    rules_taught,
    settings_from,
)
from oralquiz.learn.set_chooser import SetChooser
from oralquiz.learn.skill import SkillBelief
from oralquiz.learn.skill_tracker import SkillTracker

PACE_DRIFT_A_SUM = 0.02
PACE_DRIFT_A_DAY = 0.03
SLOWER = 1.2
"""What "slower, please" makes of the pace; a twentieth of it is taken back with each sum."""
STALE_S = 3 * 3600.0
"""A set that was begun so long ago is chosen anew."""


@dataclass(frozen=True)
class Task:
    """One sum to dictate, its pace, the name of the rule it drills, and the reason in words."""

    sum: Sum
    pace_s: float
    rule: str
    reason: str


@dataclass(frozen=True)
class Skill:
    """What is known of a rule: the logit of the probability that a move of it succeeds (mean and
    standard deviation), whether it is mastered, and when it is to be reviewed (UTC; None: it was
    not yet used enough on one day)."""

    mean: float
    sd: float
    mastered: bool
    due: datetime | None
    uses: int = 0
    """How many moves of it were seen."""


class Practice:
    """The practice of one pupil.

    ``syllabus``: a course, or the name of one that is shipped. ``taught``: the name of the last
    step taught, or the rules taught (names or Rules). ``settings``: see PracticeSettings, also as
    a mapping. Moments are datetimes (one without a zone is in UTC) or seconds since 1970; days
    are those of the datetime's own zone. Raises BadInput for names that do not exist.
    """

    def __init__(
        self,
        syllabus: Syllabus | str = "two-hands",
        taught: str | Collection[str | Rule] = (),
        settings: PracticeSettings | Mapping[str, Any] | None = None,
        seed: int = 0,
    ) -> None:
        course = load_syllabus(syllabus) if isinstance(syllabus, str) else syllabus
        wanted = settings_from(settings)
        grid = PaceBelief.before(wanted.first_pace_s).grid.ravel().tolist()
        self._enter(PracticeState(course, (), wanted, seed, grid, wanted.first_pace_s))
        self.teach(taught)

    def _enter(self, state: PracticeState) -> None:
        self._state = state
        self._sets = SetChooser(state)
        self._tracker = SkillTracker(state)

    # --- what was taught, what is wished --------------------------------------------------------

    def teach(self, taught: str | Collection[str | Rule]) -> None:
        """Replace what is taught; what is known of each rule stays."""
        rules = rules_taught(self._state.syllabus, taught)
        if not rules:
            raise BadInput("nothing was taught yet, so there is nothing to practise")
        self._state.taught = tuple(rule.name for rule in rules)
        self._state.waiting, self._sets = [], SetChooser(self._state)
        for rule in rules:
            self._state.known.setdefault(rule.name, Known(SkillBelief.before(rule)))

    def ask_for(self, rule: str | Rule | None) -> None:
        """The pupil asks for a rule that was taught; None: for none any more."""
        wish = None if rule is None else (rule if isinstance(rule, Rule) else Rule.parse(rule)).name
        if wish is not None and wish not in self._state.taught:
            raise BadInput(f"{wish} was not taught yet")
        self._state.wish, self._state.waiting = wish, []

    def slower(self) -> None:
        """The pupil asks for a slower pace."""
        self._state.slack *= SLOWER
        self._state.pace_s *= SLOWER  # at once, not step by step

    # --- the sums -------------------------------------------------------------------------------

    def next(self, now: datetime | float) -> Task:
        """What to dictate next; the same until it is told about."""
        state, moment = self._state, _moment(now)
        begun = state.chosen
        if not state.waiting or begun is None or (moment - begun).total_seconds() > STALE_S:
            state.waiting, state.chosen = self._sets.choose(moment), moment
        terms, rule, reason = state.waiting[0]
        return Task(Sum(terms), self._pace(moment), rule, reason)

    def plan(self, count: int, now: datetime | float) -> list[Task]:
        """The next ``count`` sums at once, chosen anew, from easier to harder; all have the pace
        that is right for the first."""
        moment = _moment(now)
        self._state.waiting = self._sets.choose(moment, count)
        self._state.chosen = moment
        pace_s = self._pace(moment)
        return [Task(Sum(terms), pace_s, *why) for terms, *why in self._state.waiting]

    def pace(self, now: datetime | float) -> float:
        """The pace of the next sum: seconds from the onset of a term to the next onset."""
        return self._pace(_moment(now))

    @property
    def columns(self) -> int:
        """Columns of the frame that is practised on."""
        return self._state.shape.columns

    def tell(
        self,
        task: Task,
        verdict: Verdict | str,
        value: int | None,
        latency_s: float | None,
        now: datetime | float,
    ) -> None:
        """What came of ``task``: the verdict, and the number said (None: none, or not known).

        Unclear: nothing is learned. Silent: the time ran out, which tells of the pace only.
        ``latency_s`` is kept out of the sums' choice.
        """
        moment, verdict = _moment(now), Verdict(verdict)
        state = self._state
        if state.last and (moment - state.last).total_seconds() > STALE_S:
            state.previous = None  # the answer before was given in another round
        state.waiting = [one for one in state.waiting if one[0] != task.sum.terms]
        state.recent = [*state.recent, task.sum.terms][-RECENT:]
        state.told += 1
        if verdict is not Verdict.UNCLEAR:
            self._learn_pace(task, verdict is Verdict.RIGHT, moment)
        if verdict in (Verdict.RIGHT, Verdict.WRONG):
            self._tracker.tell(task.sum, verdict is Verdict.RIGHT, value, moment)
        state.previous = value if verdict in (Verdict.RIGHT, Verdict.WRONG) else None
        state.last, state.pace_s = moment, task.pace_s
        state.slack = max(1.0, state.slack * SLOWER**-0.05)

    def skills(self) -> dict[str, Skill]:
        """What is known of every rule that was taught, by its name, in the order taught."""
        found = {}
        for name in self._state.taught:
            known = self._state.known[name]
            memory = known.memory.settled()
            found[name] = Skill(
                known.belief.mean, known.belief.sd, known.mastery.reached, memory.due, known.uses
            )
        return found

    def recall(self, rule: str, now: datetime | float) -> float | None:
        """The probability that ``rule`` is still kept at ``now``; None: it was not yet rated."""
        return self._state.known[rule].memory.settled().recall(_moment(now))

    def pace_for(self, share: float | None = None) -> float:
        """The pace in seconds at which ``share`` (None: the target) of the sums goes right."""
        return self._belief.pace_for(share or self._state.settings.target)

    # --- JSON -----------------------------------------------------------------------------------

    def to_json(self) -> str:
        return msgspec.json.encode(self._state).decode()

    @classmethod
    def from_json(cls, text: str | bytes) -> Practice:
        """Raises BadInput for what to_json did not write."""
        try:
            state = msgspec.json.decode(text, type=PracticeState)
        except (msgspec.MsgspecError, ValueError) as error:
            raise BadInput(f"this is no practice that was saved: {error}") from None
        if len(state.pace) != np.prod(SHAPE):
            raise BadInput("this is no practice that was saved: its pace has another grid")
        practice = cls.__new__(cls)
        practice._enter(state)
        return practice

    # --- inside ---------------------------------------------------------------------------------

    @property
    def _belief(self) -> PaceBelief:
        return PaceBelief(np.array(self._state.pace).reshape(SHAPE))

    def _pace(self, now: datetime) -> float:
        """Where the target is expected, if it pays, at most one step from the pace before."""
        state, wanted = self._state, self._state.settings
        belief = self._drifted_pace(now)
        goal = min(belief.pace_for(wanted.target), belief.most_right()) * state.slack
        step = 1 + wanted.step
        near = min(max(goal, state.pace_s / step), state.pace_s * step)
        return round(min(max(near, wanted.fastest_s), wanted.slowest_s), 3)

    def _drifted_pace(self, now: datetime) -> PaceBelief:
        days = self._days_since(now)
        return self._belief.drifted(PACE_DRIFT_A_DAY * days**0.5) if days else self._belief

    def _days_since(self, now: datetime) -> int:
        return (now.date() - self._state.last.date()).days if self._state.last else 0

    def _learn_pace(self, task: Task, right: bool, now: datetime) -> None:
        belief = self._drifted_pace(now).after(task.pace_s, right).drifted(PACE_DRIFT_A_SUM)
        self._state.pace = belief.grid.ravel().tolist()


def _moment(now: datetime | float) -> datetime:
    if not isinstance(now, datetime):
        return datetime.fromtimestamp(now, UTC)
    return now if now.tzinfo else now.replace(tzinfo=UTC)
