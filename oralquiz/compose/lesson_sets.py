"""The sets of sums for a lesson: a different one for each pupil, or one for everybody.

Each sum of a set uses the drilled rule at least twice; no answer repeats, no sum is one that the
pupil had lately, and no sum is in two sets. Where there are too few such sums, these demands are
dropped in that order. A set goes from easier to harder.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from random import Random

from oralquiz.beads import Sum
from oralquiz.compose.composed import compose
from oralquiz.compose.difficulty import difficulty_of
from oralquiz.compose.request import Request
from oralquiz.compose.sets import compose_set

SPARE = 30
"""How many sums more than needed are composed, since some were given lately and some answers
repeat."""
EVEN = 240
"""At most this many are spread evenly over hands and digits; for a large class the rest are drawn
at random."""

Terms = tuple[int, ...]


@dataclass(frozen=True)
class LessonSets:
    """The sets in order, each from easier to harder, and how many such sums there are (None: not
    counted). ``different``: no sum is in two sets, and none twice in one."""

    sets: tuple[tuple[Sum, ...], ...]
    total: int | None
    different: bool


def compose_lesson(
    request: Request, count: int, seed: int, avoid: Sequence[Collection[Terms]] = ((),)
) -> LessonSets:
    """Sets of ``count`` sums, one for each item of ``avoid``, the sums that a pupil had lately.

    A set is empty where there is no such sum at all. The same seed gives the same sets.
    """
    needed = count * len(avoid)
    wanted = needed + SPARE + max(map(len, avoid), default=0)
    every = compose(request, wanted, seed)
    twice = _twice(request, wanted, seed)
    Random(seed).shuffle(twice)  # they come in order of difficulty, and each set needs a mixture
    pool = list(dict.fromkeys([*twice, *(one.terms for one in every.sums)]))
    used: set[Terms] = set()
    sets = [_set(pool, count, lately, used) for lately in avoid]
    return LessonSets(
        tuple(_graded(one, request.columns) for one in sets),
        every.total,
        len(used) == sum(map(len, sets)),
    )


def _twice(request: Request, count: int, seed: int) -> list[Terms]:
    """Sums that use each drilled rule at least twice; none if no rule is drilled."""
    if not request.drills:
        return []
    drills = tuple(replace(drill, uses=max(2, drill.uses)) for drill in request.drills)
    twice = replace(request, drills=drills)
    even = compose_set([twice], min(count, EVEN), seed, every_place=False).sums
    drawn = compose(twice, count - len(even), seed).sums if len(even) == EVEN < count else ()
    return [one.terms for one in (*even, *drawn)]


def _set(
    pool: Sequence[Terms], count: int, lately: Collection[Terms], used: set[Terms]
) -> list[Terms]:
    """The first ``count`` sums of ``pool`` that fit; they are added to ``used``."""
    chosen: list[Terms] = []
    answers: set[int] = set()

    def take(fits: Callable[[Terms], bool]) -> None:
        for terms in pool:
            if len(chosen) == count:
                return
            if fits(terms):
                chosen.append(terms)
                answers.add(sum(terms))
                used.add(terms)

    take(lambda terms: terms not in used and terms not in lately and sum(terms) not in answers)
    take(lambda terms: terms not in used and terms not in lately)
    take(lambda terms: terms not in used)
    while pool and len(chosen) < count:
        take(lambda terms: True)
    return chosen


def _graded(chosen: Sequence[Terms], columns: int) -> tuple[Sum, ...]:
    graded = sorted(chosen, key=lambda terms: difficulty_of(terms, columns).points)
    return tuple(Sum(terms) for terms in graded)
