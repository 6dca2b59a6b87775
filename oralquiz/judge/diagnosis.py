"""Which slip would give the wrong answer that was heard, and how probable each is.

Every point of the correct play is tried with every slip (see ``choices``), and everything after
it is played correctly from the wrong state. Playing correctly adds the term whatever the frame
shows, so a slip whose error is e ends the sum on answer + e; only its *probability* depends on
the wrong states that follow, whose moves offer other slips, and is followed through them. The
posterior probabilities are those of the generative model: slips, two slips together, and a stray
answer that nothing explains compete for the number heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from oralquiz.beads import Rule, Sum, check_fits, rule_for
from oralquiz.judge.choices import Choice, Choices, PathPoint, Point
from oralquiz.judge.rates import DEFAULT, KEPT_IN_THE_HEAD, Rates
from oralquiz.judge.slip import Slip, SlipKind
from oralquiz.judge.slip_table import Digit


@dataclass(frozen=True)
class Explanation:
    """One slip, or two that happened together, with the probability that this is what happened.

    ``totals`` is what the frame showed after each term, all the other moves being right.
    """

    slips: tuple[Slip, ...]
    probability: float
    totals: tuple[int, ...]


@dataclass(frozen=True)
class Diagnosis:
    """What can be said about an answer.

    ``explanations`` are best first: every single slip that leads to ``heard``, or, where none
    does, every pair of slips. Their probabilities, ``two_slips`` (that it was two slips at once
    although a single one would do) and ``unexplained`` (a stray answer) add up to 1. A right
    answer has no explanation, and nothing is unexplained.
    """

    terms: Sum
    columns: int
    heard: int
    explanations: tuple[Explanation, ...]
    two_slips: float
    unexplained: float

    @property
    def right(self) -> bool:
        return self.heard == self.terms.answer

    @property
    def kinds(self) -> dict[SlipKind, float]:
        """How probable each kind of slip is, wherever it happened, the likeliest first.

        The same slip can often have happened at several terms and end on the same number; what
        to practise is then clearer than where it went wrong. A pair counts for both its kinds.
        """
        found: dict[SlipKind, float] = {}
        for explanation in self.explanations:
            for kind in {slip.kind for slip in explanation.slips}:
                found[kind] = found.get(kind, 0.0) + explanation.probability
        return dict(sorted(found.items(), key=lambda item: -item[1]))


class _Position(NamedTuple):
    """Where the playing of a sum stands.

    ``total`` has not been folded onto the frame. ``term`` is the term being played (-1: nothing
    yet; as many as there are: the answer is to be read off). ``tasks`` are the digits of it still
    to be moved; None: the term has not been taken in.
    """

    total: int
    term: int
    tasks: tuple[Digit, ...] | None


_START = _Position(0, -1, None)


class _Spot(NamedTuple):
    """A point that the playing comes to, and the probability of coming there without a slip.

    ``error`` is by how much earlier slips have put the total off.
    """

    at: _Position
    point: Point
    reached: float
    error: int

    def slip(self, choice: Choice, terms: Sum) -> Slip:
        total, term, tasks = self.at
        in_a_term = 0 <= term < len(terms.terms)
        return slip_at(choice, total, term if in_a_term else None, tasks[0] if tasks else None)


class _Way(NamedTuple):
    """One way to the number heard: its slips and its (prior) probability."""

    slips: tuple[Slip, ...]
    probability: float


class Diagnoser:
    """Diagnoses answers on a frame of ``columns`` columns by one pupil's ``rates``.

    It remembers the points it has met: diagnose many answers with one diagnoser.
    """

    def __init__(self, columns: int, rates: Rates = DEFAULT) -> None:
        self.columns = columns
        self.rates = rates
        self._choices = Choices(columns, rates)
        self._modulus = self._choices.modulus

    def diagnose(self, terms: Sum, heard: int, previous: int | None = None) -> Diagnosis:
        """Explain ``heard``, the answer given to ``terms``.

        ``previous`` is the answer that the hands showed before the sum, if any. Raises
        FrameError if the sum itself does not fit the frame.
        """
        check_fits(terms, self.columns)
        if heard == terms.answer:
            return Diagnosis(terms, self.columns, heard, (), 0.0, 0.0)
        spots = tuple(self._walk(terms, _START, 0, previous))
        ways = [way for spot in spots for way in self._last_slips(terms, spot, heard)]
        stray = self.rates.stray / self._modulus
        two_slips = 0.0
        if ways:
            others = sum(way.probability for way in ways) + stray
            two_slips = self._two_slips(terms, spots, heard)
            if two_slips > others / 20:
                two_slips = sum(way.probability for way in self._pairs(terms, spots, heard))
        else:
            ways = list(self._pairs(terms, spots, heard))
        ways.sort(key=lambda way: -way.probability)
        whole = sum(way.probability for way in ways) + two_slips + stray
        explanations = tuple(
            Explanation(way.slips, way.probability / whole, self._totals(terms, way.slips))
            for way in ways
        )
        return Diagnosis(terms, self.columns, heard, explanations, two_slips / whole, stray / whole)

    def expected(
        self, terms: Sum, previous: int | None = None
    ) -> dict[tuple[SlipKind, Rule | None], float]:
        """The expected number of slips, by kind and rule, in playing ``terms`` once."""
        counts: dict[tuple[SlipKind, Rule | None], float] = {}
        for spot in self._walk(terms, _START, 0, previous):
            for choice in spot.point.slips:
                slip = spot.slip(choice, terms)
                key = (slip.kind, slip.rule)
                counts[key] = counts.get(key, 0.0) + spot.reached * choice.probability
        return counts

    def wrong_answers(self, terms: Sum) -> dict[int, float]:
        """The numbers that one slip in playing ``terms`` ends on, and the share of each (sum 1).

        Empty if no slip changes the answer.
        """
        counts: dict[int, float] = {}
        for spot in self._walk(terms, _START, 0):
            for choice in spot.point.slips:
                said = (terms.answer + choice.error) % self._modulus
                counts[said] = counts.get(said, 0.0) + spot.reached * choice.probability
        counts.pop(terms.answer, None)
        whole = sum(counts.values())
        return {said: count / whole for said, count in counts.items()}

    # --- playing ------------------------------------------------------------------------------

    def _walk(
        self,
        terms: Sum,
        at: _Position,
        error: int,
        previous: int | None = None,
        wanted: int | None = None,
    ) -> Iterator[_Spot]:
        """The points from ``at`` to the answer, as long as no (further) slip happens.

        Of all points, or only of those where a slip has the error ``wanted``.
        """
        choices = self._choices
        total, term, tasks = at
        reached = 1.0
        if term == -1:
            point = choices.start(previous)
            yield _Spot(at, point, reached, error)
            reached *= point.right.probability
            term = 0
        while term < len(terms.terms):
            steps: Sequence[PathPoint]
            if tasks is None:
                steps = choices.term_steps(total, terms.terms[term], term == 0)
                ahead = terms.terms[term]
            else:
                steps = choices.steps(total, tasks)
                ahead = sum(task.value for task in tasks)
            for step in steps:
                if wanted is None or wanted in step.point.by_error:
                    position = _Position(total + step.ahead, term, step.tasks)
                    yield _Spot(position, step.point, reached * step.reached, error)
            if steps:
                reached *= steps[-1].reached * steps[-1].point.right.probability
            total, term, tasks = total + ahead, term + 1, None
        point = choices.answer(total)
        if wanted is None or wanted in point.by_error:
            yield _Spot(_Position(total, term, None), point, reached, error)

    def _after(self, at: _Position, choice: Choice) -> _Position:
        """Where the playing stands once ``choice`` was made at ``at``."""
        total = at.total + choice.change
        if at.term == -1:
            return _Position(total, 0, None)
        rest = at.tasks[1:] if at.tasks else ()
        return _Position(total, at.term, choice.then + rest)

    def _clean(self, terms: Sum, at: _Position) -> float:
        """The probability that everything from ``at`` to the last move goes right."""
        total, term, tasks = at
        probability = 1.0
        if tasks is not None:
            probability = self._choices.clean(total, tasks)
            total += sum(task.value for task in tasks)
            term += 1
        for index in range(term, len(terms.terms)):
            probability *= self._choices.clean_term(total, terms.terms[index], index == 0)
            total += terms.terms[index]
        return probability

    def _said(self, total: int, heard: int) -> float:
        """The probability that a pupil who ends on ``total`` reads it off as ``heard``."""
        shown = total % self._modulus
        kept = KEPT_IN_THE_HEAD if total >= self._modulus else 0.0
        if heard == total and kept:
            return kept
        point = self._choices.answer(total)
        return (1 - kept) * (point.right.probability if heard == shown else 0.0)

    # --- slips --------------------------------------------------------------------------------

    def _last_slips(self, terms: Sum, spot: _Spot, heard: int) -> Iterator[_Way]:
        """The slips at ``spot`` after which all goes right and the answer is ``heard``."""
        heading = terms.answer + spot.error
        for choice in spot.point.by_error.get((heard - heading) % self._modulus, ()):
            probability = spot.reached * choice.probability
            if spot.at.term == len(terms.terms):  # read off wrong: what the frame shows
                if not 0 <= heard < self._modulus:
                    continue
                if heading >= self._modulus:
                    probability *= 1 - KEPT_IN_THE_HEAD
            else:
                said = self._said(heading + choice.error, heard)
                if not said:
                    continue
                probability *= said * self._clean(terms, self._after(spot.at, choice))
            yield _Way((spot.slip(choice, terms),), probability)

    def _pairs(self, terms: Sum, spots: Sequence[_Spot], heard: int) -> Iterator[_Way]:
        """The pairs of slips that lead to ``heard``, each followed through the wrong states."""
        for spot in spots[:-1]:
            for choice in spot.point.slips:
                reached = spot.reached * choice.probability
                first = None
                after = self._after(spot.at, choice)
                wanted = (heard - terms.answer - choice.error) % self._modulus
                for later in self._walk(terms, after, choice.error, wanted=wanted):
                    for way in self._last_slips(terms, later, heard):
                        first = first or spot.slip(choice, terms)
                        yield _Way((first, *way.slips), reached * way.probability)

    def _two_slips(self, terms: Sum, spots: Sequence[_Spot], heard: int) -> float:
        """About how probable it is that two slips together led to ``heard``.

        Taken to first order: the second slip is weighed as if the first had not changed the
        states it happens in. Good enough where it comes to little, and a hundred times quicker
        than to follow each pair.
        """
        modulus = self._modulus
        wanted = (heard - terms.answer) % modulus
        clean = 1.0
        odds: dict[int, float] = {}
        excluded = 0.0  # one slip rules out another at the same point
        for spot in spots[:-1]:
            clean *= spot.point.right.probability
            here = spot.point.odds
            for error, its_odds in here.items():
                other = (wanted - error) % modulus
                odds[error] = odds.get(error, 0.0) + its_odds
                excluded += its_odds * here.get(other, 0.0)
        moves = sum(its * odds.get((wanted - e) % modulus, 0.0) for e, its in odds.items())
        reading = self._choices.answer(terms.answer).right.probability
        read_wrong = 0.0
        if 0 <= heard < modulus:
            for choice in self._choices.answer(heard).slips:  # swapping back what was swapped
                error = (heard + choice.error - terms.answer) % modulus
                read_wrong += odds.get(error, 0.0) * choice.probability
        return clean * ((moves - excluded) / 2 * reading + read_wrong)

    def _totals(self, terms: Sum, slips: tuple[Slip, ...]) -> tuple[int, ...]:
        """What the frame showed after each term with ``slips`` made."""
        return tuple(
            (
                total
                + sum(
                    slip.error
                    for slip in slips
                    if slip.kind is not SlipKind.ANSWER_REVERSED
                    and (slip.term is None or slip.term <= index)
                )
            )
            % self._modulus
            for index, total in enumerate(terms.totals)
        )


def slip_at(choice: Choice, total: int, term: int | None, task: Digit | None) -> Slip:
    """The slip made by a wrong ``choice``: in the move ``task`` of ``term`` if there is one."""
    if choice.kind is None:
        raise ValueError("the right choice is not a slip")
    if task is None:
        return Slip(choice.kind, choice.error, term, instead=choice.instead)
    return Slip(
        choice.kind,
        choice.error,
        term,
        task.column,
        task.digit,
        rule_for(total // int(10**task.column) % 10, task.digit),
        task.carry,
        total,
        choice.instead,
    )


def diagnose(
    terms: Sum,
    heard: int,
    columns: int = 2,
    previous: int | None = None,
    rates: Rates = DEFAULT,
) -> Diagnosis:
    """Explain one answer; see ``Diagnoser`` for many."""
    return Diagnoser(columns, rates).diagnose(terms, heard, previous)
