"""What a practice is set to, and what it remembers."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any

import msgspec

from oralquiz.beads import Rule, Syllabus
from oralquiz.compose import Request
from oralquiz.errors import BadInput
from oralquiz.learn.choice import Known
from oralquiz.learn.practice_sums import shape_of

RECENT = 200
"""A sum comes again only when so many others came after it."""

Chosen = tuple[tuple[int, ...], str, str]
"""A sum that was chosen: its terms, the name of the rule it drills, and the reason in words."""


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


@dataclass
class PracticeState:
    """All that a practice remembers; what its to_json writes. ``waiting``: sums chosen and not
    yet told about."""

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
    waiting: list[Chosen] = field(default_factory=list)
    recent: list[tuple[int, ...]] = field(default_factory=list)
    known: dict[str, Known] = field(default_factory=dict)

    @property
    def rules(self) -> list[Rule]:
        """The rules taught, in the order taught."""
        return [Rule.parse(name) for name in self.taught]

    @property
    def shape(self) -> Request:
        """What any sum must be, whatever it drills."""
        taught = frozenset(self.rules)
        steps = [step for step in self.syllabus.steps if step.adds and taught >= set(step.adds)]
        return shape_of(self.syllabus, steps[-1] if steps else self.syllabus.steps[0], taught)


def settings_from(settings: PracticeSettings | Mapping[str, Any] | None) -> PracticeSettings:
    """Settings from those that were given; the rest is as usual."""
    if settings is None or isinstance(settings, PracticeSettings):
        return settings or PracticeSettings()
    try:
        return msgspec.convert({**asdict(PracticeSettings()), **settings}, PracticeSettings)
    except msgspec.ValidationError as error:
        raise BadInput(f"the settings of a practice: {error}") from None


def rules_taught(syllabus: Syllabus, taught: str | Collection[str | Rule]) -> list[Rule]:
    """The rules of ``taught``, in the syllabus' order and those it does not add at the end."""
    if isinstance(taught, str):
        wanted = syllabus.taught(taught)
    else:
        wanted = frozenset(one if isinstance(one, Rule) else Rule.parse(one) for one in taught)
    order = [rule for step in syllabus.steps for rule in step.adds]
    listed = dict.fromkeys(rule for rule in order if rule in wanted)
    return [*listed, *sorted(wanted - listed.keys())]
