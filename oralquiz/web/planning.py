"""What a teacher asks for on the start page, and the rounds that it makes."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum

from oralquiz.beads import Sum, Syllabus
from oralquiz.compose import compose, load_syllabus, request_for
from oralquiz.errors import BadInput
from oralquiz.judge import PRACTICE, TEST
from oralquiz.records import Pupil
from oralquiz.rounds import Options, Round, Turn

MAX_SUMS = 40
MAX_TERMS = 15
PACES = (0.8, 6.0)
"""Seconds from onset to onset that a page offers."""

NO_LIMIT_S = 86_400.0
"""A day: the runner's limit when a pupil may take any time."""


class Way(StrEnum):
    """Where the sums sound and where the answers are heard."""

    FRONT = "front"
    """Pupils in turn at the computer at the front: it reads and listens."""
    OWN = "own"
    """Every tablet reads its own sums and listens."""
    ROOM = "room"
    """The computer at the front reads to everyone, the tablets only listen."""


@dataclass(frozen=True)
class RoundPlan:
    """The round to hold: ``count`` sums of the step for each pupil."""

    step: str
    way: Way = Way.OWN
    count: int = 8
    terms: int = 5
    pace_s: float = 2.5
    voice: str = ""
    answer_within_s: float = 8.0
    strict: bool = False
    course: str = "two-hands"

    def options(self, stretch: int = 1) -> Options:
        """How the round is run; ``stretch`` multiplies the time for an answer, 0: no limit."""
        limit = NO_LIMIT_S if stretch == 0 else self.answer_within_s * stretch
        return Options(
            pace_s=self.pace_s,
            answer_within_s=limit,
            policy=TEST if self.strict else PRACTICE,
        )


STRETCHES = (1, 2, 5, 10, 0)
"""How many times longer a pupil may take for an answer (WCAG 2.2.1: tenfold, or no limit: 0)."""


def read_plan(form: Mapping[str, object], syllabus: Syllabus) -> RoundPlan:
    """A plan from a page's form. Raises BadInput naming the field."""
    step = str(form.get("step", ""))
    syllabus.step(step)
    way = str(form.get("way", Way.OWN))
    if way not in [w.value for w in Way]:
        raise BadInput(f"there is no way '{way[:20]}' to hold a round")
    return RoundPlan(
        step,
        Way(way),
        int(_number(form, "count", 8, 1, MAX_SUMS)),
        int(_number(form, "terms", 5, 2, MAX_TERMS)),
        _number(form, "pace", 2.5, *PACES),
        str(form.get("voice", ""))[:80],
        _number(form, "within", 8.0, 3, 60),
        form.get("strict") == "on",
    )


def _number(form: Mapping[str, object], name: str, usual: float, low: float, high: float) -> float:
    raw = str(form.get(name, "")).strip() or str(usual)
    try:
        value = float(raw)
    except ValueError:
        raise BadInput(f"{name}: '{raw[:12]}' is not a number") from None
    if not low <= value <= high:
        raise BadInput(f"{name}: {value:g} is not between {low:g} and {high:g}")
    return value


@dataclass(frozen=True)
class PlannedSums:
    """Sums for a plan, and how many such sums there are (None: not counted)."""

    sums: tuple[Sum, ...]
    total: int | None
    columns: int


def sums_for(plan: RoundPlan, count: int, seed: int | None = None) -> PlannedSums:
    """``count`` sums; when fewer exist, they come again in another order. Raises BadInput."""
    syllabus = load_syllabus(plan.course)
    request = request_for(syllabus, plan.step, terms=plan.terms)
    seed = secrets.randbelow(2**31) if seed is None else seed
    made = compose(request, count, seed)
    if not made.sums:
        raise BadInput(f"there is no sum of {plan.terms} terms for {plan.step}")
    sums = list(made.sums)
    while len(sums) < count:
        sums += made.sums
    return PlannedSums(tuple(sums[:count]), made.total, request.columns)


def rounds_for(plan: RoundPlan, pupils: Sequence[Pupil], seed: int | None = None) -> list[Round]:
    """One round per device: one for the front, else one for each pupil in the order given."""
    title = load_syllabus(plan.course).step(plan.step).title
    same = plan.way is Way.ROOM
    composed = sums_for(plan, plan.count if same else plan.count * len(pupils), seed)
    created = datetime.now(UTC).isoformat(timespec="seconds")
    turns = [
        [Turn(pupil.name, terms, pupil.consent) for terms in _share(composed.sums, k, same, pupils)]
        for k, pupil in enumerate(pupils)
    ]
    empty = Round(title, created, (), plan.step, plan.step, composed.columns)
    if plan.way is Way.FRONT:  # one sum each, then the next for each
        mixed = tuple(turn for each in zip(*turns, strict=True) for turn in each)
        return [replace(empty, turns=mixed)]
    return [replace(empty, turns=tuple(mine)) for mine in turns]


def _share(sums: tuple[Sum, ...], k: int, same: bool, pupils: Sequence[Pupil]) -> tuple[Sum, ...]:
    return sums if same else sums[k :: len(pupils)]
