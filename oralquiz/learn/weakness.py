"""Weaknesses: slips that repeat, each with the answers it is seen in.

A single slip says nothing: everybody slips. What is stable across answers and days differs from
what happened once (Brown & Burton 1978; VanLehn 1982), and is named here only when all of these
hold:

* at least FEWEST answers are explained by it, each with a probability of at least CLEAR;
* on at least FEWEST_DAYS different days;
* the answers are so much likelier if it happens TIMES as often as elsewhere that a pupil without
  any weakness would hardly ever be named, however often one looks.

A pupil is compared with no table of rates but with the same pupil: a rule with the other rules that
need a complement, a kind of slip at a rule with the same kind at other rules too. For each name,
the evidence is a likelihood ratio, averaged over TIMES; of a pupil without a weakness it is above
1 / a at some look with a probability of at most a (Ville 1939), so no look costs anything. Names
share CHANCE between them.

We look for one kind of slip at one rule (the five not moved in + 3), one kind at any rule, and
one rule with any slip. The narrower name is preferred; a broader one is given only to what the
narrower ones leave unexplained.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from oralquiz.beads import DIRECT, Rule
from oralquiz.judge import DEFAULT, Diagnoser, Rates, Slip, SlipKind, Verdict
from oralquiz.learn.answers import Answer

FEWEST = 3
FEWEST_DAYS = 2
CLEAR = 0.5
CHANCE = 0.04
"""Of a pupil without a weakness ever being named; a third of it for each sort of name."""
TIMES = (3.0, 8.0, 20.0)
USUAL_KINDS = 2.5
"""A kind of slip, wherever it happens, may be so many times as frequent as our rates say: children
differ in how they slip, and our rates are guesses."""


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

    ``evidence`` is in the order of the answers; ``expected`` is how many such slips are to be
    expected of this pupil, going by the other rules, ``chance`` a bound on the probability of such
    evidence, at some look, without a weakness.
    """

    kind: SlipKind | None
    rule: Rule | None
    evidence: tuple[Evidence, ...]
    expected: float
    chance: float


_Place = tuple[SlipKind, Rule | None]
_Key = tuple[SlipKind | None, Rule | None]


def _kind_at_rule(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return (kind, rule) if rule and rule != DIRECT else None


def _kind(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return kind, None


def _rule(kind: SlipKind, rule: Rule | None) -> _Key | None:
    return (None, rule) if rule and rule != DIRECT else None


_Group = Callable[[SlipKind, Rule | None], _Key | None]


@dataclass(frozen=True)
class Explained:
    """An answer that was judged right or wrong: how many slips are expected in it at each place,
    and the ways in which it may have come about, each with its probability (none if it is right).
    ``rest``: the probability that it was none of them."""

    answer: Answer
    expected: Mapping[_Place, float]
    ways: tuple[tuple[tuple[Slip, ...], float], ...] = ()
    rest: float = 0.0


def weaknesses(answers: Iterable[Answer], rates: Rates = DEFAULT) -> tuple[Weakness, ...]:
    """What repeats in ``answers`` of one pupil, most evidence first.

    Unclear and silent answers are left out: nobody knows what they were.
    """
    return what_repeats(explain_answers(answers, rates))


def explain_answers(answers: Iterable[Answer], rates: Rates = DEFAULT) -> list[Explained]:
    """Those that were judged right or wrong, by the usual ``rates``."""
    diagnosers: dict[int, Diagnoser] = {}
    found = []
    for answer in answers:
        if answer.verdict not in (Verdict.RIGHT, Verdict.WRONG):
            continue
        if answer.columns not in diagnosers:
            diagnosers[answer.columns] = Diagnoser(answer.columns, rates)
        found.append(_explained(answer, diagnosers[answer.columns]))
    return found


def _explained(answer: Answer, diagnoser: Diagnoser) -> Explained:
    expected = diagnoser.expected(answer.terms, answer.previous)
    if answer.verdict is Verdict.RIGHT or answer.said is None:
        return Explained(answer, expected)
    diagnosis = diagnoser.diagnose(answer.terms, answer.said, answer.previous)
    ways = tuple((one.slips, one.probability) for one in diagnosis.explanations)
    return Explained(answer, expected, ways, diagnosis.two_slips + diagnosis.unexplained)


def what_repeats(explained: Sequence[Explained]) -> tuple[Weakness, ...]:
    """As `weaknesses`, of answers that are explained already."""
    wrong = _weighed(explained)
    expected: dict[_Place, float] = defaultdict(float)
    for one in explained:
        for place, count in one.expected.items():
            expected[place] += count
    found: list[Weakness] = []
    for group in (_kind_at_rule, _rule, _kind):
        level = math.log(len({group(*place) for place in expected} | {None}) * 3 / CHANCE)
        named: list[Weakness] = []
        for key, evidence in _evidence(wrong, group).items():
            clear = tuple(item for item in evidence if item.probability >= CLEAR)
            if len(clear) < FEWEST or len({item.day for item in clear}) < FEWEST_DAYS:
                continue
            awaited = _awaited(key, group, wrong, expected)
            ratio = _log_ratio([item.probability for item in evidence], awaited)
            if ratio >= level:
                named.append(Weakness(*key, clear, awaited, math.exp(-ratio)))
        found += named
        gone = {id(item.answer) for weakness in named for item in weakness.evidence}
        wrong = [one for one in wrong if id(one.answer) not in gone]
    return tuple(sorted(found, key=lambda weakness: -len(weakness.evidence)))


def _log_ratio(probabilities: Sequence[float], awaited: float) -> float:
    """The logarithm of how much likelier the answers are if the slip happens TIMES as often.

    ``probabilities``: of each answer that it was this slip; ``awaited``: how many are expected.
    """
    logs = [
        sum(math.log1p((times - 1) * probability) for probability in probabilities)
        - (times - 1) * awaited
        for times in TIMES
    ]
    most = max(logs)
    return most + math.log(sum(math.exp(one - most) for one in logs) / len(logs))


def _awaited(
    key: _Key, group: _Group, wrong: Sequence[Explained], expected: Mapping[_Place, float]
) -> float:
    """How many slips of the name ``key`` this pupil would make if it were like the others."""
    kind, rule = key
    own = sum(count for place, count in expected.items() if group(*place) == key)
    with_complement = [place for place in expected if place[1] and place[1] != DIRECT]
    if rule is None:  # a kind of slip beside the other kinds
        others = [place for place in expected if place[0] is not kind]
        return own * USUAL_KINDS * _times(others, wrong, expected)
    others = [place for place in with_complement if place[1] != rule]
    usual = _times(others, wrong, expected)
    if kind is not None:
        usual = max(usual, _times([one for one in others if one[0] is kind], wrong, expected))
    return own * usual


def _times(
    places: Sequence[_Place], wrong: Sequence[Explained], expected: Mapping[_Place, float]
) -> float:
    """How many times as often as we expect the pupil slips at ``places``; 1 until more is known."""
    wanted = set(places)
    seen = sum(
        probability
        for one in wrong
        for slips, probability in one.ways
        for slip in slips
        if (slip.kind, slip.rule) in wanted
    )
    return (seen + 1) / (sum(expected[place] for place in wanted) + 1)


def _weighed(explained: Sequence[Explained], rounds: int = 8) -> list[Explained]:
    """The wrong answers, their ways weighed by how often this pupil slips where a complement is
    needed, where none is, and apart from moves, and how often nothing explains the answer."""
    wrong = [one for one in explained if one.ways or one.rest]
    awaited: dict[str, float] = defaultdict(float)
    for one in explained:
        for (_, rule), count in one.expected.items():
            awaited[_sort(rule)] += count
    times = dict.fromkeys(("rule", "direct", "apart", "rest"), 1.0)
    awaited["rest"] = sum(one.rest for one in wrong)
    weighed = wrong
    for _ in range(rounds):
        weighed = [_by(one, times) for one in wrong]
        seen: dict[str, float] = defaultdict(float)
        for one in weighed:
            seen["rest"] += one.rest
            for slips, probability in one.ways:
                for slip in slips:
                    seen[_sort(slip.rule)] += probability
        times = {sort: (seen[sort] + 1) / (awaited[sort] + 1) for sort in times}
    return weighed


def _sort(rule: Rule | None) -> str:
    return "apart" if rule is None else "direct" if rule == DIRECT else "rule"


def _by(one: Explained, times: Mapping[str, float]) -> Explained:
    ways = [
        (slips, probability * math.prod(times[_sort(slip.rule)] for slip in slips))
        for slips, probability in one.ways
    ]
    rest = one.rest * times["rest"]
    whole = sum(weight for _, weight in ways) + rest
    shares = tuple((slips, weight / whole) for slips, weight in ways)
    return Explained(one.answer, one.expected, shares, rest / whole)


def _evidence(wrong: Iterable[Explained], group: _Group) -> dict[_Key, list[Evidence]]:
    """For each name of ``group`` the answers that it may explain.

    Where in the sum it happened need not be clear: the places of one name are added up.
    """
    found: dict[_Key, list[Evidence]] = {}
    for one in wrong:
        by_key: dict[_Key, list[tuple[Slip, float]]] = {}
        for slips, probability in one.ways:
            for slip in slips:
                key = group(slip.kind, slip.rule)
                if key is not None:
                    by_key.setdefault(key, []).append((slip, probability))
        for key, its in by_key.items():
            whole = min(1.0, sum(probability for _, probability in its))
            likeliest = max(its, key=lambda pair: pair[1])[0]
            said = one.answer.said
            if said is not None:
                found.setdefault(key, []).append(Evidence(one.answer, said, likeliest, whole))
    return found
