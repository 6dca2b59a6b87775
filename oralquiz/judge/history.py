"""What a pupil's past answers say about how often which slip is to be expected of this pupil."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from oralquiz.beads import Rule, Sum
from oralquiz.judge.diagnosis import Diagnoser, Diagnosis
from oralquiz.judge.rates import DEFAULT, Rates
from oralquiz.judge.slip import SlipKind

Count = dict[tuple[SlipKind, Rule | None], float]
"""Slips by kind and rule (None where no move went wrong); fractions where it is not certain."""

STRENGTH = 1.0
"""How many slips' worth of evidence the starting rate of a kind is: the shape of a gamma prior."""

RULE_STRENGTH = 6.0
"""The same for a rule. Larger: there are ten times as many rules as kinds that stand out, and a
factor from one or two chance slips would hurt the ranking of all the others."""

TURNS = 3
"""Rounds of expectation-maximisation. Later ones change little and trust chance slips more."""


def observed(diagnosis: Diagnosis) -> Count:
    """The slips of one answer, each counted as far as it is probable."""
    counts: Count = {}
    for explanation in diagnosis.explanations:
        for slip in explanation.slips:
            key = (slip.kind, slip.rule)
            counts[key] = counts.get(key, 0.0) + explanation.probability
    return counts


def sharpened(
    seen: Mapping[tuple[SlipKind, Rule | None], float],
    awaited: Mapping[tuple[SlipKind, Rule | None], float],
    start: Rates = DEFAULT,
) -> Rates:
    """The rates of a pupil with ``seen`` slips where ``start`` let ``awaited`` ones be expected.

    Each factor is the mean of a gamma distribution, (STRENGTH + seen) / (STRENGTH + awaited),
    first by kind of slip, then (with RULE_STRENGTH) by rule given the kinds: the usual
    empirical-Bayes estimate of a Poisson rate, which stays near 1 until the evidence outweighs
    the strength.
    """
    seen_kinds, awaited_kinds = _by_kind(seen), _by_kind(awaited)
    kinds = {
        kind: (STRENGTH + seen_kinds.get(kind, 0.0)) / (STRENGTH + awaited_kinds.get(kind, 0.0))
        for kind in start.base
    }
    seen_rules: dict[Rule, float] = {}
    awaited_rules: dict[Rule, float] = {}
    for (_, rule), count in seen.items():
        if rule is not None:
            seen_rules[rule] = seen_rules.get(rule, 0.0) + count
    for (kind, rule), count in awaited.items():
        if rule is not None:
            awaited_rules[rule] = awaited_rules.get(rule, 0.0) + count * kinds[kind]
    rules = {
        rule: (RULE_STRENGTH + seen_rules.get(rule, 0.0))
        / (RULE_STRENGTH + awaited_rules.get(rule, 0.0))
        for rule in {**seen_rules, **awaited_rules}
    }
    return Rates(
        base=start.base,
        moves=start.moves,
        kinds={kind: start.kinds.get(kind, 1.0) * factor for kind, factor in kinds.items()},
        rules={
            **start.rules,
            **{rule: start.rules.get(rule, 1.0) * factor for rule, factor in rules.items()},
        },
        stray=start.stray,
    )


def rates_of(answers: Iterable[tuple[Sum, int]], columns: int = 2, start: Rates = DEFAULT) -> Rates:
    """The rates of a pupil who gave ``answers``: each a sum and the number that counted.

    Right answers belong here too: they tell how often nothing went wrong. Unclear and silent
    ones do not. Which slip an answer was, and how often this pupil makes it, depend on each
    other: they are found in turns (expectation-maximisation, ``TURNS`` of them).
    """
    diagnoser = Diagnoser(columns, start)
    awaited: Count = {}
    wrong: list[tuple[Sum, int]] = []
    for terms, heard in answers:
        _add(awaited, diagnoser.expected(terms))
        if heard != terms.answer:
            wrong.append((terms, heard))
    rates = start
    for _ in range(TURNS if wrong else 1):
        seen: Count = {}
        diagnoser = Diagnoser(columns, rates)
        for terms, heard in wrong:
            _add(seen, observed(diagnoser.diagnose(terms, heard)))
        rates = sharpened(seen, awaited, start)
    return rates


def _add(counts: Count, more: Mapping[tuple[SlipKind, Rule | None], float]) -> None:
    for key, count in more.items():
        counts[key] = counts.get(key, 0.0) + count


def _by_kind(counts: Mapping[tuple[SlipKind, Rule | None], float]) -> dict[SlipKind, float]:
    found: dict[SlipKind, float] = {}
    for (kind, _), count in counts.items():
        found[kind] = found.get(kind, 0.0) + count
    return found
