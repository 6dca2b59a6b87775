"""Composing: so many different sums for a request, and how many such sums there are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from oralquiz.beads import Sum
from oralquiz.compose.draw import draw
from oralquiz.compose.request import Request
from oralquiz.compose.table import build_table


@dataclass(frozen=True)
class Composed:
    """Sums for a request, in the order they were drawn, no two alike.

    ``total``: how many sums satisfy the request, exactly; fewer sums than asked for come back
    only when there are no more.
    """

    request: Request
    seed: int
    sums: tuple[Sum, ...]
    total: int

    @property
    def exact(self) -> bool:
        return True


def compose(request: Request, count: int, seed: int) -> Composed:
    """``count`` different sums, drawn uniformly: any set of them is as likely as any other."""
    table = build_table(request)
    rng = np.random.default_rng(seed)
    wanted = min(count, table.count)
    found: dict[tuple[int, ...], None] = {}
    while len(found) < wanted:
        for terms in draw(table, max(wanted - len(found), 16), rng).tolist():
            if len(found) < wanted:
                found[tuple(terms)] = None
    return Composed(request, seed, tuple(Sum(terms) for terms in found), table.count)
