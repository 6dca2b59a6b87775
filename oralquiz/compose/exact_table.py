"""Sums from an exact table: counted exactly, and drawn uniformly without rejecting any.

A term is chosen by a random real u in [0, 1): the play whose range of exact counts contains u
times their sum. Floating-point shares decide when u is clearly inside a range; within the shares'
slack of an end, the exact integers decide, with more random bits if need be. So each sum has
exactly the same chance, and a seed gives the same sums on every machine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from oralquiz.compose.plays import Bools, Ints
from oralquiz.compose.sampler import Count
from oralquiz.compose.table import Floats, Table

_UNIT_BITS = 53  # numpy's random() is a whole number over 2**53


@dataclass(frozen=True)
class ExactTable:
    """A Sampler of the sums that ``table`` counts."""

    table: Table

    @property
    def exact(self) -> bool:
        return True

    def count(self) -> Count:
        return Count(self.table.total, float(self.table.total))

    def draw(self, count: int, rng: np.random.Generator) -> Ints:
        """``count`` sums, [count, terms]. Raises ValueError if there are none."""
        table, plan = self.table, self.table.plan
        if table.total == 0:
            raise ValueError("there is no such sum to draw")
        more_bits = rng.spawn(1)[0]
        terms = np.empty((count, plan.request.terms), dtype=np.int64)
        tally = np.zeros(count, dtype=np.int64)
        total = np.full(count, -plan.request.lowest)
        before: Ints | None = None
        for place in range(plan.request.terms):
            play = _next_plays(table, place, tally, total, before, rng.random(count), more_bits)
            terms[:, place] = plan.plays.term[play]
            tally = plan.tallies.follow[place][tally, plan.class_of[play]]
            total = plan.plays.after[play]
            before = play
        return terms


def _next_plays(
    table: Table,
    place: int,
    tally: Ints,
    total: Ints,
    before: Ints | None,
    unit: Floats,
    more_bits: np.random.Generator,
) -> Ints:
    """The play that each ``unit`` falls on: by floats where they are certain, else exactly."""
    if table.shares:
        play, clear = _choose(table, place, tally, total, before, unit)
    else:
        play, clear = np.zeros(len(unit), dtype=np.int64), np.zeros(len(unit), dtype=bool)
    for at in np.flatnonzero(~clear):
        previous = None if before is None else int(before[at])
        play[at] = _choose_exactly(
            table, place, int(tally[at]), int(total[at]), previous, unit[at], more_bits
        )
    return play


def _choose(
    table: Table, place: int, tally: Ints, total: Ints, before: Ints | None, unit: Floats
) -> tuple[Ints, Bools]:
    """The play each ``unit`` falls on, and whether that is beyond doubt."""
    shares = table.shares[place].reshape(-1)
    by_total = table.by_total
    row = tally * len(table.plan.plays)
    base = by_total.rank.take(total) + len(by_total.present) * tally
    first = row + by_total.starts.take(by_total.rank.take(total))

    def ends(at: Ints) -> tuple[Floats, Floats]:
        low = np.where(at == first, 0.0, shares.take(at - 1, mode="wrap") - base)
        return low, shares.take(at) - base

    point = unit
    if before is not None:
        out: list[tuple[Floats, Floats]] = []
        for barred, others in (
            (not table.plan.request.repeats, table.plan.plays.again),
            (not table.plan.request.cancels, table.plan.plays.back),
        ):
            other = others.take(before)
            is_none = (other == len(table.plan.plays)) if barred else np.full(len(other), True)
            low, high = ends(
                np.where(is_none, first, row + by_total.place.take(other, mode="clip"))
            )
            out.append((np.where(is_none, np.inf, low), np.where(is_none, 0.0, high - low)))
        (low_a, size_a), (low_b, size_b) = out
        point = unit * (1.0 - size_a - size_b)
        swap = low_b < low_a
        low_1, size_1 = np.where(swap, low_b, low_a), np.where(swap, size_b, size_a)
        low_2, size_2 = np.where(swap, low_a, low_b), np.where(swap, size_a, size_b)
        point = point + np.where(point >= low_1, size_1, 0.0)
        point = point + np.where(point >= low_2, size_2, 0.0)
    at = np.searchsorted(shares, base + point, side="right").clip(max=len(shares) - 1)
    low, high = ends(at)
    doubt = 16 * table.slack  # the point adds up the ends of two barred plays
    clear = (point - low > doubt) & (high - point > doubt)
    return by_total.order.take(at - row), clear


def _choose_exactly(
    table: Table,
    place: int,
    tally: int,
    total: int,
    before: int | None,
    unit: float,
    rng: np.random.Generator,
) -> int:
    """The play ``unit`` falls on, by exact integers; ``rng`` gives the bits beyond its 53."""
    by_total = table.by_total
    start, end = by_total.starts[by_total.rank[total] :][:2]
    barred = set() if before is None else table.barred_after(before)
    plays = [int(play) for play in by_total.order[start:end] if play not in barred]
    ends: list[int] = []
    for play in plays:
        ends.append((ends[-1] if ends else 0) + table.ways_through(place, tally, play))
    number, bits = int(unit * 2**_UNIT_BITS), _UNIT_BITS
    while True:
        # u lies in [number, number + 1) / 2**bits
        low = (number * ends[-1]) >> bits
        high = ((number + 1) * ends[-1] - 1) >> bits
        index = next(at for at, end_ in enumerate(ends) if low < end_)
        if high < ends[index]:
            return plays[index]
        number = (number << 32) + int(rng.integers(1 << 32))
        bits += 32
