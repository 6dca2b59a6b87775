"""The sums of a practice set: each drills its rule, no answer comes twice, none was had lately.

They are taken from composed sets, which are spread evenly over hands and digits.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache

from numpy.random import Generator

from oralquiz.beads import Rule, Step, Sum, Syllabus
from oralquiz.compose import Drill, Request, compose_set, difficulty_of
from oralquiz.errors import BadInput

POOL = 60
POOLS = 4
"""So many composed sets of POOL sums are looked through before a sum that was had comes again."""

Terms = tuple[int, ...]


def sums_drilling(
    rules: Sequence[Rule],
    lengths: Sequence[int],
    shape: Request,
    recent: Collection[Terms],
    rng: Generator,
) -> list[Sum]:
    """A sum for each of ``rules``, of the first of ``lengths`` that has such a sum.

    It uses its rule twice where that exists, else once. ``shape``: the frame, the digits and the
    rules that are allowed. Raises BadInput, naming a rule that no sum can drill.
    """
    had, answers = set(recent), set[int]()
    found = []
    for rule in rules:
        terms = _draw(rule, lengths, shape, had, answers, rng)
        had.add(terms)
        answers.add(sum(terms))
        found.append(Sum(terms))
    return found


def can_be_drilled(rule: Rule, lengths: Sequence[int], shape: Request) -> bool:
    return any(_pool(request, 0) for request in _requests(rule, lengths, shape))


def shape_of(syllabus: Syllabus, step: Step, taught: frozenset[Rule]) -> Request:
    """The frame and the digits of ``step``, with every rule that is ``taught``."""
    columns = step.columns or syllabus.columns
    digits = step.digits or (min(2, columns), min(2, columns))
    return Request(columns=columns, digits=digits, allowed=taught)


def points(terms: Sum, columns: int) -> int:
    return difficulty_of(terms.terms, columns).points


def _draw(
    rule: Rule,
    lengths: Sequence[int],
    shape: Request,
    had: Collection[Terms],
    answers: Collection[int],
    rng: Generator,
) -> Terms:
    """What was not had and has a new answer; else what was not had; else any."""
    last: tuple[Terms, ...] = ()
    for request in _requests(rule, lengths, shape):
        for number in range(POOLS):
            pool = _pool(request, number)
            last = last or pool
            new = [terms for terms in pool if terms not in had and sum(terms) not in answers]
            if new:
                return new[rng.integers(len(new))]
            if len(pool) < POOL:  # these are all there are
                break
    if not last:
        raise BadInput(f"no sum of {min(lengths)} to {max(lengths)} terms can drill {rule}")
    return last[rng.integers(len(last))]


def _requests(rule: Rule, lengths: Sequence[int], shape: Request) -> list[Request]:
    return [
        Request(
            columns=shape.columns,
            terms=terms,
            digits=shape.digits,
            allowed=shape.allowed,
            drills=(Drill(frozenset({rule}), uses),),
        )
        for uses in (2, 1)
        for terms in lengths
    ]


@lru_cache(maxsize=512)
def _pool(request: Request, number: int) -> tuple[Terms, ...]:
    composed = compose_set([request], POOL, seed=number)
    return tuple(one.terms for one in composed.sums)
