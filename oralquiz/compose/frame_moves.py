"""The moves of a term when running totals may be below zero.

The frame then shows 10^columns + total, with one owed to the column beyond it. Borrowing that
one, and paying it back, happens in the head and is not a move of the frame.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from oralquiz.beads import Move, play_term, top


def frame_moves(total: int, term: int, columns: int) -> tuple[Move, ...]:
    """The frame's moves for ``term`` at a running total, which may be below zero.

    ``before`` and ``after`` of each move are what the frame shows, with the one beyond it.
    """
    if total >= 0 and total + term >= 0:
        return play_term(total, term).moves
    beyond = top(columns) + 1
    return tuple(move for move in play_term(beyond + total, term).moves if move.column < columns)


def all_moves(terms: Sequence[int], columns: int) -> Iterator[tuple[int, Move]]:
    """Every move of a sum, with the index of its term."""
    total = 0
    for index, term in enumerate(terms):
        for move in frame_moves(total, term, columns):
            yield index, move
        total += term
