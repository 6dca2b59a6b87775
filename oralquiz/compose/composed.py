"""Composing: so many different sums for a request, and how many such sums there are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from oralquiz.beads import Sum
from oralquiz.compose.draw import draw
from oralquiz.compose.plays import Ints
from oralquiz.compose.request import Request
from oralquiz.compose.table import Table, build_table, plan_for

EXACT_COLUMNS = 3
MAX_CELLS = 50_000_000
"""The exact tables of three columns may keep so many float64 numbers (0.4 GB)."""
MAX_IDLE = 50
"""Where only an estimate is known: after so many draws in a row without a new sum, we stop."""


@dataclass(frozen=True)
class Count:
    """How many sums satisfy a request.

    ``total`` is exact, or None where only ``estimate`` is known; ``error`` is half the 95 %
    confidence interval of the estimate, relative to it (0 when exact).
    """

    total: int | None
    estimate: float
    error: float = 0.0

    @property
    def exact(self) -> bool:
        return self.total is not None

    def __str__(self) -> str:
        if self.total is not None:
            return f"{self.total:,}" if self.total < 10**12 else power_text(self.total)
        return f"about {power_text(self.estimate)} (give or take {self.error:.2%})"


def power_text(number: float) -> str:
    """A large number as 1.23 x 10^n."""
    mantissa, exponent = f"{float(number):.2e}".split("e")
    return f"{mantissa} x 10^{int(exponent)}"


@dataclass(frozen=True)
class Composed:
    """Sums for a request, in the order they were drawn, no two alike.

    Fewer sums than asked for come back only when there are no more.
    """

    request: Request
    seed: int
    sums: tuple[Sum, ...]
    count: Count

    @property
    def total(self) -> int | None:
        """How many sums satisfy the request; None where only an estimate is known."""
        return self.count.total

    @property
    def exact(self) -> bool:
        return self.count.exact


class Source:
    """Where the sums of one request come from: they can be counted and drawn."""

    def __init__(self, request: Request, for_drawing: bool = True) -> None:
        self.request = request
        self._big = None
        self._table: Table | None = None
        if request.columns <= EXACT_COLUMNS:
            plan = plan_for(request)
            fits = plan.cells <= MAX_CELLS
            if fits or request.columns < EXACT_COLUMNS:  # without shares drawing is slow but exact
                self._table = build_table(plan, for_drawing and fits)
        if self._table is None:
            from oralquiz.compose.big_frame import build_big_table

            self._big = build_big_table(request)

    def count(self) -> Count:
        if self._table is not None:
            return Count(self._table.count, float(self._table.count))
        assert self._big is not None
        if self._big.count_with_neighbours == 0:
            return Count(0, 0.0)
        return Count(None, self._big.estimate, self._big.error)

    def draw(self, count: int, rng: np.random.Generator) -> Ints:
        """Sums as an array [count, terms], uniform; fewer where drawn ones had to be dropped."""
        if self._table is not None:
            return draw(self._table, count, rng)
        assert self._big is not None
        from oralquiz.compose.big_frame import draw_with_neighbours, keeps

        terms = draw_with_neighbours(self._big, count, rng)
        return terms[keeps(self.request, terms)]


def count_sums(request: Request) -> Count:
    """How many sums satisfy the request."""
    return Source(request, for_drawing=False).count()


def may_have_sums(request: Request) -> bool:
    """Whether sums exist if terms may repeat and cancel; fast, and False is certain."""
    if request.columns < EXACT_COLUMNS:
        return count_sums(replace(request, repeats=True, cancels=True)).estimate > 0
    from oralquiz.compose.big_frame import build_big_table

    return build_big_table(request).count_with_neighbours > 0


def compose(request: Request, count: int, seed: int) -> Composed:
    """``count`` different sums, drawn uniformly: any set of them is as likely as any other."""
    source = Source(request)
    rng = np.random.Generator(np.random.PCG64(seed))
    counted = source.count()
    wanted = count if counted.total is None else min(count, counted.total)
    if counted.estimate == 0:  # an estimate of nothing: none was found
        wanted = 0
    found: dict[tuple[int, ...], None] = {}
    idle = 0
    while len(found) < wanted and idle < MAX_IDLE:
        before = len(found)
        for terms in source.draw(max(wanted - len(found), 16), rng).tolist():
            if len(found) < wanted:
                found[tuple(terms)] = None
        idle = idle + 1 if len(found) == before and not counted.exact else 0
    return Composed(request, seed, tuple(Sum(terms) for terms in found), counted)
