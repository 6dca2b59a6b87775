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
term can still be played after a slip, also one that a pupil who noticed would refuse (5 - 22 on
two hands then ends on 83).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple, TypeVar

from oralquiz.beads import Column, Kind, Rule, rule_for, top
from oralquiz.judge.confusable import sounds_like
from oralquiz.judge.rates import Rates
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


class Step(NamedTuple):
    """A point on the right way through some digits, or through a term.

    ``ahead`` is how much has been added by then, ``tasks`` what is still to be played from here
    on (None: the term is yet to be taken in), ``reached`` the probability of coming so far
    without a slip.
    """

    point: Point
    ahead: int
    tasks: tuple[Digit, ...] | None
    reached: float


class _Draft(NamedTuple):
    kind: SlipKind
    change: int
    then: tuple[Digit, ...] = ()
    instead: int | None = None


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


class Choices:
    """The points of sums on a frame of ``columns`` columns, for one pupil's ``rates``."""

    def __init__(self, columns: int, rates: Rates) -> None:
        self.columns = columns
        self.modulus = top(columns) + 1
        self.rates = rates
        self._digits: dict[tuple[int, Digit], Point] = {}
        self._terms: dict[tuple[int, bool], Point] = {}
        self._answers: dict[int, Point] = {}
        self._term_steps: dict[tuple[int, int, bool], tuple[Step, ...]] = {}
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
        drafts = [_Draft(SlipKind.PREVIOUS_KEPT, previous, instead=previous)] if previous else []
        return self._point(0, (), drafts, None)

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
        drafts = [
            _Draft(SlipKind.ANSWER_REVERSED, other - shown, instead=shown)
            for other in _neighbours_swapped(shown, width)
        ]
        point = self._point(0, (), drafts, None)
        _remember(self._answers, shown, point)
        return point

    def steps(self, value: int, tasks: tuple[Digit, ...], reached: float = 1.0) -> list[Step]:
        """The points on the right way through ``tasks``, played from ``value``."""
        found: list[Step] = []
        ahead = 0
        while tasks:
            point = self.digit(value + ahead, tasks[0])
            found.append(Step(point, ahead, tasks, reached))
            reached *= point.right.probability
            ahead += point.right.change
            tasks = point.right.then + tasks[1:]
        return found

    def term_steps(self, value: int, term: int, first: bool) -> tuple[Step, ...]:
        """The points on the right way through ``term``, from taking it in."""
        key = (value % self.modulus, term, first)
        found = self._term_steps.get(key)
        if found is None:
            point = self.term(term, first)
            moves = self.steps(value, point.right.then, point.right.probability)
            found = (Step(point, 0, None, 1.0), *moves)
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

    def _point(
        self,
        change: int,
        then: tuple[Digit, ...],
        drafts: list[_Draft],
        rule: Rule | None,
    ) -> Point:
        """Give ``drafts`` their probabilities; of two that come to the same, the first stays."""
        right = change + sum(task.value for task in then)
        distinct: dict[int, _Draft] = {}
        for draft in drafts:
            error = draft.change + sum(task.value for task in draft.then) - right
            if error != 0:
                distinct.setdefault(error, draft)
        kinds = [draft.kind for draft in distinct.values()]
        slips = tuple(
            Choice(
                draft.kind,
                self.rates.of(draft.kind, rule) / kinds.count(draft.kind),
                draft.change,
                draft.then,
                error,
                draft.instead,
            )
            for error, draft in distinct.items()
        )
        total = sum(slip.probability for slip in slips)
        if total > 0.5:  # a history may make slips likely, never the rule
            slips = tuple(
                slip._replace(probability=slip.probability * 0.5 / total) for slip in slips
            )
            total = 0.5
        return Point(Choice(None, 1 - total, change, then, 0), slips, self.modulus)

    def _term_point(self, term: int, first: bool) -> Point:
        kind = SlipKind
        right = digits_of(term)
        drafts = [
            _Draft(kind.TERM_LEFT_OUT, 0),
            _Draft(kind.TERM_DOUBLED, 0, (*right, *right)),
        ]
        heard = sounds_like(term)
        if heard is not None and abs(heard) < self.modulus:
            drafts.append(_Draft(kind.TERM_MISHEARD, 0, digits_of(heard), heard))
        if not first:
            drafts.append(_Draft(kind.SIGN_FLIPPED, 0, digits_of(-term), -term))
        sign = 1 if term > 0 else -1
        text = str(abs(term))
        # next to a 0 only one digit moves: that is a hand swapped, not two digits
        for other in _neighbours_swapped(abs(term), len(text), zeros=False):
            drafts.append(_Draft(kind.DIGITS_REVERSED, 0, digits_of(sign * other), sign * other))
        return self._point(0, right, drafts, None)

    def _digit_point(self, shown: int, task: Digit) -> Point:
        column, digit, carry, only = task
        place = int(10**column)
        sign = 1 if digit > 0 else -1
        rule = rule_for(shown, digit)
        tens = rule.kind in (Kind.TEN, Kind.BOTH)
        change = digit - sign * 10 if tens else digit
        before, after = Column.of(shown), Column.of(shown + change)
        five, ones = 5 * (after.five - before.five), after.ones - before.ones
        lost = sign * 10 * place if tens and column + 1 == self.columns else 0
        passing = (Digit(column + 1, sign, carry=True),) if tens and not lost else ()

        def here(kind: SlipKind, its_change: int) -> _Draft:
            return _Draft(kind, its_change * place + lost, passing)

        kind = SlipKind
        drafts: list[_Draft] = []
        if five:
            drafts.append(here(kind.FIVE_NOT_MOVED, ones))
        if rule.kind is not Kind.DIRECT:  # the complement is what a rule adds to the plain digit
            if rule.kind is not Kind.TEN:
                drafts.append(here(kind.COMPLEMENT_MISSED, five))
            if tens:
                drafts.append(here(kind.COMPLEMENT_MISSED, 0))
            turned = five - ones if rule.kind is Kind.FIVE else -change
            if 0 <= shown + turned <= 9:
                drafts.append(here(kind.COMPLEMENT_WRONG_WAY, turned))
        if five and ones:
            drafts.append(here(kind.ONES_NOT_MOVED, five))
        if not five:
            toggled = -5 if before.five else 5
            drafts.append(here(kind.FIVE_MOVED_IN_VAIN, change + toggled))
        way = (1 if ones > 0 else -1) if ones else (1 if change > 0 else -1)
        if 0 <= after.ones + way <= 4:
            drafts.append(here(kind.FINGER_TOO_MANY, change + way))
        if abs(ones) > 1:
            drafts.append(here(kind.FINGER_TOO_FEW, change - way))
        if passing:
            adding = digit > 0
            plain = change * place
            drafts.append(_Draft(kind.CARRY_FORGOTTEN if adding else kind.BORROW_FORGOTTEN, plain))
            for elsewhere in (column, column + 2):
                if elsewhere < self.columns:
                    drafts.append(
                        _Draft(
                            kind.CARRY_WRONG_COLUMN if adding else kind.BORROW_WRONG_COLUMN,
                            plain,
                            (Digit(elsewhere, sign, carry=True),),
                            elsewhere,
                        )
                    )
            drafts.append(
                _Draft(
                    kind.CARRY_WRONG_WAY if adding else kind.BORROW_WRONG_WAY,
                    plain,
                    (Digit(column + 1, -sign, carry=True),),
                )
            )
        if not carry:
            if not only:  # else the whole term was left out or taken the wrong way round
                drafts.append(_Draft(kind.COLUMN_LEFT_OUT, 0))
                drafts.append(_Draft(kind.COLUMN_WRONG_WAY, 0, (task._replace(digit=-digit),)))
            for elsewhere in (column + 1, column - 1):
                if 0 <= elsewhere < self.columns:
                    drafts.append(
                        _Draft(
                            kind.HANDS_SWAPPED,
                            0,
                            (task._replace(column=elsewhere),),
                            elsewhere,
                        )
                    )
        return self._point(change * place + lost, passing, drafts, rule)


def _all_right(steps: Sequence[Step]) -> float:
    return steps[-1].reached * steps[-1].point.right.probability if steps else 1.0


_K = TypeVar("_K")
_V = TypeVar("_V")


def _remember(store: dict[_K, _V], key: _K, value: _V) -> None:
    """Keep ``value``; forget everything first when a wide frame has filled the store."""
    if len(store) >= 50_000:
        store.clear()
    store[key] = value


def _neighbours_swapped(value: int, width: int, zeros: bool = True) -> list[int]:
    """``value`` written with ``width`` digits, two neighbouring digits swapped, each in turn.

    Without ``zeros`` only pairs of digits that are both more than 0.
    """
    text = str(value).zfill(width)
    return [
        int(text[:i] + text[i + 1] + text[i] + text[i + 2 :])
        for i in range(width - 1)
        if text[i] != text[i + 1] and (zeros or "0" not in text[i : i + 2])
    ]
