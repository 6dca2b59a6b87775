"""What a pupil can do at each point of a sum: the right thing, or one slip.

This is the generative model that diagnosing, the simulated pupil and the proofs share. A sum is
played as a chain of points, each a choice between the right thing and a few slips, with the
probabilities of ``Rates``:

1. the start: the hands are empty, or still show the previous answer;
2. each term as it is taken in: right, left out, doubled, misheard, its sign flipped, its digits
   reversed;
3. each move of the term that was taken in, from its highest column to its lowest; a carry or a
   borrow is a move, and so a point, of its own;
4. the answer as it is read off: right, or with its digits reversed.

After a slip everything goes on correctly *from what the frame then shows*. A move never leaves
its column in a state that no column can show; a carry or borrow that leaves the frame on the left
is lost, since no column takes it: the frame shows the total modulo 10 ** columns. So every later
term can still be played after a slip, even one that an attentive pupil would refuse (5 - 22 on two
hands then ends on 83).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

from oralquiz.beads import Rule, top
from oralquiz.judge.rates import Rates
from oralquiz.judge.slip import SlipKind
from oralquiz.judge.slip_table import (
    MOVE_SLIPS,
    TERM_SLIPS,
    ColumnMove,
    Deviation,
    Digit,
    HeardTerm,
    digits_of,
    neighbours_swapped,
)


class Choice(NamedTuple):
    """One thing a pupil may do at a point.

    ``kind`` is None for the right thing. ``change`` is what this column then adds to the total,
    ``then`` what remains to be played because of it; ``error`` is by how much both together
    miss what was right.
    """

    kind: SlipKind | None
    probability: float
    change: int
    then: tuple[Digit, ...]
    error: int
    instead: int | None = None


@dataclass(frozen=True)
class Point:
    """The choices at one point; their probabilities add up to 1."""

    right: Choice
    slips: tuple[Choice, ...]
    modulus: int

    @cached_property
    def by_error(self) -> dict[int, tuple[Choice, ...]]:
        """The slips under their error modulo ``modulus``: under what it does to the frame."""
        found: dict[int, tuple[Choice, ...]] = {}
        for choice in self.slips:
            error = choice.error % self.modulus
            found[error] = (*found.get(error, ()), choice)
        return found

    @cached_property
    def odds(self) -> dict[int, float]:
        """The odds of an error (modulo ``modulus``) against the right thing."""
        return {
            error: sum(choice.probability for choice in its) / self.right.probability
            for error, its in self.by_error.items()
        }


class PathPoint(NamedTuple):
    """A point on the right way through some digits, or through a term.

    ``ahead`` is how much has been added by then, ``tasks`` what is still to be played from here
    on (None: the term is yet to be taken in), ``reached`` the probability of coming so far
    without a slip.
    """

    point: Point
    ahead: int
    tasks: tuple[Digit, ...] | None
    reached: float


class Choices:
    """The points of sums on a frame of ``columns`` columns, for one pupil's ``rates``."""

    def __init__(self, columns: int, rates: Rates) -> None:
        self.columns = columns
        self.modulus = top(columns) + 1
        self.rates = rates
        self._digits: dict[tuple[int, Digit], Point] = {}
        self._terms: dict[tuple[int, bool], Point] = {}
        self._answers: dict[int, Point] = {}
        self._term_steps: dict[tuple[int, int, bool], tuple[PathPoint, ...]] = {}
        self._clean: dict[tuple[int, int, bool], float] = {}

    def digit(self, value: int, task: Digit) -> Point:
        """The choices when a frame whose total is ``value`` takes ``task``."""
        key = (value // int(10**task.column) % 10, task)
        point = self._digits.get(key)
        if point is None:
            point = self._digits[key] = self._digit_point(*key)
        return point

    def term(self, term: int, first: bool) -> Point:
        """The choices when ``term`` is taken in. The first term has no sign that can be flipped."""
        key = (term, first)
        point = self._terms.get(key)
        if point is None:
            point = self._terms[key] = self._term_point(*key)
        return point

    def start(self, previous: int | None) -> Point:
        """The choices before the first term."""
        slips = []
        if previous:
            slips.append((SlipKind.PREVIOUS_KEPT, Deviation(previous, instead=previous)))
        return self._point(Deviation(0), slips)

    def answer(self, value: int) -> Point:
        """The choices when a frame whose total is ``value`` is read off.

        Neighbouring digits may be swapped; on two hands also those of a number below ten, whose
        left hand is empty.
        """
        shown = value % self.modulus
        point = self._answers.get(shown)
        if point is not None:
            return point
        width = min(self.columns, max(2, len(str(shown))))
        slips = [
            (SlipKind.ANSWER_REVERSED, Deviation(other - shown, instead=shown))
            for other in neighbours_swapped(shown, width)
        ]
        point = self._point(Deviation(0), slips)
        _remember(self._answers, shown, point)
        return point

    def steps(self, value: int, tasks: tuple[Digit, ...], reached: float = 1.0) -> list[PathPoint]:
        """The points on the right way through ``tasks``, played from ``value``."""
        found: list[PathPoint] = []
        ahead = 0
        while tasks:
            point = self.digit(value + ahead, tasks[0])
            found.append(PathPoint(point, ahead, tasks, reached))
            reached *= point.right.probability
            ahead += point.right.change
            tasks = point.right.then + tasks[1:]
        return found

    def term_steps(self, value: int, term: int, first: bool) -> tuple[PathPoint, ...]:
        """The points on the right way through ``term``, from taking it in."""
        key = (value % self.modulus, term, first)
        found = self._term_steps.get(key)
        if found is None:
            point = self.term(term, first)
            moves = self.steps(value, point.right.then, point.right.probability)
            found = (PathPoint(point, 0, None, 1.0), *moves)
            _remember(self._term_steps, key, found)
        return found

    def clean(self, value: int, tasks: tuple[Digit, ...]) -> float:
        """The probability that ``tasks`` are played from ``value`` without a slip."""
        return _all_right(self.steps(value, tasks))

    def clean_term(self, value: int, term: int, first: bool) -> float:
        """The probability that ``term`` is taken in and played from ``value`` without a slip."""
        key = (value % self.modulus, term, first)
        probability = self._clean.get(key)
        if probability is None:
            probability = _all_right(self.term_steps(value, term, first))
            _remember(self._clean, key, probability)
        return probability

    # --- the choices themselves ---------------------------------------------------------------

    def _digit_point(self, shown: int, task: Digit) -> Point:
        move = ColumnMove(shown, task, self.columns)
        slips = [(kind, one) for kind, slip in MOVE_SLIPS for one in slip(move)]
        return self._point(move.right(), slips, move.rule)

    def _term_point(self, term: int, first: bool) -> Point:
        heard = HeardTerm(term, first, self.modulus)
        slips = [(kind, one) for kind, slip in TERM_SLIPS for one in slip(heard)]
        return self._point(Deviation(0, digits_of(term)), slips)

    def _point(
        self,
        right: Deviation,
        slips: Sequence[tuple[SlipKind, Deviation]],
        rule: Rule | None = None,
    ) -> Point:
        """Give ``slips`` their probabilities; of two that come to the same, the first stays."""
        goal = _comes_to(right)
        distinct: dict[int, tuple[SlipKind, Deviation]] = {}
        for kind, deviation in slips:
            error = _comes_to(deviation) - goal
            if error != 0:
                distinct.setdefault(error, (kind, deviation))
        kinds = [kind for kind, _ in distinct.values()]
        choices = tuple(
            Choice(
                kind,
                self.rates.of(kind, rule) / kinds.count(kind),
                deviation.change,
                deviation.then,
                error,
                deviation.instead,
            )
            for error, (kind, deviation) in distinct.items()
        )
        total = sum(choice.probability for choice in choices)
        if total > 0.5:  # slips may be likely, but not likelier than the right thing
            choices = tuple(
                choice._replace(probability=choice.probability * 0.5 / total) for choice in choices
            )
            total = 0.5
        right_choice = Choice(None, 1 - total, right.change, right.then, 0)
        return Point(right_choice, choices, self.modulus)


def _comes_to(deviation: Deviation) -> int:
    """By how much the total changes in the end."""
    return deviation.change + sum(task.value for task in deviation.then)


def _all_right(steps: Sequence[PathPoint]) -> float:
    return steps[-1].reached * steps[-1].point.right.probability if steps else 1.0


_K = TypeVar("_K")
_V = TypeVar("_V")


def _remember(store: dict[_K, _V], key: _K, value: _V) -> None:
    """Keep ``value``; forget everything first when a wide frame has filled the store."""
    if len(store) >= 50_000:
        store.clear()
    store[key] = value
