"""The round that a teacher plans, and the rounds made from it: for the sound card, for browsers and
for the demonstration alike."""

from __future__ import annotations

import secrets
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from enum import StrEnum
from types import MappingProxyType
from typing import Protocol

from oralquiz.beads import Sum
from oralquiz.compose import LessonSets, Request, compose_lesson, load_syllabus, request_for
from oralquiz.errors import BadInput, OralquizError
from oralquiz.judge import PRACTICE, TEST
from oralquiz.rounds.round import Options, Round, Turn

Terms = tuple[int, ...]

NO_LIMIT_S = 86_400.0
"""A day: the runner's limit when a pupil may take any time."""


class Way(StrEnum):
    """Where the sums sound and where the answers are heard."""

    FRONT = "front"
    """Pupils in turn at one computer: it reads and listens."""
    OWN = "own"
    """Every tablet reads its own sums and listens."""
    ROOM = "room"
    """The computer at the front reads to everyone, the tablets only listen."""


class TakesPart(Protocol):
    """A pupil, as far as a round needs one."""

    @property
    def name(self) -> str: ...

    @property
    def consent(self) -> bool: ...


class TooFewSums(OralquizError):
    """There are fewer different sums than are wanted."""


@dataclass(frozen=True)
class RoundPlan:
    """The round to hold: ``count`` sums of the step for each pupil (``terms`` 0: the
    usual number of terms)."""

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


@dataclass(frozen=True)
class PlannedSums:
    """Sums for a plan, and how many such sums there are (None: not counted)."""

    sums: tuple[Sum, ...]
    total: int | None
    columns: int


def sums_for(
    plan: RoundPlan, count: int, seed: int | None = None, *, repeat: bool = True
) -> PlannedSums:
    """A set of ``count`` sums; when fewer exist, they are repeated. Raises BadInput when there is
    none, and without ``repeat`` TooFewSums when one would have to be repeated."""
    request, made = _compose(plan, count, [()], seed, repeat=repeat)
    return PlannedSums(made.sets[0], made.total, request.columns)


def _compose(
    plan: RoundPlan,
    count: int,
    avoid: Sequence[Collection[Terms]],
    seed: int | None,
    *,
    repeat: bool,
) -> tuple[Request, LessonSets]:
    request = request_for(load_syllabus(plan.course), plan.step, terms=plan.terms or None)
    seed = secrets.randbelow(2**31) if seed is None else seed
    made = compose_lesson(request, count, seed, avoid)
    if not made.different and not repeat:
        there, wanted = len({one for its in made.sets for one in its}), count * len(avoid)
        raise TooFewSums(
            f"{plan.step} has only {there} such sums and {wanted} are wanted: "
            f"see `oralquiz compose --step {plan.step}` for what prevents more"
        )
    if not all(made.sets):
        raise BadInput(f"there is no sum of {plan.terms} terms for {plan.step}")
    return request, made


def plan_rounds(
    plan: RoundPlan,
    pupils: Sequence[TakesPart],
    seed: int | None = None,
    *,
    name: str = "",
    repeat: bool = True,
    place: str = "",
    lately: Mapping[str, Collection[Terms]] = MappingProxyType({}),
) -> list[Round]:
    """One round for each device: one for the front, else one for each pupil in the order given.

    ``name`` is what they are called, by default the step's title; ``place`` where they are held;
    ``lately`` has the sums that each pupil was given lately, by name: they do not come again where
    there are others. Raises as ``sums_for``.
    """
    avoid: list[Collection[Terms]] = [lately.get(pupil.name, ()) for pupil in pupils]
    if plan.way is Way.ROOM:
        together = frozenset(terms for its in avoid for terms in its)
        request, made = _compose(plan, plan.count, [together], seed, repeat=repeat)
        sets = made.sets * len(pupils)
    else:
        request, made = _compose(plan, plan.count, avoid, seed, repeat=repeat)
        sets = made.sets
    turns = [
        [Turn(pupil.name, terms, pupil.consent) for terms in its]
        for pupil, its in zip(pupils, sets, strict=True)
    ]
    title = name or load_syllabus(plan.course).step(plan.step).title
    created = datetime.now(UTC).isoformat(timespec="seconds")
    empty = Round(title, created, (), plan.step, plan.step, request.columns, place=place)
    if plan.way is Way.FRONT:  # one sum each, then the next for each
        in_turn = tuple(turn for each in zip(*turns, strict=True) for turn in each)
        return [replace(empty, turns=in_turn)]
    return [replace(empty, turns=tuple(theirs)) for theirs in turns]
