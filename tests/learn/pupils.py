"""Invented pupils of two families, for the proofs of `learn`.

The first plays by `judge`'s own model of slips. The second knows nothing of it: at a move of a rule
that fails, the column ends on a digit near the right one; apart from moves, now and then a running
total is lost or the answer is arbitrary. Both lose a term when the pace is too quick for them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random

import numpy as np

from oralquiz.beads import Rule, Sum
from oralquiz.compose import all_moves
from oralquiz.judge import DEFAULT, Rates, SimulatedPupil, SlipKind


@dataclass(frozen=True)
class RuleRates(Rates):
    """The usual rates times ``all_times``; those of a move also times its rule's ``times``."""

    times: Mapping[Rule, float] = field(default_factory=dict)
    all_times: float = 1.0

    def of(self, kind: SlipKind, rule: Rule | None) -> float:
        usual = super().of(kind, rule) * self.all_times
        return usual if rule is None else usual * self.times.get(rule, 1.0)


@dataclass(frozen=True)
class Pacing:
    """How a pupil keeps up: P(nothing lost) = (1 - lapse) / (1 + (threshold_s / pace) ** slope)."""

    threshold_s: float
    slope: float
    lapse: float

    def chance(self, pace_s: float) -> float:
        return float((1 - self.lapse) / (1 + (self.threshold_s / pace_s) ** self.slope))

    def pace_for(self, share: float) -> float:
        """The pace at which ``share`` goes right, if nothing but the pace matters."""
        return float(self.threshold_s * (share / (1 - self.lapse - share)) ** (1 / self.slope))


class OwnFamily:
    """Slips as `judge` models them."""

    def __init__(self, rates: Rates = DEFAULT, columns: int = 2) -> None:
        self._pupil = SimulatedPupil(columns, rates)

    def play(self, terms: Sum, random: Random) -> int:
        return self._pupil.play(terms, random).said


class OtherFamily:
    """Slips of another kind: P(a move fails) is ``failing``, except for some rules.

    ``lost``: the probability that a running total is misremembered in one digit; ``anything``: that
    the answer is an arbitrary number.
    """

    def __init__(
        self,
        failing: float = 0.02,
        rules: Mapping[Rule, float] | None = None,
        lost: float = 0.02,
        anything: float = 0.02,
        columns: int = 2,
    ) -> None:
        self.failing, self.rules = failing, dict(rules or {})
        self.lost, self.anything, self.columns = lost, anything, columns

    def play(self, terms: Sum, random: Random) -> int:
        modulus = 10**self.columns
        if random.random() < self.anything:
            return random.randrange(modulus)
        error = 0
        for _, move in all_moves(terms.terms, self.columns):
            if random.random() < self.rules.get(move.rule, self.failing):
                off = random.choice((1, 1, 1, 2, 2, 3, 4, 5, 9, 10)) * random.choice((1, -1))
                error += off * int(10**move.column)
        for _ in terms.terms[1:]:
            if random.random() < self.lost:
                error += random.choice((1, 2, 5, 10, 20, 30, 50)) * random.choice((1, -1))
        return int((terms.answer + error) % modulus)


Family = OwnFamily | OtherFamily


def answer(family: Family, pacing: Pacing | None, terms: Sum, pace_s: float, random: Random) -> int:
    """What is said; a pupil who does not keep up loses one of the terms."""
    said = family.play(terms, random)
    if pacing is None or random.random() < pacing.chance(pace_s):
        return said
    lost = random.choice(terms.terms)
    return (said - lost) % 100


def pacings(count: int, seed: int) -> list[Pacing]:
    """Pupils who differ from each other, off the points of any grid."""
    rng = np.random.default_rng(seed)
    return [
        Pacing(
            float(np.exp(rng.normal(0.4, 0.4))),
            float(rng.uniform(2.6, 9.5)),
            min(float(lapse), 0.08),
        )
        for lapse in rng.beta(1.3, 40, count)
    ]
