"""Weaknesses: slips that repeat, each with the answers it is seen in.

A single slip says nothing: everybody slips. What is stable across answers and days differs from
what happened once (Brown & Burton 1978; VanLehn 1982), and is named here only when all of these
hold:

* at least FEWEST answers are explained by it, each with a probability of at least CLEAR;
* on at least FEWEST_DAYS different days;
* by chance, at this pupil's own general rate of slips, at least as many would be seen in fewer
  than CHANCE of such histories.

We look for one kind of slip at one rule (the five not moved in + 3), one kind at any rule, and
one rule with any slip. The narrower name is preferred; a broader one is given only to what the
narrower ones leave unexplained.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date

import scipy  # its parts are loaded when they are first used

from oralquiz.beads import Rule
from oralquiz.judge import DEFAULT, Diagnoser, Rates, Slip, SlipKind, Verdict
from oralquiz.learn.answers import Answer

FEWEST = 3
FEWEST_DAYS = 2
CLEAR = 0.5
CHANCE = 0.01


@dataclass(frozen=True)
class Evidence:
    """One wrong answer, the likeliest slip of that name, and the probability of the name."""

    answer: Answer
    said: int
    slip: Slip
    probability: float

    @property
    def day(self) -> date:
        return self.answer.day


@dataclass(frozen=True)
class Weakness:
    """A slip that repeats: a kind, a rule, or a kind at a rule (the other is None).

    ``evidence`` is in the order of the answers; ``expected`` is how many such answers are
    to be expected at this pupil's general rate of slips, ``chance`` the probability of at least
    as many as were seen.
    """

    kind: SlipKind | None
    rule: Rule | None
    evidence: tuple[Evidence, ...]
    expected: float
    chance: float


_Key = tuple[SlipKind | None, Rule | None]


def _kind_at_rule(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return (kind, rule) if rule else None


def _kind(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return kind, None


def _rule(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return (None, rule) if rule else None


@dataclass(frozen=True)
class _Wrong:
    """A wrong answer with every slip that may have made it."""

    answer: Answer
    said: int
    slips: tuple[tuple[Slip, float], ...]


def weaknesses(answers: Iterable[Answer], rates: Rates = DEFAULT) -> tuple[Weakness, ...]:
    """What repeats in ``answers`` of one pupil, most evidence first.

    Unclear and silent answers are left out: nobody knows what they were.
    """
    left, expected = _explain_answers(answers, rates)
    if not left:
        return ()
    slips = sum(probability for wrong in left for _, probability in wrong.slips)
    general = max(1.0, slips / sum(expected.values()))
    found: list[Weakness] = []
    for group in (_kind_at_rule, _kind, _rule):
        for key, evidence in _evidence(left, group).items():
            awaited = general * sum(n for place, n in expected.items() if group(*place) == key)
            chance = float(scipy.stats.poisson.sf(len(evidence) - 1, awaited))
            days = {item.day for item in evidence}
            if len(evidence) >= FEWEST and len(days) >= FEWEST_DAYS and chance < CHANCE:
                found.append(Weakness(*key, tuple(evidence), awaited, chance))
        named = {id(item.answer) for weakness in found for item in weakness.evidence}
        left = [wrong for wrong in left if id(wrong.answer) not in named]
    return tuple(sorted(found, key=lambda weakness: -len(weakness.evidence)))


def _evidence(
    wrong_answers: Iterable[_Wrong], group: Callable[[SlipKind, Rule | None], _Key | None]
) -> dict[_Key, list[Evidence]]:
    """The answers that each name of ``group`` explains clearly.

    Where in the sum it happened need not be clear: the places of one name are added up.
    """
    found: dict[_Key, list[Evidence]] = {}
    for wrong in wrong_answers:
        by_key: dict[_Key, list[tuple[Slip, float]]] = {}
        for slip, probability in wrong.slips:
            key = group(slip.kind, slip.rule)
            if key is not None:
                by_key.setdefault(key, []).append((slip, probability))
        for key, its in by_key.items():
            whole = sum(probability for _, probability in its)
            if whole >= CLEAR:
                likeliest = max(its, key=lambda pair: pair[1])[0]
                found.setdefault(key, []).append(
                    Evidence(wrong.answer, wrong.said, likeliest, whole)
                )
    return found


def _explain_answers(
    answers: Iterable[Answer], rates: Rates
) -> tuple[list[_Wrong], dict[tuple[SlipKind, Rule | None], float]]:
    """The wrong answers explained, and how many slips are expected in all at these rates."""
    diagnosers: dict[int, Diagnoser] = {}
    wrong: list[_Wrong] = []
    expected: dict[tuple[SlipKind, Rule | None], float] = {}
    for answer in answers:
        if answer.verdict not in (Verdict.RIGHT, Verdict.WRONG):
            continue
        if answer.columns not in diagnosers:
            diagnosers[answer.columns] = Diagnoser(answer.columns, rates)
        diagnoser = diagnosers[answer.columns]
        for place, count in diagnoser.expected(answer.terms, answer.previous).items():
            expected[place] = expected.get(place, 0.0) + count
        if answer.verdict is Verdict.WRONG and answer.said is not None:
            diagnosis = diagnoser.diagnose(answer.terms, answer.said, answer.previous)
            slips = tuple((slip, e.probability) for e in diagnosis.explanations for slip in e.slips)
            wrong.append(_Wrong(answer, answer.said, slips))
    return wrong, expected
