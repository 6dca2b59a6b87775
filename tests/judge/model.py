"""The generative model played out path by path, without any shortcut.

``Diagnoser`` finds slips by their error and never plays a sum out; here every path with up to a
given number of slips is played, and its probability multiplied up choice by choice. The table of
all paths shows what the best possible ranker could do: for every number said, name the likeliest
path that ends on it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from random import Random

from oralquiz.beads import Sum
from oralquiz.judge.choices import Choice, Choices, Point
from oralquiz.judge.diagnosis import Diagnosis, slip_at
from oralquiz.judge.rates import BASE, KEPT_IN_THE_HEAD, MOVES, Rates
from oralquiz.judge.slip import Slip
from oralquiz.judge.slip_table import Digit

Slips = tuple[Slip, ...]
Table = Mapping[int, Mapping[Slips, float]]
"""For each number said, the probability of every way to it, by its slips."""


def paths(
    choices: Choices, terms: Sum, most: int, previous: int | None = None
) -> Iterator[tuple[Slips, int, float]]:
    """Every way to play ``terms`` with 0 to ``most`` slips: the slips, what is said, how likely."""

    def options(point: Point, slips: Slips) -> Iterator[Choice]:
        yield point.right
        if len(slips) < most:
            yield from point.slips

    def onward(
        total: int, term: int, tasks: tuple[Digit, ...] | None, slips: Slips, p: float
    ) -> Iterator[tuple[Slips, int, float]]:
        task = None
        if term == -1:
            point = choices.start(previous)
        elif term == len(terms.terms):
            if total >= choices.modulus:
                yield slips, total, p * KEPT_IN_THE_HEAD
                p *= 1 - KEPT_IN_THE_HEAD
            point = choices.answer(total)
        elif tasks is None:
            point = choices.term(terms.terms[term], term == 0)
        elif not tasks:
            yield from onward(total, term + 1, None, slips, p)
            return
        else:
            task = tasks[0]
            point = choices.digit(total, task)
        for choice in options(point, slips):
            more = slips
            if choice.kind is not None:
                its_term = term if 0 <= term < len(terms.terms) else None
                more = (*slips, slip_at(choice, total, its_term, task))
            after, p_after = total + choice.change, p * choice.probability
            if term == -1:
                yield from onward(after, 0, None, more, p_after)
            elif term == len(terms.terms):
                yield more, after % choices.modulus, p_after
            else:
                rest = tasks[1:] if tasks else ()
                yield from onward(after, term, choice.then + rest, more, p_after)

    yield from onward(0, -1, None, (), 1.0)


def table(terms: Sum, columns: int, rates: Rates, most: int, previous: int | None = None) -> Table:
    """All wrong answers of a pupil with 1 to ``most`` slips."""
    found: dict[int, dict[Slips, float]] = {}
    for slips, said, probability in paths(Choices(columns, rates), terms, most, previous):
        if slips and said != terms.answer:
            here = found.setdefault(said, {})
            here[slips] = here.get(slips, 0.0) + probability
    return found


@dataclass
class Hits:
    """How often the true slip is first, among the first three, and how often it could be.

    Probabilities summed over all wrong answers, so that ratios are exact for the sums counted.
    """

    first: float = 0.0
    three: float = 0.0
    best_first: float = 0.0
    best_three: float = 0.0
    kind_three: float = 0.0
    whole: float = 0.0

    def count(self, truth: Mapping[Slips, float], diagnosis: Diagnosis) -> None:
        """Count one number said: what was true of it, and how it was diagnosed."""
        ranked = [explanation.slips for explanation in diagnosis.explanations[:3]]
        likeliest = sorted(truth.values(), reverse=True)
        self.first += truth.get(ranked[0], 0.0) if ranked else 0.0
        self.three += sum(truth.get(slips, 0.0) for slips in ranked)
        self.best_first += likeliest[0]
        self.best_three += sum(likeliest[:3])
        kinds = list(diagnosis.kinds)[:3]
        self.kind_three += sum(p for slips, p in truth.items() if slips[0].kind in kinds)
        self.whole += sum(likeliest)

    def add(self, other: Hits) -> None:
        for name in vars(self):
            setattr(self, name, getattr(self, name) + getattr(other, name))


def random_sum(random: Random, length: int, columns: int = 2) -> Sum:
    """A sum of ``length`` terms, each drawn uniformly from those that stay on the frame."""
    top = 10**columns - 1
    terms: list[int] = []
    while len(terms) < length:
        total = sum(terms)
        term = random.randint(-total, top - total)
        if term:
            terms.append(term)
    return Sum(tuple(terms))


def other_pupil(random: Random, spread: float = 0.7) -> Rates:
    """A pupil whose rates are not the documented ones: each is off by a log-normal factor.

    ``spread`` is the standard deviation of its logarithm: with 0.7 one rate in three is more than
    twice or less than half of what is assumed.
    """
    return Rates(
        base={
            kind: min(0.1, rate * random.lognormvariate(0, spread)) for kind, rate in BASE.items()
        },
        moves={kind: rate * random.lognormvariate(0, spread / 2) for kind, rate in MOVES.items()},
    )
