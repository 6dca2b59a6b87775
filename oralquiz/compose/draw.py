"""Drawing sums uniformly from a table: no rejection, and exactly uniform.

A term is chosen by a random real u in [0, 1): the play whose range of exact counts holds u times
their sum. Floating-point shares decide when u is clearly inside a range; within the shares' slack
of an end, the exact integers decide, with more random bits if need be. So each sum has exactly
the same chance, and a seed gives the same sums on every machine.
"""

from __future__ import annotations

import numpy as np

from oralquiz.compose.plays import Ints
from oralquiz.compose.table import Floats, Table

_UNIT_BITS = 53  # numpy's random() is a whole number over 2**53


def draw(table: Table, count: int, rng: np.random.Generator) -> Ints:
    """``count`` sums as an array [count, terms], each uniform among all that satisfy the request.

    Raises ValueError if there are none.
    """
    if table.count == 0:
        raise ValueError("there is no such sum to draw")
    more_bits = rng.spawn(1)[0]
    terms = np.empty((count, table.request.terms), dtype=np.int64)
    tally = np.zeros(count, dtype=np.int64)
    total = np.full(count, -table.request.lowest)
    before: Ints | None = None
    for place in range(table.request.terms):
        unit = rng.random(count)
        play, clear = _choose(table, place, tally, total, before, unit)
        for at in np.flatnonzero(~clear):
            previous = None if before is None else int(before[at])
            play[at] = _choose_exactly(
                table, place, int(tally[at]), int(total[at]), previous, unit[at], more_bits
            )
        terms[:, place] = table.plays.term[play]
        tally = table.tallies.follow[place][tally, table.tallies.class_of[play]]
        total = table.plays.after[play]
        before = play
    return terms


def _choose(
    table: Table, place: int, tally: Ints, total: Ints, before: Ints | None, unit: Floats
) -> tuple[Ints, np.ndarray[tuple[int, ...], np.dtype[np.bool_]]]:
    """The play each ``unit`` falls on, and whether that is beyond doubt."""
    shares = table.shares[place].reshape(-1)
    plays = len(table.plays)
    base = table.rank[total] + (len(table.starts) - 1) * tally
    first = tally * plays + table.starts[table.rank[total]]

    def span(at: Ints) -> tuple[Floats, Floats]:
        low = np.where(at == first, 0.0, shares[at - 1] - base)
        return low, shares[at] - base

    point = unit
    if before is not None:
        out: list[tuple[Floats, Floats]] = []
        for other in (table.neighbours.again[before], table.neighbours.back[before]):
            is_none = other == plays
            low, high = span(np.where(is_none, first, tally * plays + other))
            out.append((np.where(is_none, np.inf, low), np.where(is_none, 0.0, high - low)))
        (low_a, size_a), (low_b, size_b) = out
        point = unit * (1.0 - size_a - size_b)
        swap = low_b < low_a
        low_1, size_1 = np.where(swap, low_b, low_a), np.where(swap, size_b, size_a)
        low_2, size_2 = np.where(swap, low_a, low_b), np.where(swap, size_a, size_b)
        point = point + np.where(point >= low_1, size_1, 0.0)
        point = point + np.where(point >= low_2, size_2, 0.0)
    at = np.searchsorted(shares, base + point, side="right").clip(max=len(shares) - 1)
    low, high = span(at)
    clear = (point - low > 4 * table.slack) & (high - point > 4 * table.slack)
    return at - tally * plays, clear


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
    start, end = (int(n) for n in table.starts[table.rank[total] : table.rank[total] + 2])
    barred: set[int] = set()
    if before is not None:
        barred = {int(table.neighbours.again[before]), int(table.neighbours.back[before])}
    plays = [play for play in range(start, end) if play not in barred]
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
