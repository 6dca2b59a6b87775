"""Difficulty: the documented measure by which a set goes from easier to harder.

A convention of our own, meant to order the sums of one lesson, not a measured difficulty:

    1 point  for each move
    1 point  more for a move by a five or a ten, 2 more for a move by both
    1 point  for each cascade: a carry that itself carries
    1 point  for each digit other than 0 that must be kept in mind while the next term is heard,
             so for every running total but the last
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from oralquiz.beads import Kind
from oralquiz.compose.frame_moves import all_moves

KIND_POINTS = {Kind.DIRECT: 0, Kind.FIVE: 1, Kind.TEN: 1, Kind.BOTH: 2}


@dataclass(frozen=True)
class Difficulty:
    """The points of a sum, by what they are for."""

    moves: int
    kinds: int
    cascades: int
    kept: int

    @property
    def points(self) -> int:
        return self.moves + self.kinds + self.cascades + self.kept


def difficulty_of(terms: Sequence[int], columns: int) -> Difficulty:
    """The difficulty of a sum that stays on a frame of ``columns`` columns."""
    moves = [move for _, move in all_moves(terms, columns)]
    totals = list(accumulate(terms))[:-1]
    return Difficulty(
        moves=len(moves),
        kinds=sum(KIND_POINTS[move.rule.kind] for move in moves),
        cascades=sum(move.carry and move.rule.kind in (Kind.TEN, Kind.BOTH) for move in moves),
        kept=sum(len(str(abs(total)).replace("0", "")) for total in totals),
    )
