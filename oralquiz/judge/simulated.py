"""An invented pupil who slips as the model says: for trials, demonstrations and proofs."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from oralquiz.beads import Sum, check_fits
from oralquiz.judge.choices import Choice, Choices, Point
from oralquiz.judge.diagnosis import slip_at
from oralquiz.judge.rates import DEFAULT, KEPT_IN_THE_HEAD, Rates
from oralquiz.judge.slip import Slip
from oralquiz.judge.slip_table import Digit


@dataclass(frozen=True)
class Played:
    """The number a pupil says, and the slips on the way to it, in order.

    ``stray``: the number has nothing to do with the sum, whatever the slips.
    """

    said: int
    slips: tuple[Slip, ...]
    stray: bool = False


class SimulatedPupil:
    """Plays sums on a frame of ``columns`` columns with the slips that ``rates`` make likely."""

    def __init__(self, columns: int, rates: Rates = DEFAULT) -> None:
        self.columns = columns
        self.rates = rates
        self._choices = Choices(columns, rates)

    def play(self, terms: Sum, random: Random, previous: int | None = None) -> Played:
        """Play ``terms`` once, every choice drawn from ``random``."""
        check_fits(terms, self.columns)
        slips: list[Slip] = []
        total = 0

        def choose(point: Point, term: int | None, task: Digit | None) -> Choice:
            nonlocal total
            choice = _draw(point, random)
            if choice.kind is not None:
                slips.append(slip_at(choice, total, term, task))
            total += choice.change
            return choice

        if random.random() < self.rates.stray:
            return Played(random.randrange(self._choices.modulus), (), stray=True)
        choose(self._choices.start(previous), None, None)
        for index, term in enumerate(terms.terms):
            tasks = choose(self._choices.term(term, index == 0), index, None).then
            while tasks:
                tasks = (
                    choose(self._choices.digit(total, tasks[0]), index, tasks[0]).then + tasks[1:]
                )
        if total >= self._choices.modulus and random.random() < KEPT_IN_THE_HEAD:
            return Played(total, tuple(slips))
        choose(self._choices.answer(total), None, None)
        return Played(total % self._choices.modulus, tuple(slips))


def _draw(point: Point, random: Random) -> Choice:
    """One of the choices at ``point``, by their probabilities."""
    left = random.random() - point.right.probability
    if left < 0:
        return point.right
    for choice in point.slips:
        left -= choice.probability
        if left < 0:
            return choice
    return point.right
