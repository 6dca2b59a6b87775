"""Every way to play one term on a frame, as arrays: from which total, to which, by which rules.

The arithmetic is the bead frame's own: `play_term` is asked once for each digit a column shows
and each digit it takes (180 moves), and those moves are put together column by column. A column
first plays the term's own digit and later, at most once, the carry from its right; which moves
these are depends on nothing but the digit it shows, the digit it takes and whether a carry comes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from oralquiz.beads import ALL_RULES, Rule, play_term
from oralquiz.beads.columns import top
from oralquiz.compose.request import Drill, Request

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RULE_INDEX = {rule: index for index, rule in enumerate(ALL_RULES)}
NO_RULE = len(ALL_RULES)  # stands for "this column does not move"


@dataclass(frozen=True)
class ColumnMoves:
    """What one column does, by [digit shown, signed digit + 9]: rule, digit after, carry out."""

    rule: Ints
    after: Ints
    carries: Ints


@cache
def column_moves() -> ColumnMoves:
    rule = np.full((10, 19), NO_RULE)
    after = np.tile(np.arange(10)[:, None], (1, 19))
    carries = np.zeros((10, 19), dtype=np.int64)
    for shown in range(10):
        for digit in (*range(-9, 0), *range(1, 10)):
            # the next column shows 5, so that it takes a carry or a borrow without a cascade
            played = play_term(50 + shown, digit)
            own = next(move for move in played.moves if move.column == 0)
            rule[shown, digit + 9] = RULE_INDEX[own.rule]
            after[shown, digit + 9] = played.after % 10
            carries[shown, digit + 9] = len(played.moves) - 1
    return ColumnMoves(rule, after, carries)


@dataclass(frozen=True)
class Plays:
    """Every allowed (running total, term), sorted by total, then term.

    ``before`` and ``after`` are indices of running totals (total minus the lowest total).
    ``uses[d]`` is how many moves count for the request's drill ``d``.
    """

    before: Ints
    term: Ints
    after: Ints
    digits: Ints
    uses: tuple[Ints, ...]

    def __len__(self) -> int:
        return len(self.term)


def terms_of(request: Request) -> Ints:
    """Every term the request's digits and frame allow, ascending."""
    low, high = request.digits
    sizes = np.arange(10 ** (low - 1), 10 ** min(high, request.columns))
    return np.concatenate([-sizes[::-1], sizes])


def plays_for(request: Request) -> Plays:
    """Every play that keeps to the frame and the allowed rules, from totals a sum can reach."""
    totals = np.arange(request.lowest, request.highest + 1)
    terms = terms_of(request)
    before, term = np.nonzero(
        (totals[:, None] + terms >= request.lowest) & (totals[:, None] + terms <= request.highest)
    )
    total, term = totals[before], terms[term]
    rules, shown = moves_of(total, term, request.columns)

    is_allowed = np.array([rule in request.allowed for rule in ALL_RULES] + [True])
    keep = is_allowed[rules].all(axis=0)
    total, term, rules, shown = total[keep], term[keep], rules[:, keep], shown[:, keep]
    before = total - request.lowest
    after = before + term
    reached = _reachable(before, after, -request.lowest, len(totals), request.terms)
    keep = reached[before]
    return Plays(
        before=before[keep],
        term=term[keep],
        after=after[keep],
        digits=np.floor(np.log10(np.abs(term[keep]))).astype(np.int64) + 1,
        uses=tuple(uses_of(drill, rules[:, keep], shown[:, keep]) for drill in request.drills),
    )


def moves_of(total: Ints, term: Ints, columns: int) -> tuple[Ints, Ints]:
    """The moves of each play: rule indices and digits shown before, both [2 * columns, plays].

    Row 2c is column c's move for the term's own digit, row 2c + 1 its move for a carry.
    A negative total is shown as 10^columns + total.
    """
    table = column_moves()
    sign = np.sign(term)
    frame = total % (top(columns) + 1)
    rules = np.empty((2 * columns, len(total)), dtype=np.int64)
    shown = np.empty_like(rules)
    carry = np.zeros_like(total)
    for column in range(columns):
        digit = sign * (np.abs(term) // 10**column % 10) + 9
        first = frame // 10**column % 10
        second = table.after[first, digit]
        carried = sign * carry + 9
        rules[2 * column], shown[2 * column] = table.rule[first, digit], first
        rules[2 * column + 1], shown[2 * column + 1] = table.rule[second, carried], second
        carry = table.carries[first, digit] + table.carries[second, carried]
    return rules, shown


def uses_of(drill: Drill, rules: Ints, shown: Ints) -> Ints:
    """How many moves of each play count for the drill."""
    counts = np.array([rule in drill.rules for rule in ALL_RULES] + [False])[rules]
    if drill.column is not None:
        counts[np.arange(len(counts)) // 2 != drill.column] = False
    if drill.shown is not None:
        counts &= shown == drill.shown
    uses: Ints = counts.sum(axis=0)
    return uses


def _reachable(before: Ints, after: Ints, start: int, totals: int, steps: int) -> Bools:
    """Which totals some chain of at most ``steps`` plays reaches from ``start``."""
    reached = np.zeros(totals, dtype=bool)
    reached[start] = True
    for _ in range(steps):
        grown = reached.copy()
        grown[after[reached[before]]] = True
        if (grown == reached).all():
            break
        reached = grown
    return reached


def rules_of(total: int, term: int, columns: int) -> tuple[Rule, ...]:
    """The rules of one play, in the order of `moves_of`."""
    rules, _ = moves_of(np.array([total]), np.array([term]), columns)
    return tuple(ALL_RULES[index] for index in rules[:, 0] if index != NO_RULE)
