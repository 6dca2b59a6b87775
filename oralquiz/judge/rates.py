"""How often each slip happens: documented guesses.

A rate is the probability of one kind of slip at one place where it can happen (one move, one
term, one answer). We know of no published table of such rates for sums read aloud on a bead frame;
the *order* is taken from the literature, the sizes are our own:

* Errors of exactly five are disproportionately common where fives are counted on a hand (Domahs,
  Krinzinger & Willmes 2008): the slips of the five come first.
* On the bead frame errors of five in a column, and of a whole column left out, stand out
  (Stigler 1984; from memory).
* Forgetting to carry or to borrow is the commonest stable bug of written subtraction (Brown &
  Burton 1978), done in the wrong column or in the wrong direction the rarer one.
* A term missed or taken for its double (thirteen, thirty) is common where sums are read aloud
  (common practice of the trade, no source).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from oralquiz.beads import Kind, Rule
from oralquiz.judge.slip import SlipKind

_K = SlipKind

BASE: Mapping[SlipKind, float] = MappingProxyType(
    {
        _K.FIVE_NOT_MOVED: 0.012,
        _K.FIVE_MOVED_IN_VAIN: 0.002,
        _K.COMPLEMENT_MISSED: 0.006,
        _K.COMPLEMENT_WRONG_WAY: 0.003,
        _K.COMPLEMENT_WRONG_PARTNER: 0.004,
        _K.ONES_NOT_MOVED: 0.002,
        _K.FINGER_TOO_MANY: 0.002,
        _K.FINGER_TOO_FEW: 0.002,
        _K.CARRY_FORGOTTEN: 0.010,
        _K.BORROW_FORGOTTEN: 0.010,
        _K.CARRY_WRONG_COLUMN: 0.001,
        _K.BORROW_WRONG_COLUMN: 0.001,
        _K.CARRY_WRONG_WAY: 0.001,
        _K.BORROW_WRONG_WAY: 0.003,
        _K.TEN_MOVED_IN_VAIN: 0.001,
        _K.COLUMN_LEFT_OUT: 0.004,
        _K.COLUMN_WRONG_WAY: 0.001,
        _K.HANDS_SWAPPED: 0.001,
        _K.TERM_LEFT_OUT: 0.008,
        _K.TERM_DOUBLED: 0.001,
        _K.TERM_MISHEARD: 0.015,
        _K.SIGN_FLIPPED: 0.004,
        _K.DIGITS_REVERSED: 0.002,
        _K.PREVIOUS_KEPT: 0.010,
        _K.ANSWER_REVERSED: 0.004,
    }
)

MOVES: Mapping[Kind, float] = MappingProxyType(
    {Kind.DIRECT: 0.25, Kind.FIVE: 1.0, Kind.TEN: 1.0, Kind.BOTH: 1.5}
)
"""By how much the kind of a move multiplies its slips: where the beads are free there is little
to go wrong, where two complements work together there is most (common practice of the trade: the
order in which every school teaches them; the sizes are ours)."""

STRAY = 0.01
"""Probability of an answer that no slip explains: guessed, or the wrong sum altogether."""

KEPT_IN_THE_HEAD = 0.5
"""Probability that a carry off the left end of the frame is remembered and said (105 on two
hands that show 05) rather than lost."""


@dataclass(frozen=True)
class Rates:
    """The rates by which answers are judged: a base rate times that of the kind of move.

    Rates depend on nothing else: two slips of one pupil are taken to be independent.
    """

    base: Mapping[SlipKind, float] = field(default_factory=lambda: BASE)
    moves: Mapping[Kind, float] = field(default_factory=lambda: MOVES)
    stray: float = STRAY

    def of(self, kind: SlipKind, rule: Rule | None) -> float:
        """The probability of ``kind`` at one place, in a move that needs ``rule``."""
        return self.base[kind] if rule is None else self.base[kind] * self.moves[rule.kind]


DEFAULT = Rates()
