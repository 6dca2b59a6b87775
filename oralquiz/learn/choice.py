"""Which rules the next sums drill, and why, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from numpy.random import Generator

from oralquiz.beads import DIRECT, Kind, Rule
from oralquiz.learn.mastery import Mastery
from oralquiz.learn.review import Memory
from oralquiz.learn.skill import SkillBelief, probability

FEW_USES = 6
"""A rule with fewer moves is called new."""
LONG_USED = 30
"""From so many moves on, the rule taught last is no longer put before the others."""


@dataclass(frozen=True)
class Known:
    """All that is known of one pupil and one rule; ``uses``: how many moves were seen."""

    belief: SkillBelief
    memory: Memory = field(default_factory=Memory)
    mastery: Mastery = field(default_factory=Mastery)
    uses: int = 0
    seen: datetime | None = None


@dataclass(frozen=True)
class Shares:
    """Of what the sums of a set are made; what is left is mixed."""

    today: float
    due: float


@dataclass(frozen=True)
class Drilled:
    """A rule chosen, and the reason in words."""

    rule: Rule
    reason: str


def choose(
    known: Mapping[Rule, Known],
    order: Sequence[Rule],
    count: int,
    shares: Shares,
    wish: Rule | None,
    now: datetime,
    rng: Generator,
) -> list[Drilled]:
    """The rules of ``count`` sums. ``order``: as they were taught; ``wish``: what the pupil, or the
    teacher, asked for."""
    today = Drilled(wish, f"{rule_words(wish)} was asked for") if wish else _today(known, order)
    for_today, for_due = round(shares.today * count), round(shares.due * count)
    others = [rule for rule in order if rule != today.rule] or order
    due = _due(known, others, now) or _weakest(known, others)
    mixed = [_mixed(known, order, rng) for _ in range(count - for_today - for_due)]
    return _interleaved([[today] * for_today, [due] * for_due, mixed])


def rule_words(rule: Rule) -> str:
    """``+ 7 is + 10 - 3``."""
    size = abs(rule.digit)
    sign, other = ("+", "-") if rule.digit > 0 else ("-", "+")
    parts = {
        Kind.FIVE: f"{sign} 5 {other} {5 - size}",
        Kind.TEN: f"{sign} 10 {other} {10 - size}",
        Kind.BOTH: f"{sign} 10 {other} 5 {sign} {size - 5}",
    }
    if rule == DIRECT:
        return "a move whose beads are free"
    return f"{sign} {size} is {parts[rule.kind]}"


def _today(known: Mapping[Rule, Known], order: Sequence[Rule]) -> Drilled:
    """The latest rule while it is new; then, of those not yet mastered, the least sure one. A rule
    that was hardly used counts as unsure, so every rule has its turn."""
    growing = [rule for rule in order if not known[rule].mastery.reached]
    if not growing:
        return _weakest(known, order)
    rule = order[-1]
    if rule not in growing or known[rule].uses >= LONG_USED:
        rule = min(reversed(growing), key=lambda rule: known[rule].belief.mean)
    if known[rule].uses < FEW_USES:
        return Drilled(rule, f"{rule_words(rule)} is new")
    share = round(100 * known[rule].belief.chance)
    return Drilled(rule, f"{rule_words(rule)} is growing: about {share} moves in 100 go right")


def _weakest(known: Mapping[Rule, Known], order: Sequence[Rule]) -> Drilled:
    rule = min(order, key=lambda rule: known[rule].belief.mean)
    slips = max(1, round(100 * (1 - probability(known[rule].belief.mean))))
    return Drilled(rule, f"{rule_words(rule)} is the least sure: about {slips} in 100 go wrong")


def _due(known: Mapping[Rule, Known], order: Sequence[Rule], now: datetime) -> Drilled | None:
    """Of the rules that are due, the one least likely to be recalled, the latest of several. Moves
    whose beads are free come in every sum: they are never due."""
    recalls: dict[Rule, float] = {}
    for rule in reversed(order):
        memory = known[rule].memory
        recall = memory.recall(now)
        if rule != DIRECT and recall is not None and memory.due is not None and memory.due <= now:
            recalls[rule] = recall
    if not recalls:
        return None
    rule = min(recalls, key=lambda rule: recalls[rule])
    seen = known[rule].memory.last
    days = (now.date() - seen.date()).days if seen else 0
    ago = f"{days} day{'' if days == 1 else 's'}"
    return Drilled(rule, f"it is {ago} since {rule_words(rule)}")


def _mixed(known: Mapping[Rule, Known], order: Sequence[Rule], rng: Generator) -> Drilled:
    """Any rule, the sooner the less sure it is."""
    doubts = [1 - known[rule].belief.chance for rule in order]
    at = rng.choice(len(order), p=[doubt / sum(doubts) for doubt in doubts])
    return Drilled(order[at], f"mixed in: {rule_words(order[at])}")


def _interleaved(groups: Sequence[Sequence[Drilled]]) -> list[Drilled]:
    """All of ``groups``, each spread evenly over the whole."""
    placed = [
        ((at + 0.5) / len(group), number, drilled)
        for number, group in enumerate(groups)
        for at, drilled in enumerate(group)
    ]
    return [drilled for _, _, drilled in sorted(placed, key=lambda one: one[:2])]
