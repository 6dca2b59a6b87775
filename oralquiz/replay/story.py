"""The story of a sum: every correct move as one step to be shown, with what belongs to it.

Pure: from a sum to steps. What a step is called in words is in ``step_words``; how it looks, in
``hands`` and ``frame``; when it happens on the recording, in ``timing``.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from oralquiz.beads import BeadStep, Kind, Move, MoveOrder, Sum, TermMoves, explain


class Role(StrEnum):
    """Why a column moves.

    ``OWN``: its digit of the term is to be played, and fits in the column. ``GIVE``: the same, but
    the column is too full and will carry, in the step that follows. ``ARRIVE``: a carry arrives
    from the right and fits. ``PASS``: it arrives and does not fit, so it goes on to the left.
    ``BORROW``: a column further right holds too little, and this one gives it a ten. ``RETURN``:
    the ten has come, and what is left of it is returned to this column.
    """

    OWN = "own"
    GIVE = "give"
    ARRIVE = "arrive"
    PASS = "pass"
    BORROW = "borrow"
    RETURN = "return"


@dataclass(frozen=True)
class StoryStep:
    """One move as it is shown.

    ``number`` counts from 1 over the whole sum; ``term`` is the index of the term it belongs to.
    ``asked`` holds, for a borrow, the moves that wait for it: of the column that asked first, then
    of each column that had nothing to lend and had to ask the next; it is empty for every other
    role. ``last_of_term`` says that the running total is complete after this step.
    """

    number: int
    term: int
    move: Move
    role: Role
    asked: tuple[Move, ...]
    last_of_term: bool

    @property
    def before(self) -> int:
        """What the whole frame shows before the move."""
        return self.move.before

    @property
    def after(self) -> int:
        """What the whole frame shows after the move."""
        return self.move.after

    @property
    def gestures(self) -> tuple[BeadStep, ...]:
        """The one or two gestures of the move, in playing order."""
        return self.move.beads


@dataclass(frozen=True)
class Story:
    """Every step of a sum on a frame of ``columns`` columns that starts at 0."""

    sum: Sum
    columns: int
    move_order: MoveOrder
    steps: tuple[StoryStep, ...]

    def steps_of(self, term: int) -> tuple[StoryStep, ...]:
        """The steps of one term (index from 0), in playing order."""
        return tuple(step for step in self.steps if step.term == term)


def tell(terms: Sum, columns: int, order: MoveOrder = MoveOrder.FIVE_FIRST) -> Story:
    """The story of a sum. Raises FrameError, naming the term, if the frame cannot show it."""
    steps: list[StoryStep] = []
    for index, played in enumerate(explain(terms, columns, order)):
        last = len(steps) + len(played.moves)
        for move, role, asked in _roles(played):
            number = len(steps) + 1
            steps.append(StoryStep(number, index, move, role, asked, number == last))
    return Story(terms, columns, order, tuple(steps))


def _roles(played: TermMoves) -> list[tuple[Move, Role, tuple[Move, ...]]]:
    told: list[tuple[Move, Role, tuple[Move, ...]]] = []
    for at, move in enumerate(played.moves):
        role = _role(move)
        asked = _asking(played.moves[at + 1 :]) if role is Role.BORROW else ()
        told.append((move, role, asked))
    return told


def _role(move: Move) -> Role:
    helped = move.rule.kind in (Kind.TEN, Kind.BOTH)
    if move.digit < 0 and helped:
        return Role.RETURN
    if move.carry:
        if move.digit < 0:
            return Role.BORROW
        return Role.PASS if helped else Role.ARRIVE
    return Role.GIVE if helped else Role.OWN


def _asking(later: tuple[Move, ...]) -> tuple[Move, ...]:
    """The moves for which a column lends: they return left to right, they asked right to left."""
    waiting: list[Move] = []
    for move in later:
        waiting.append(move)
        if not move.carry:  # the term's own digit: it asked first
            break
    return tuple(reversed(waiting))
