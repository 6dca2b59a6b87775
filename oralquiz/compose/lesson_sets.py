"""The sets of a lesson: one for each pupil, or one for all, none like another.

In each set the drilled rule comes at least twice a sum where there are such sums, no answer comes
twice, nothing that its pupil was given lately, and it goes from easier to harder. What cannot be
had gives way, in this order: twice a sum, no answer twice, nothing had lately, no sum twice.
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
"""So many more than are needed are composed: some were had lately, some answers come again."""
EVEN = 240
"""So many are spread evenly over hands and digits; the sums of a larger class are drawn."""

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
    """Sets of ``count`` sums, one for each of ``avoid``: what its pupil was given lately.

    Fewer come back only where there is no such sum at all. The same seed gives the same sets.
    """
    needed = count * len(avoid)
    wanted = needed + SPARE + max(map(len, avoid), default=0)
    every = compose(request, wanted, seed)
    twice = _twice(request, wanted, seed)
    Random(seed).shuffle(twice)  # they come from easier to harder: every set is to have both
    pool = list(dict.fromkeys([*twice, *(one.terms for one in every.sums)]))
    used: set[Terms] = set()
    sets = [_set(pool, count, lately, used) for lately in avoid]
    return LessonSets(
        tuple(_graded(one, request.columns) for one in sets),
        every.total,
        len(used) == sum(map(len, sets)),
    )


def _twice(request: Request, count: int, seed: int) -> list[Terms]:
    """Sums that use each drilled rule at least twice; none where there is nothing to drill."""
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
    """``count`` sums of ``pool``, those at its front first, which are then ``used``."""
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
