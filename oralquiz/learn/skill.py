"""How surely a pupil makes the moves of one rule: a Gaussian on the logit scale.

A right sum says that every move in it succeeded. A wrong one is blamed on its rules by the
probabilities of its diagnosis, weighed by how sure this pupil is of each rule. What is known
spreads with the days that pass, and a little with every sum, for skill changes.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from oralquiz.beads import Kind, Rule, Sum
from oralquiz.compose import all_moves
from oralquiz.judge import Diagnosis

SPREAD_A_SUM = 0.03
SPREAD_A_DAY = 0.06
WIDEST = 1.3
"""The logit's standard deviation before anything is known, and the most it grows to again."""

_USUAL = {Kind.DIRECT: 0.008, Kind.FIVE: 0.03, Kind.TEN: 0.03, Kind.BOTH: 0.045}
"""About how often a move slips at `judge.rates`, by which the diagnosis weighs slips."""
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(25)
UNEXPLAINED = 0.5
"""The share of a wrong answer that nothing explains which is laid on the sum's rules."""


def probability(logit: float) -> float:
    return 1 / (1 + math.exp(-logit))


@dataclass(frozen=True)
class SkillBelief:
    """The logit of the probability that one move of a rule succeeds: its mean and its SD."""

    mean: float
    sd: float

    @classmethod
    def before(cls, rule: Rule) -> SkillBelief:
        """Nothing is known; most pupils who were taught a rule make 93 moves in 100 right, and
        98 where the beads are free."""
        return cls(4.0 if rule.kind is Kind.DIRECT else 2.6, WIDEST)

    @property
    def chance(self) -> float:
        """The expected probability that a move succeeds (MacKay 1992's approximation)."""
        return probability(self.mean / math.sqrt(1 + math.pi * self.sd**2 / 8))

    def at_least(self, sds: float) -> float:
        """The probability that a move succeeds, ``sds`` standard deviations below the mean."""
        return probability(self.mean - sds * self.sd)

    def after(self, succeeded: float, failed: float) -> SkillBelief:
        """So many moves more: the mean and SD of the posterior, by Gauss-Hermite quadrature."""
        logits = self.mean + self.sd * _NODES
        weights = _WEIGHTS * np.exp(
            -succeeded * np.logaddexp(0, -logits) - failed * np.logaddexp(0, logits)
        )
        weights = weights / weights.sum()
        mean = float(weights @ logits)
        return SkillBelief(mean, math.sqrt(float(weights @ (logits - mean) ** 2)))

    def drifted(self, days: float = 0.0) -> SkillBelief:
        """One sum, or so many ``days``, later."""
        variance = SPREAD_A_DAY**2 * days if days else SPREAD_A_SUM**2
        return SkillBelief(self.mean, min(math.sqrt(self.sd**2 + variance), max(self.sd, WIDEST)))


def uses_of(terms: Sum, columns: int) -> dict[Rule, int]:
    """How often the right play of a sum uses each rule."""
    return dict(Counter(move.rule for _, move in all_moves(terms.terms, columns)))


def blame(
    diagnosis: Diagnosis | None, uses: Mapping[Rule, int], beliefs: Mapping[Rule, SkillBelief]
) -> dict[Rule, float]:
    """How many moves of each rule failed in a wrong sum, in expectation: at most one in all.

    Without a diagnosis (nobody knows what was said) the rules share the blame by their risk.
    """

    def doubt(rule: Rule) -> float:
        return 1 - beliefs[rule].chance if rule in beliefs else _USUAL[rule.kind]

    risks = {rule: count * doubt(rule) for rule, count in uses.items()}
    risk = sum(risks.values())
    if diagnosis is None:
        return {rule: its / risk for rule, its in risks.items()}
    weighed: list[tuple[float, list[Rule]]] = []
    for explanation in diagnosis.explanations:
        rules = [slip.rule for slip in explanation.slips if slip.rule is not None]
        odds = math.prod(doubt(rule) / _USUAL[rule.kind] for rule in rules)
        weighed.append((explanation.probability * odds, rules))
    others = diagnosis.two_slips + UNEXPLAINED * diagnosis.unexplained
    whole = sum(weight for weight, _ in weighed) + diagnosis.two_slips + diagnosis.unexplained
    found = {rule: its / risk * others / whole for rule, its in risks.items()}
    for weight, rules in weighed:
        for rule in rules:
            found[rule] = found.get(rule, 0.0) + weight / whole / len(rules)
    return found
