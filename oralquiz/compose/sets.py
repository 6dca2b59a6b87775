"""A set of sums for a lesson: spread evenly over hands and digits, varied, from easier to harder.

Sums are drawn uniformly into a pool and taken from it one by one: always the one that uses the
drilled rule in the places where the set has drilled it least, and whose answer is new. If the pool
misses a place that some sum could drill, sums for just that place are drawn too.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from oralquiz.beads import DIRECT, Rule, Sum
from oralquiz.compose.composed import EXACT_COLUMNS, sampler_for
from oralquiz.compose.difficulty import Difficulty, difficulty_of
from oralquiz.compose.plays import RULE_INDEX, Bools, Ints, cells_of, column_moves
from oralquiz.compose.request import Drill, Request
from oralquiz.compose.sampler import Count, Sampler
from oralquiz.errors import BadInput

POOL_PER_SUM = 40
SMALLEST_POOL = 600
LARGEST_SET = 1_000
SAME_ANSWER = 0.5
"""An answer that the set already has counts like half a use too many in one place."""


@dataclass(frozen=True, order=True)
class DrillPlace:
    """Where a rule is drilled: the column, and the digit it shows before the move.

    Direct moves are told apart by the signed digit they take instead.
    """

    rule: Rule
    column: int
    digit: int

    @property
    def drill(self) -> Drill:
        if self.rule == DIRECT:
            return Drill(frozenset({DIRECT}), 1, self.column, digit=self.digit)
        return Drill(frozenset({self.rule}), 1, self.column, shown=self.digit)


@dataclass(frozen=True)
class SumSet:
    """Sums from easier to harder, each with its difficulty, and how often each place is drilled.

    ``requests``: one for each length of sums, with the ``counts`` of all the sums there are.
    """

    requests: tuple[Request, ...]
    counts: tuple[Count, ...]
    sums: tuple[Sum, ...]
    difficulties: tuple[Difficulty, ...]
    coverage: dict[DrillPlace, int]

    @property
    def columns(self) -> int:
        return self.requests[0].columns


def places_of(request: Request) -> list[DrillPlace]:
    """Every place in which a rule of the request's drills can be used on the frame."""
    moves = column_moves()
    drilled = sorted({rule for drill in request.drills for rule in drill.rules})
    return [
        DrillPlace(rule, column, int(digit))
        for rule in drilled
        for column in range(request.columns)
        for digit in np.unique(
            (moves.digit if rule == DIRECT else moves.shown)[moves.rule == RULE_INDEX[rule]]
        )
    ]


def compose_set(
    requests: Sequence[Request],
    count: int,
    seed: int,
    avoid: Collection[tuple[int, ...]] = frozenset(),
    *,
    every_place: bool = True,
) -> SumSet:
    """A graded set of ``count`` sums, spread evenly over the requests (one for each length).

    No sum is in ``avoid`` (what a pupil was given lately), and none comes twice. Fewer come back
    only where there are no more. All requests have the same frame and drills. Without
    ``every_place``, places that sums hardly ever drill are not looked for: much quicker.
    """
    if not requests:
        raise BadInput("a set needs at least one request")
    if count > LARGEST_SET:
        raise BadInput(f"a graded set has at most {LARGEST_SET:,} sums, not {count:,}")
    rng = np.random.Generator(np.random.PCG64(seed))
    counter = _PlaceCounter(places_of(requests[0]), requests[0].columns)
    pools: list[list[tuple[int, ...]]] = []
    counts: list[Count] = []
    for request in requests:
        sampler = sampler_for(request)
        counts.append(sampler.count())
        size = max(POOL_PER_SUM * count // len(requests), SMALLEST_POOL)
        pool = _draw_pool(sampler, counts[-1], size, rng)
        if every_place:
            pool += _missing_places(request, pool, counter, rng)
        pools.append([terms for terms in dict.fromkeys(pool) if terms not in avoid])
    chosen = _choose(pools, count, counter)
    difficulties = {terms: difficulty_of(terms, requests[0].columns) for terms in chosen}
    graded = sorted(chosen, key=lambda terms: difficulties[terms].points)
    uses = counter.uses(graded).sum(axis=0)
    return SumSet(
        requests=tuple(requests),
        counts=tuple(counts),
        sums=tuple(Sum(terms) for terms in graded),
        difficulties=tuple(difficulties[terms] for terms in graded),
        coverage={place: int(n) for place, n in zip(counter.places, uses, strict=True) if n},
    )


def _draw_pool(
    sampler: Sampler, count: Count, size: int, rng: np.random.Generator
) -> list[tuple[int, ...]]:
    if count.estimate == 0:
        return []
    return [tuple(terms) for terms in sampler.draw(size, rng).tolist()]


def _missing_places(
    request: Request,
    pool: Sequence[tuple[int, ...]],
    counter: _PlaceCounter,
    rng: np.random.Generator,
) -> list[tuple[int, ...]]:
    """Sums for the places the pool does not drill, where there are such sums."""
    if not pool or request.columns >= EXACT_COLUMNS:
        return []
    seen = counter.uses(pool).sum(axis=0) > 0
    more: list[tuple[int, ...]] = []
    for place in (
        place for place, is_seen in zip(counter.places, seen, strict=True) if not is_seen
    ):
        sampler = sampler_for(replace(request, drills=(*request.drills, place.drill)))
        more += _draw_pool(sampler, sampler.count(), SMALLEST_POOL // 10, rng)
    return more


class _PlaceCounter:
    """Counts in which places sums use the drilled rules."""

    def __init__(self, places: Sequence[DrillPlace], columns: int) -> None:
        self.places = list(places)
        self.columns = columns
        moves = column_moves()
        self._place_of = np.full((columns, len(moves.rule)), len(places))
        for at, place in enumerate(places):
            digits = moves.digit if place.rule == DIRECT else moves.shown
            cells = (moves.rule == RULE_INDEX[place.rule]) & (digits == place.digit)
            self._place_of[place.column, cells] = at

    def uses(self, sums: Sequence[tuple[int, ...]]) -> Ints:
        """How often each sum uses each place, [sums, places]."""
        uses = np.zeros((len(sums), len(self.places) + 1), dtype=np.int64)
        by_length: dict[int, list[int]] = {}
        for at, terms in enumerate(sums):
            by_length.setdefault(len(terms), []).append(at)
        for rows in by_length.values():
            chains: Ints = np.array([sums[at] for at in rows], dtype=np.int64)
            before: Ints = np.cumsum(chains, axis=1) - chains
            for index, cells in enumerate(cells_of(before, chains, self.columns)):
                np.add.at(uses, (np.array(rows)[:, None], self._place_of[index // 2][cells]), 1)
        return uses[:, :-1]


def _choose(
    pools: Sequence[Sequence[tuple[int, ...]]], count: int, counter: _PlaceCounter
) -> list[tuple[int, ...]]:
    """Take sums from the pools in turn, each time the one that evens out the set most."""
    uses = [counter.uses(pool).astype(np.float64) for pool in pools]
    answers = [np.array([sum(terms) for terms in pool], dtype=np.int64) for pool in pools]
    free = [np.ones(len(pool), dtype=bool) for pool in pools]
    again = [np.zeros(len(pool)) for pool in pools]  # sums of the set with the same answer
    drilled = np.zeros(len(counter.places))
    chosen: list[tuple[int, ...]] = []
    for at in _turns(count, free):
        cost = uses[at] @ drilled / np.maximum(uses[at].sum(axis=1), 1) + SAME_ANSWER * again[at]
        best = int(np.argmin(np.where(free[at], cost, np.inf)))
        free[at][best] = False
        drilled += uses[at][best]
        for pool, already in zip(answers, again, strict=True):
            already += pool == answers[at][best]
        chosen.append(pools[at][best])
    return chosen


def _turns(count: int, free: Sequence[Bools]) -> Iterator[int]:
    """Which pool is next, in turn, as long as one has a sum left."""
    at = 0
    for _ in range(count):
        for _ in range(len(free)):
            if free[at].any():
                break
            at = (at + 1) % len(free)
        else:
            return
        yield at
        at = (at + 1) % len(free)
