"""The slips: single mistakes that a pupil makes with beads or fingers, each with its name."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from oralquiz.beads import Kind, Rule


class SlipKind(StrEnum):
    """What went wrong, in one move, one term, or the answer."""

    FIVE_NOT_MOVED = "five-not-moved"
    FIVE_MOVED_IN_VAIN = "five-moved-in-vain"
    COMPLEMENT_MISSED = "complement-missed"
    COMPLEMENT_WRONG_WAY = "complement-wrong-way"  # added instead of taken, or the reverse
    COMPLEMENT_WRONG_PARTNER = "complement-wrong-partner"  # + 3 as + 5 - 1
    ONES_NOT_MOVED = "ones-not-moved"
    FINGER_TOO_MANY = "finger-too-many"
    FINGER_TOO_FEW = "finger-too-few"
    CARRY_FORGOTTEN = "carry-forgotten"
    BORROW_FORGOTTEN = "borrow-forgotten"
    CARRY_WRONG_COLUMN = "carry-wrong-column"
    BORROW_WRONG_COLUMN = "borrow-wrong-column"
    CARRY_WRONG_WAY = "carry-wrong-way"
    BORROW_WRONG_WAY = "borrow-wrong-way"
    TEN_MOVED_IN_VAIN = "ten-moved-in-vain"
    COLUMN_LEFT_OUT = "column-left-out"
    COLUMN_WRONG_WAY = "column-wrong-way"  # one digit of the term added instead of taken
    HANDS_SWAPPED = "hands-swapped"
    TERM_LEFT_OUT = "term-left-out"
    TERM_DOUBLED = "term-doubled"
    TERM_MISHEARD = "term-misheard"
    SIGN_FLIPPED = "sign-flipped"
    DIGITS_REVERSED = "digits-reversed"
    PREVIOUS_KEPT = "previous-kept"
    ANSWER_REVERSED = "answer-reversed"


@dataclass(frozen=True)
class Slip:
    """One mistake at one place.

    ``term`` is the term's index from 0, None for a slip before the first term or in the answer.
    ``column`` (0 is the ones), ``digit`` (signed), ``rule`` and ``carry`` name the correct move
    that went wrong, with ``before``, what the frame showed then; all None (``carry`` False) for
    a slip that is not one of a move. ``error`` is what the slip alone adds to the total.
    ``instead`` is the number taken for the right one: the term misheard or reversed, the answer
    before its digits were swapped, the previous answer, or the column that got a digit meant for
    another.
    """

    kind: SlipKind
    error: int
    term: int | None = None
    column: int | None = None
    digit: int | None = None
    rule: Rule | None = None
    carry: bool = False
    before: int | None = None
    instead: int | None = None


def partner(rule: Rule) -> int:
    """The last part of a rule, with its sign: -2 in + 5 - 2, which is + 3; 1 in + 10 - 5 + 1."""
    sign, size = (1 if rule.digit > 0 else -1), abs(rule.digit)
    whole = 10 if rule.kind is Kind.TEN else 5
    return sign * (size - whole)
