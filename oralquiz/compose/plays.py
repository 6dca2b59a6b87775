"""Every way to play one term on a frame, as arrays: from which total, to which, by which rules.

The arithmetic is the bead frame's own: `play_term` is called once for each digit a column shows
and each digit it takes (180 moves), and plays are put together from those moves. A column
first plays the term's own digit and later, at most once, the carry from its right; which moves
these are depends on nothing but the digit it shows, the digit it takes and whether a carry comes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from oralquiz.beads import ALL_RULES, play_term, top
from oralquiz.compose.request import Drill, Request

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RULE_INDEX = {rule: index for index, rule in enumerate(ALL_RULES)}
NO_RULE = len(ALL_RULES)  # stands for "this column does not move"


@dataclass(frozen=True)
class ColumnMoves:
    """What one column does, by digit shown * 19 + signed digit taken + 9 (see `cell`)."""

    rule: Ints  # index in ALL_RULES, NO_RULE where the digit is 0
    after: Ints  # the digit shown after the move
    carries: Ints  # 1 where the move carries to, or borrows from, the next column
    shown: Ints  # the digit shown before the move
    digit: Ints  # the signed digit taken


Whole = TypeVar("Whole", int, Ints)


def cell(shown: Whole, digit: Whole) -> Whole:
    return shown * 19 + digit + 9


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
    return ColumnMoves(
        rule.reshape(-1),
        after.reshape(-1),
        carries.reshape(-1),
        shown=np.repeat(np.arange(10), 19),
        digit=np.tile(np.arange(-9, 10), 10),
    )


def allowed_cells(request: Request) -> Bools:
    """Which cells of `column_moves` the request allows; a digit 0 is not a move and is always
    allowed."""
    return np.array([rule in request.allowed for rule in ALL_RULES] + [True])[column_moves().rule]


def counting_cells(drill: Drill, column: int) -> Ints:
    """1 for each cell of `column_moves` that counts for the drill in ``column``, else 0."""
    moves = column_moves()
    counts: Bools = np.array([rule in drill.rules for rule in ALL_RULES] + [False])[moves.rule]
    if drill.column not in (None, column):
        counts[:] = False
    if drill.shown is not None:
        counts &= moves.shown == drill.shown
    if drill.digit is not None:
        counts &= moves.digit == drill.digit
    return counts.astype(np.int64)


@dataclass(frozen=True)
class Plays:
    """Every allowed (term, running total), sorted by term, then total.

    ``before`` and ``after`` are indices of running totals (total minus the lowest total).
    ``uses[d]`` is how many moves count for the request's drill ``d``.
    ``again`` and ``back`` are the plays of the same term, and of its opposite, right after this
    one; the number of plays (one past the last) where the frame or the rules forbid that play.
    """

    before: Ints
    term: Ints
    after: Ints
    uses: tuple[Ints, ...]
    again: Ints
    back: Ints

    def __len__(self) -> int:
        return len(self.term)


def terms_of(request: Request) -> Ints:
    """Every term the request's digits and frame allow, ascending; each with its opposite."""
    low, high = request.digits
    sizes = np.arange(10 ** (low - 1), 10 ** min(high, request.columns))
    return np.concatenate([-sizes[::-1], sizes])


def plays_for(request: Request) -> Plays:
    """Every play that keeps to the frame and the allowed rules, from totals a sum can reach."""
    totals = np.arange(request.lowest, request.highest + 1)
    terms = terms_of(request)
    ends = totals + terms[:, None]
    term_at, before = np.nonzero((ends >= request.lowest) & (ends <= request.highest))
    term = terms[term_at]
    moves = cells_of(totals[before], term, request.columns)

    allowed = allowed_cells(request)
    keep = np.logical_and.reduce([allowed.take(cells) for cells in moves])
    reached = _reachable(before[keep], before[keep] + term[keep], request)
    keep &= reached[before]
    before, term, term_at = before[keep], term[keep], term_at[keep]
    moves = [cells[keep] for cells in moves]
    after = before + term

    lookup = np.full((len(terms), len(totals)), len(before))
    lookup[term_at, before] = np.arange(len(before))
    return Plays(
        before=before,
        term=term,
        after=after,
        uses=tuple(uses_of(drill, moves) for drill in request.drills),
        again=lookup[term_at, after],
        back=lookup[len(terms) - 1 - term_at, after],
    )


def cells_of(total: Ints, term: Ints, columns: int) -> list[Ints]:
    """The moves of each play as cells of `column_moves`, a list of 2 * columns arrays.

    Item 2c is column c's move for the term's own digit, item 2c + 1 its move for a carry. A
    negative total is shown as 10^columns + total.
    """
    table = column_moves()
    sign = np.sign(term)
    size = np.abs(term)
    frame = total % (top(columns) + 1)
    moves: list[Ints] = []
    carry = np.zeros_like(total)
    for column in range(columns):
        own = cell(frame // 10**column % 10, sign * (size // 10**column % 10))
        carried = cell(table.after.take(own), sign * carry)
        moves += [own, carried]
        carry = table.carries.take(own) + table.carries.take(carried)
    return moves


def uses_of(drill: Drill, moves: Sequence[Ints]) -> Ints:
    """How many moves of each play count for the drill."""
    uses = np.zeros(len(moves[0]), dtype=np.int64)
    for index, cells in enumerate(moves):
        uses += counting_cells(drill, index // 2).take(cells)
    return uses


def _reachable(before: Ints, after: Ints, request: Request) -> Bools:
    """Which totals some chain of plays reaches from an empty frame, with a term yet to come."""
    reached = np.zeros(request.highest - request.lowest + 1, dtype=bool)
    reached[-request.lowest] = True
    for _ in range(request.terms - 1):
        grown = reached.copy()
        grown[after[reached[before]]] = True
        if (grown == reached).all():
            break
        reached = grown
    return reached
