"""Practice that adapts: which sum is next for one pupil, how quickly it is read, and why.

It keeps no clock and draws nothing that its seed does not decide: the same calls give the same
tasks, and a practice read back from its JSON goes on as if it had never stopped.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import msgspec
import numpy as np

from oralquiz.beads import Rule, Sum, Syllabus
from oralquiz.compose import Request, load_syllabus
from oralquiz.errors import BadInput
from oralquiz.judge import Diagnoser, Diagnosis, Verdict
from oralquiz.learn.choice import Drilled, Known, Shares, choose
from oralquiz.learn.pace import SHAPE, PaceBelief
from oralquiz.learn.practice_sums import can_be_drilled, points, shape_of, sums_drilling
from oralquiz.learn.review import Memory
from oralquiz.learn.skill import SkillBelief, blame, uses_of

RECENT = 200
"""A sum comes again only when so many others came after it."""
PACE_DRIFT_A_SUM = 0.02
PACE_DRIFT_A_DAY = 0.03
SLOWER = 1.2
"""What "slower, please" makes of the pace; a twentieth of it is taken back with each sum."""
STALE_S = 3 * 3600.0
"""A set that was begun so long ago is chosen anew."""


@dataclass(frozen=True)
class PracticeSettings:
    """How practice adapts.

    ``target``: the share of sums that should come out right. ``today``, ``due``: the shares of sums
    for the rule of the day and for a rule that is due (the rest is mixed). ``terms``: the
    fewest and the most a sum may have. Paces in seconds from the onset of a term to the onset of
    the next; one differs from the one before by at most ``step``. ``mastered_at``: the share of a
    rule's moves that must succeed. ``rule``: the rule of the day, if the teacher chose it.
    """

    target: float = 0.85
    today: float = 0.6
    due: float = 0.25
    set_size: int = 10
    terms: tuple[int, int] = (3, 5)
    first_pace_s: float = 3.0
    fastest_s: float = 0.8
    slowest_s: float = 6.0
    step: float = 0.10
    mastered_at: float = 0.95
    rule: str | None = None

    def __post_init__(self) -> None:
        if not 0 < self.target < 1:
            raise BadInput(f"the target is a share between 0 and 1, not {self.target}")
        if min(self.today, self.due) < 0 or self.today + self.due > 1:
            raise BadInput("the shares of today's and of due rules are 0 to 1 together")
        if not 0 < self.fastest_s <= self.first_pace_s <= self.slowest_s:
            raise BadInput("fastest_s <= first_pace_s <= slowest_s does not hold")


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


@dataclass
class _State:
    """All that is remembered; what to_json writes."""

    syllabus: Syllabus
    taught: tuple[str, ...]
    settings: PracticeSettings
    seed: int
    pace: list[float]
    pace_s: float
    slack: float = 1.0
    told: int = 0
    sets: int = 0
    wish: str | None = None
    previous: int | None = None
    last: datetime | None = None
    chosen: datetime | None = None
    waiting: list[tuple[tuple[int, ...], str, str]] = field(default_factory=list)
    recent: list[tuple[int, ...]] = field(default_factory=list)
    known: dict[str, Known] = field(default_factory=dict)


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
        wanted = _settings(settings)
        grid = PaceBelief.before(wanted.first_pace_s).grid.ravel().tolist()
        self._enter(_State(course, (), wanted, seed, grid, wanted.first_pace_s))
        self.teach(taught)

    def _enter(self, state: _State) -> None:
        self._state = state
        self._diagnosers: dict[int, Diagnoser] = {}
        self._drillable: tuple[Rule, ...] | None = None

    # --- what was taught, what is wished --------------------------------------------------------

    def teach(self, taught: str | Collection[str | Rule]) -> None:
        """Replace what is taught; what is known of each rule stays."""
        rules = _rules(self._state.syllabus, taught)
        if not rules:
            raise BadInput("nothing was taught yet, so there is nothing to practise")
        self._state.taught = tuple(rule.name for rule in rules)
        self._state.waiting, self._drillable = [], None
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
            state.waiting, state.chosen = self._choose_set(moment), moment
        terms, rule, reason = state.waiting[0]
        return Task(Sum(terms), self._pace(moment), rule, reason)

    def plan(self, count: int, now: datetime | float) -> list[Task]:
        """The next ``count`` sums at once, chosen anew, from easier to harder; all have the pace
        that is right for the first."""
        moment = _moment(now)
        self._state.waiting = self._choose_set(moment, count)
        self._state.chosen = moment
        pace_s = self._pace(moment)
        return [Task(Sum(terms), pace_s, *why) for terms, *why in self._state.waiting]

    def pace(self, now: datetime | float) -> float:
        """The pace of the next sum: seconds from the onset of a term to the next onset."""
        return self._pace(_moment(now))

    @property
    def columns(self) -> int:
        """Columns of the frame that is practised on."""
        return self._shape.columns

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
            self._learn_skill(task.sum, verdict is Verdict.RIGHT, value, moment)
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
            state = msgspec.json.decode(text, type=_State)
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
        """Where the target is expected, at most one step from the pace before."""
        state, wanted = self._state, self._state.settings
        goal = self._drifted_pace(now).pace_for(wanted.target) * state.slack
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

    def _learn_skill(self, terms: Sum, right: bool, value: int | None, now: datetime) -> None:
        known = {Rule.parse(name): one for name, one in self._state.known.items()}
        uses = uses_of(terms, self._shape.columns)
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
        columns = self._shape.columns
        if columns not in self._diagnosers:
            self._diagnosers[columns] = Diagnoser(columns)
        return self._diagnosers[columns].diagnose(terms, value, self._state.previous)

    # --- choosing a set -------------------------------------------------------------------------

    @property
    def _shape(self) -> Request:
        state = self._state
        taught = frozenset(Rule.parse(name) for name in state.taught)
        steps = [step for step in state.syllabus.steps if step.adds and taught >= set(step.adds)]
        return shape_of(state.syllabus, steps[-1] if steps else state.syllabus.steps[0], taught)

    def _lengths(self, rule: Rule | None) -> list[int]:
        """How many terms a sum has, the best first: the most with which the target is in reach."""
        fewest, most = self._state.settings.terms
        chances = [self._state.known[name].belief.chance for name in self._state.taught]
        others = float(np.mean(chances))
        own = self._state.known[rule.name].belief.chance if rule else others
        reach = [
            terms
            for terms in range(fewest, most + 1)
            if own**2 * others ** (2 * terms - 2) >= self._state.settings.target
        ]
        best = reach[-1] if reach else fewest
        return sorted(range(fewest, most + 1), key=lambda terms: abs(terms - best))

    def _rules(self) -> tuple[Rule, ...]:
        """The rules taught that some sum can drill, in the order taught."""
        if self._drillable is None:
            rules = [Rule.parse(name) for name in self._state.taught]
            lengths, shape = self._lengths(None), self._shape
            found = [rule for rule in rules if can_be_drilled(rule, lengths, shape)]
            if not found:
                raise BadInput("no sum of such a length uses the rules taught")
            self._drillable = tuple(found)
        return self._drillable

    def _choose_set(
        self, now: datetime, count: int | None = None
    ) -> list[tuple[tuple[int, ...], str, str]]:
        state, rules = self._state, self._rules()
        rng = np.random.Generator(np.random.PCG64([state.seed, state.told, state.sets]))
        settled = {
            rule: replace(
                state.known[rule.name], memory=_settled_before(state.known[rule.name], now)
            )
            for rule in rules
        }
        wish = state.wish or state.settings.rule
        chosen = choose(
            settled,
            rules,
            count or state.settings.set_size,
            Shares(state.settings.today, state.settings.due),
            Rule.parse(wish) if wish in state.taught else None,
            now,
            rng,
        )
        state.sets += 1
        return self._compose(chosen, rng)

    def _compose(
        self, chosen: list[Drilled], rng: np.random.Generator
    ) -> list[tuple[tuple[int, ...], str, str]]:
        """A sum for each, from easier to harder."""
        shape, had = self._shape, list(self._state.recent)
        lengths = self._lengths(chosen[0].rule)
        sums = sums_drilling([one.rule for one in chosen], lengths, shape, had, rng)
        graded = sorted(
            zip(sums, chosen, strict=True), key=lambda pair: points(pair[0], shape.columns)
        )
        return [(terms.terms, one.rule.name, one.reason) for terms, one in graded]


def _settled_before(known: Known, now: datetime) -> Memory:
    """The memory, with a block of an earlier day rated; today's is not over."""
    block = known.memory.block
    return known.memory.settled() if block and block.day < now.date() else known.memory


def _moment(now: datetime | float) -> datetime:
    if not isinstance(now, datetime):
        return datetime.fromtimestamp(now, UTC)
    return now if now.tzinfo else now.replace(tzinfo=UTC)


def _settings(settings: PracticeSettings | Mapping[str, Any] | None) -> PracticeSettings:
    if settings is None or isinstance(settings, PracticeSettings):
        return settings or PracticeSettings()
    try:
        return msgspec.convert({**asdict(PracticeSettings()), **settings}, PracticeSettings)
    except msgspec.ValidationError as error:
        raise BadInput(f"the settings of a practice: {error}") from None


def _rules(syllabus: Syllabus, taught: str | Collection[str | Rule]) -> list[Rule]:
    """The rules of ``taught``, in the syllabus' order and those it does not add at the end."""
    if isinstance(taught, str):
        wanted = syllabus.taught(taught)
    else:
        wanted = frozenset(one if isinstance(one, Rule) else Rule.parse(one) for one in taught)
    order = [rule for step in syllabus.steps for rule in step.adds]
    listed = dict.fromkeys(rule for rule in order if rule in wanted)
    return [*listed, *sorted(wanted - listed.keys())]
