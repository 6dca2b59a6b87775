"""The table of slips: for each kind, what a pupil then does instead of the right thing.

Each function looks at one move, or at one term as it is taken in, and yields what its slip may
come to. The tables, ``MOVE_SLIPS`` and ``TERM_SLIPS``, are in the order in which names are given:
of two slips that come to the same number, the first is the one that is named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from oralquiz.beads import Column, Kind, Rule, rule_for
from oralquiz.judge.confusable import sounds_like
from oralquiz.judge.slip import SlipKind


class Digit(NamedTuple):
    """A signed digit that a column is to take. ``only``: the term has no other digit."""

    column: int
    digit: int
    carry: bool = False
    only: bool = False

    @property
    def value(self) -> int:
        return self.digit * int(10**self.column)


class Deviation(NamedTuple):
    """What is done instead of the right thing.

    ``change`` is what the column (or the frame) then adds to the total, ``then`` what remains to
    be played because of it, ``instead`` as in `Slip`.
    """

    change: int
    then: tuple[Digit, ...] = ()
    instead: int | None = None


@dataclass(frozen=True)
class ColumnMove:
    """The right move of a column that shows ``shown`` and takes ``task``, on so many ``columns``.

    Unlike the total, ``change``, ``five`` and ``ones`` count in units of the column: by how much
    it changes, and the share of its five and of its ones in that.
    """

    shown: int
    task: Digit
    columns: int

    @cached_property
    def rule(self) -> Rule:
        return rule_for(self.shown, self.task.digit)

    @cached_property
    def sign(self) -> int:
        return 1 if self.task.digit > 0 else -1

    @cached_property
    def tens(self) -> bool:
        """Whether it carries to, or borrows from, the next column."""
        return self.rule.kind in (Kind.TEN, Kind.BOTH)

    @cached_property
    def change(self) -> int:
        return self.task.digit - 10 * self.sign if self.tens else self.task.digit

    @cached_property
    def before(self) -> Column:
        return Column.of(self.shown)

    @cached_property
    def after(self) -> Column:
        return Column.of(self.shown + self.change)

    @cached_property
    def five(self) -> int:
        return 5 * (self.after.five - self.before.five)

    @cached_property
    def ones(self) -> int:
        return self.after.ones - self.before.ones

    @cached_property
    def way(self) -> int:
        """1 or -1: which way the ones move, or would move if one too many did."""
        return 1 if (self.ones or self.change) > 0 else -1

    @cached_property
    def passing(self) -> tuple[Digit, ...]:
        """The carry or borrow for the next column; none where there is no such column."""
        if not self.tens or self.task.column + 1 == self.columns:
            return ()
        return (Digit(self.task.column + 1, self.sign, carry=True),)

    @cached_property
    def place(self) -> int:
        return int(10**self.task.column)

    @cached_property
    def lost(self) -> int:
        """What the total gains or loses beyond the frame with a carry or borrow no column takes."""
        return 10 * self.sign * self.place if self.tens and not self.passing else 0

    def right(self) -> Deviation:
        return self.moving(self.change)

    def moving(self, change: int) -> Deviation:
        """The column changes by ``change``; the carry or borrow is as it should be."""
        return Deviation(change * self.place + self.lost, self.passing)

    def passing_on(self, *instead: Digit, to: int | None = None) -> Deviation:
        """The column is moved right, and ``instead`` is passed on, to the column ``to``."""
        return Deviation(self.change * self.place, instead, to)


@dataclass(frozen=True)
class HeardTerm:
    """A term to be taken in. The ``first`` of a sum has no sign that could be flipped."""

    term: int
    first: bool
    modulus: int

    @cached_property
    def sign(self) -> int:
        return 1 if self.term > 0 else -1

    def as_if(self, term: int) -> Deviation:
        """``term`` is taken in instead."""
        return Deviation(0, digits_of(term), term)


def digits_of(term: int) -> tuple[Digit, ...]:
    """The digits of a term in playing order, the highest column first; zeros move nothing."""
    sign = 1 if term > 0 else -1
    text = str(abs(term))
    only = sum(character != "0" for character in text) == 1
    return tuple(
        Digit(len(text) - 1 - i, sign * int(character), only=only)
        for i, character in enumerate(text)
        if character != "0"
    )


def neighbours_swapped(value: int, width: int, zeros: bool = True) -> list[int]:
    """``value`` written with ``width`` digits, two neighbouring digits swapped, each in turn.

    Without ``zeros`` only pairs of digits that are both more than 0.
    """
    text = str(value).zfill(width)
    return [
        int(text[:i] + text[i + 1] + text[i] + text[i + 2 :])
        for i in range(width - 1)
        if text[i] != text[i + 1] and (zeros or "0" not in text[i : i + 2])
    ]


# --- slips in a move ------------------------------------------------------------------------------


def five_not_moved(move: ColumnMove) -> Iterator[Deviation]:
    if move.five:
        yield move.moving(move.ones)


def complement_missed(move: ColumnMove) -> Iterator[Deviation]:
    """The complement is what a rule adds to the plain digit: of five, of ten, or of both."""
    if move.rule.kind in (Kind.FIVE, Kind.BOTH):
        yield move.moving(move.five)
    if move.tens:
        yield move.moving(0)


def complement_wrong_way(move: ColumnMove) -> Iterator[Deviation]:
    if move.rule.kind is Kind.DIRECT:
        return
    turned = move.five - move.ones if move.rule.kind is Kind.FIVE else -move.change
    if 0 <= move.shown + turned <= 9:
        yield move.moving(turned)


def complement_wrong_partner(move: ColumnMove) -> Iterator[Deviation]:
    """The wrong partner for the digit: any other where the whole is five; where it is ten, one more
    or one less."""
    size = abs(move.task.digit)
    if move.rule.kind is Kind.FIVE:
        for other in {1, 2, 3, 4} - {5 - size}:
            if 0 <= move.before.ones - other * move.sign <= 4:
                yield move.moving((5 - other) * move.sign)
    elif move.tens:
        for other in {9 - size, 11 - size} & set(range(1, 10)):
            if 0 <= move.shown - other * move.sign <= 9:
                yield move.moving(-other * move.sign)


def ones_not_moved(move: ColumnMove) -> Iterator[Deviation]:
    if move.five and move.ones:
        yield move.moving(move.five)


def five_moved_in_vain(move: ColumnMove) -> Iterator[Deviation]:
    if not move.five:
        yield move.moving(move.change + (-5 if move.before.five else 5))


def finger_too_many(move: ColumnMove) -> Iterator[Deviation]:
    if 0 <= move.after.ones + move.way <= 4:
        yield move.moving(move.change + move.way)


def finger_too_few(move: ColumnMove) -> Iterator[Deviation]:
    if abs(move.ones) > 1:
        yield move.moving(move.change - move.way)


def passing_forgotten(move: ColumnMove) -> Iterator[Deviation]:
    if move.passing:
        yield move.passing_on()


def passing_in_wrong_column(move: ColumnMove) -> Iterator[Deviation]:
    for column in (move.task.column, move.task.column + 2):
        if move.passing and column < move.columns:
            yield move.passing_on(Digit(column, move.sign, carry=True), to=column)


def passing_wrong_way(move: ColumnMove) -> Iterator[Deviation]:
    if move.passing:
        yield move.passing_on(Digit(move.task.column + 1, -move.sign, carry=True))


def ten_moved_in_vain(move: ColumnMove) -> Iterator[Deviation]:
    """The next column is moved by one, either way, although nothing (more) is to be carried."""
    for one in (move.sign, -move.sign):
        if move.task.column + 1 < move.columns:
            extra = Digit(move.task.column + 1, one, carry=True)
            yield move.passing_on(*move.passing, extra)


def column_left_out(move: ColumnMove) -> Iterator[Deviation]:
    """Of a term's only digit it would be the whole term."""
    if not (move.task.carry or move.task.only):
        yield Deviation(0)


def column_wrong_way(move: ColumnMove) -> Iterator[Deviation]:
    """Of a term's only digit it would be the whole term."""
    if not (move.task.carry or move.task.only):
        yield Deviation(0, (move.task._replace(digit=-move.task.digit),))


def hands_swapped(move: ColumnMove) -> Iterator[Deviation]:
    for column in (move.task.column + 1, move.task.column - 1):
        if not move.task.carry and 0 <= column < move.columns:
            yield Deviation(0, (move.task._replace(column=column),), column)


MoveSlip = Callable[[ColumnMove], Iterator[Deviation]]


def _adding(slip: MoveSlip) -> MoveSlip:
    """``slip``, when adding: a carry."""
    return lambda move: slip(move) if move.task.digit > 0 else iter(())


def _taking(slip: MoveSlip) -> MoveSlip:
    """``slip``, when taking away: a borrow."""
    return lambda move: slip(move) if move.task.digit < 0 else iter(())


MOVE_SLIPS: tuple[tuple[SlipKind, MoveSlip], ...] = (
    (SlipKind.FIVE_NOT_MOVED, five_not_moved),
    (SlipKind.COMPLEMENT_MISSED, complement_missed),
    (SlipKind.COMPLEMENT_WRONG_WAY, complement_wrong_way),
    (SlipKind.COMPLEMENT_WRONG_PARTNER, complement_wrong_partner),
    (SlipKind.ONES_NOT_MOVED, ones_not_moved),
    (SlipKind.FIVE_MOVED_IN_VAIN, five_moved_in_vain),
    (SlipKind.FINGER_TOO_MANY, finger_too_many),
    (SlipKind.FINGER_TOO_FEW, finger_too_few),
    (SlipKind.CARRY_FORGOTTEN, _adding(passing_forgotten)),
    (SlipKind.BORROW_FORGOTTEN, _taking(passing_forgotten)),
    (SlipKind.CARRY_WRONG_COLUMN, _adding(passing_in_wrong_column)),
    (SlipKind.BORROW_WRONG_COLUMN, _taking(passing_in_wrong_column)),
    (SlipKind.CARRY_WRONG_WAY, _adding(passing_wrong_way)),
    (SlipKind.BORROW_WRONG_WAY, _taking(passing_wrong_way)),
    (SlipKind.TEN_MOVED_IN_VAIN, ten_moved_in_vain),
    (SlipKind.COLUMN_LEFT_OUT, column_left_out),
    (SlipKind.COLUMN_WRONG_WAY, column_wrong_way),
    (SlipKind.HANDS_SWAPPED, hands_swapped),
)


# --- slips in taking in a term --------------------------------------------------------------------


def term_left_out(heard: HeardTerm) -> Iterator[Deviation]:
    yield Deviation(0)


def term_doubled(heard: HeardTerm) -> Iterator[Deviation]:
    yield Deviation(0, digits_of(heard.term) * 2)


def term_misheard(heard: HeardTerm) -> Iterator[Deviation]:
    """A number that the frame cannot show is not taken for one that it can."""
    other = sounds_like(heard.term)
    if other is not None and abs(other) < heard.modulus:
        yield heard.as_if(other)


def sign_flipped(heard: HeardTerm) -> Iterator[Deviation]:
    if not heard.first:
        yield heard.as_if(-heard.term)


def digits_reversed(heard: HeardTerm) -> Iterator[Deviation]:
    """Next to a 0 only one digit moves: that is a hand swapped, not two digits."""
    size = abs(heard.term)
    for other in neighbours_swapped(size, len(str(size)), zeros=False):
        yield heard.as_if(heard.sign * other)


TERM_SLIPS: tuple[tuple[SlipKind, Callable[[HeardTerm], Iterator[Deviation]]], ...] = (
    (SlipKind.TERM_LEFT_OUT, term_left_out),
    (SlipKind.TERM_DOUBLED, term_doubled),
    (SlipKind.TERM_MISHEARD, term_misheard),
    (SlipKind.SIGN_FLIPPED, sign_flipped),
    (SlipKind.DIGITS_REVERSED, digits_reversed),
)
