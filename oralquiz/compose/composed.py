"""Composing: different sums for a request, and how many such sums there are."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from oralquiz.beads import Sum
from oralquiz.compose.exact_table import ExactTable
from oralquiz.compose.request import Request
from oralquiz.compose.sampler import Count, Sampler
from oralquiz.compose.table import build_table, plan_for

EXACT_COLUMNS = 3
MAX_CELLS = 50_000_000
"""The exact tables of three columns may keep this many float64 numbers (0.4 GB)."""
MAX_IDLE = 50
"""Where only an estimate is known, we stop after this many draws in a row without a new sum."""


@dataclass(frozen=True)
class ComposedSums:
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


def sampler_for(request: Request, for_drawing: bool = True) -> Sampler:
    """An exact table where it can be held in memory, else an estimate.

    Without ``for_drawing`` it counts as fast, but draws slowly. Raises BadInput if even the
    estimate's table would be too large.
    """
    if request.columns <= EXACT_COLUMNS:
        plan = plan_for(request)
        fits = plan.cells <= MAX_CELLS
        if fits or request.columns < EXACT_COLUMNS:  # without shares drawing is slow but exact
            return ExactTable(build_table(plan, for_drawing and fits))
    return estimate_for(request)


def estimate_for(request: Request) -> Sampler:
    """An estimate, whatever the frame."""
    from oralquiz.compose.column_table import build_column_table  # imports SciPy
    from oralquiz.compose.estimate import Estimate

    return Estimate(build_column_table(request))


def count_sums(request: Request) -> Count:
    """How many sums satisfy the request."""
    return sampler_for(request, for_drawing=False).count()


def may_have_sums(request: Request) -> bool:
    """Whether sums exist if terms may repeat and cancel; fast, and False is certain."""
    if request.columns < EXACT_COLUMNS:
        return count_sums(replace(request, repeats=True, cancels=True)).estimate > 0
    return not estimate_for(request).exact  # what an estimate knows exactly is that there are none


def compose(request: Request, count: int, seed: int) -> ComposedSums:
    """``count`` different sums, drawn uniformly: any set of them is as likely as any other."""
    sampler = sampler_for(request)
    counted = sampler.count()
    wanted = count if counted.total is None else min(count, counted.total)
    if counted.estimate == 0:  # an estimate of nothing: none was found
        wanted = 0
    rng = np.random.Generator(np.random.PCG64(seed))
    sums = _different(sampler, wanted, rng)
    return ComposedSums(request, seed, tuple(Sum(terms) for terms in sums), counted)


def _different(
    sampler: Sampler, wanted: int, rng: np.random.Generator
) -> tuple[tuple[int, ...], ...]:
    """``wanted`` different sums, or those there are, in the order drawn."""
    found: dict[tuple[int, ...], None] = {}
    idle = 0
    while len(found) < wanted and idle < MAX_IDLE:
        before = len(found)
        for terms in sampler.draw(max(wanted - len(found), 16), rng).tolist():
            if len(found) < wanted:
                found[tuple(terms)] = None
        idle = idle + 1 if len(found) == before and not sampler.exact else 0
    return tuple(found)
