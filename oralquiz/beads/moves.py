"""Every correct move: what each column does, bead by bead, when a term is played.

Exactly one move is correct for a column that shows ``s`` and takes the digit ``d``; the trade
names it by the complement it needs. A term is played from its highest column to its
lowest. When adding, a column that overflows first gives back its complement and then carries to
the left; when taking away, it borrows from the left first and then adds its complement (the order
of Heffelfinger & Flom, *Abacus: Mystery of the Bead*: 457 + 45 ends "- 5, then - 9, + 1").
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from oralquiz.beads.columns import Column, digit_at
from oralquiz.beads.rules import DIRECT, Kind, Rule
from oralquiz.beads.sums import Sum, check_fits

Bead = Literal["five", "ones"]


class MoveOrder(StrEnum):
    """The order inside one move, where schools differ: + 5 - 2 or - 2 + 5."""

    FIVE_FIRST = "five-first"
    ONES_FIRST = "ones-first"


@dataclass(frozen=True)
class BeadStep:
    """One gesture: ``count`` ones, or the five (count 1), moved in (> 0) or out (< 0)."""

    column: int
    bead: Bead
    count: int


@dataclass(frozen=True)
class Move:
    """What one column does for one signed digit.

    ``before`` and ``after`` are what the whole frame shows. ``carry`` says that the digit came
    from the column to the right (a carry or a borrow) and not from the term itself.
    """

    column: int
    digit: int
    rule: Rule
    before: int
    after: int
    beads: tuple[BeadStep, ...]
    carry: bool


@dataclass(frozen=True)
class TermMoves:
    """A term with the frame's value before and after it, and its moves in playing order."""

    term: int
    before: int
    after: int
    moves: tuple[Move, ...]


def rule_for(shown: int, digit: int) -> Rule:
    """The rule by which a column showing ``shown`` (0..9) takes the signed ``digit`` (1..9)."""
    if not 0 <= shown <= 9 or not 1 <= abs(digit) <= 9:
        raise ValueError(f"a column cannot show {shown} and take {digit:+d}")
    column = Column.of(shown)
    stays = 0 <= shown + digit <= 9
    if not stays:  # the next column helps; what is left for this column is the complement of ten
        return Rule(Kind.TEN if _fits(column, _ten_complement(digit)) else Kind.BOTH, digit)
    return DIRECT if _fits(column, digit) else Rule(Kind.FIVE, digit)


def _ten_complement(digit: int) -> int:
    return digit - 10 if digit > 0 else digit + 10


def _fits(column: Column, change: int) -> bool:
    """Whether the five and the ones needed for ``change`` are all free to move."""
    sign = 1 if change > 0 else -1
    five, ones = divmod(abs(change), 5)
    return 0 <= column.five + sign * five <= 1 and 0 <= column.ones + sign * ones <= 4


def _gestures(shown: int, change: int, column: int, order: MoveOrder) -> tuple[BeadStep, ...]:
    """The gestures that take one column from ``shown`` to ``shown + change``."""
    before, after = Column.of(shown), Column.of(shown + change)
    steps = [
        BeadStep(column, "five", after.five - before.five),
        BeadStep(column, "ones", after.ones - before.ones),
    ]
    if order is MoveOrder.ONES_FIRST:
        steps.reverse()
    return tuple(step for step in steps if step.count != 0)


def _play(value: int, column: int, digit: int, order: MoveOrder, carry: bool) -> Iterator[Move]:
    """The move for ``digit`` in ``column``, and the moves it passes on to the left."""
    shown = digit_at(value, column)
    rule = rule_for(shown, digit)
    passes_on = rule.kind in (Kind.TEN, Kind.BOTH)
    change = _ten_complement(digit) if passes_on else digit

    if passes_on and digit < 0:  # borrow first
        for move in _play(value, column + 1, -1, order, carry=True):
            yield move
            value = move.after
    after = value + change * 10**column
    yield Move(column, digit, rule, value, after, _gestures(shown, change, column, order), carry)
    if passes_on and digit > 0:  # then carry
        yield from _play(after, column + 1, 1, order, carry=True)


def play_term(value: int, term: int, order: MoveOrder = MoveOrder.FIVE_FIRST) -> TermMoves:
    """Every move of ``term`` on a frame that shows ``value``.

    The frame is as wide as the result needs. Raises ValueError if ``value`` or the result is
    negative.
    """
    if value < 0 or value + term < 0:
        raise ValueError(f"{value} {term:+d}: a frame shows no number below zero")
    sign = 1 if term > 0 else -1
    moves: list[Move] = []
    shown = value
    for column in reversed(range(len(str(abs(term))))):
        digit = digit_at(abs(term), column)
        if digit:
            for move in _play(shown, column, sign * digit, order, carry=False):
                moves.append(move)
                shown = move.after
    return TermMoves(term, value, shown, tuple(moves))


def explain(
    terms: Sum, columns: int, order: MoveOrder = MoveOrder.FIVE_FIRST
) -> tuple[TermMoves, ...]:
    """Every move of a sum on a frame of ``columns`` columns that starts at 0.

    Raises FrameError, naming the term, if a running total cannot be shown.
    """
    check_fits(terms, columns)
    played: list[TermMoves] = []
    value = 0
    for term in terms.terms:
        played.append(play_term(value, term, order))
        value = played[-1].after
    return tuple(played)
