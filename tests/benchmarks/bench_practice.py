"""Does practice adapt? Goals and what was measured, with invented pupils of two families.

The first family slips as `judge` says, the second knows nothing of that model (tests.learn.pupils).

pace: pupils who fail only because of the pace, with slopes and lapses off the grid: the error of
the pace at which 85 % go right, and how many pupils' share of right answers is between 75 and 95 %.
drift: the threshold suddenly changes by a factor of 1.4; the error 30 sums later. share: one of the
six five rules taught fails three times as often as the others; the share of sums 41 to 120 that
drill it, against a sixth. mastered: of the rules called mastered, those whose moves really succeed
95 times in 100.

Run: python -m tests.benchmarks.bench_practice [PUPILS A ROW, 40 by default]
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import numpy as np
from scipy import stats

from oralquiz.beads import Rule
from oralquiz.learn import Practice
from tests.learn.pupils import Family, OtherFamily, OwnFamily, Pacing, RuleRates, answer, pacings

START = datetime(2024, 3, 4, 16, tzinfo=UTC)
RULES = ["direct", "five:+4", "five:+3", "five:+2", "five:+1", "five:-4", "five:-3"]
PERFECT: Mapping[str, Family] = {
    "own": OwnFamily(RuleRates(all_times=0.0, stray=0.0)),
    "other": OtherFamily(failing=0, lost=0, anything=0),
}


def session(
    practice: Practice,
    family: Family,
    pacing: Pacing | None,
    count: int,
    random: Random,
    day: int = 0,
) -> tuple[list[bool], list[str]]:
    """``count`` sums on one day: which were right, and which rules they drilled."""
    right, rules = [], []
    for n in range(count):
        now = START + timedelta(days=day, seconds=30 * n)
        task = practice.next(now)
        said = answer(family, pacing, task.sum, task.pace_s, random)
        right.append(said == task.sum.answer)
        practice.tell(task, "right" if right[-1] else "wrong", said, 1.0, now)
        rules.append(task.rule)
    return right, rules


def row(goal: str, wanted: str, name: str, found: str) -> None:
    print(f"{goal:34} {wanted:16} {name:6} {found}", flush=True)


def interval(share: float, of: int) -> str:
    """A share with Wilson's 95 % interval, in %."""
    ends = stats.binomtest(round(share * of), of).proportion_ci(method="wilson")
    return f"{share:.0%} ({ends.low:.0%} to {ends.high:.0%}, n {of})"


def pace(name: str, pupils: int) -> None:
    errors, shares, after = [], [], []
    for seed, pacing in enumerate(pacings(pupils, 5)):
        practice, random = Practice("two-hands", "ten:+4", seed=seed), Random(seed)
        right, _ = session(practice, PERFECT[name], pacing, 40, random)
        errors.append(abs(practice.pace_for() / pacing.pace_for(0.85) - 1))
        shares.append(float(np.mean(right)))
        changed = replace(pacing, threshold_s=pacing.threshold_s * (1.4 if seed % 2 else 1 / 1.4))
        session(practice, PERFECT[name], changed, 30, random)
        after.append(abs(practice.pace_for() / changed.pace_for(0.85) - 1))
    within = float(np.mean([0.75 <= share <= 0.95 for share in shares]))
    row("pace, error after 40 sums", "20 %", name, spread(errors))
    row("right in 40 sums, 75 to 95 %", "90 % of pupils", name, interval(within, pupils))
    row("pace, error 30 sums after a change", "20 %", name, spread(after))


def spread(errors: Sequence[float]) -> str:
    return f"mean {np.mean(errors):.0%}, median {np.median(errors):.0%}, n {len(errors)}"


def weak_rule(name: str, pupils: int) -> None:
    shares, true, claimed = [], 0, 0
    for seed in range(pupils):
        weak = Rule.parse(RULES[1 + seed % 6])
        family: Family = OwnFamily(RuleRates(times={weak: 3.0}))
        chances = {Rule.parse(one): 0.97 for one in RULES} | {weak: 0.91}
        if name == "other":
            family = OtherFamily(0.02, {rule: 1 - chance for rule, chance in chances.items()})
        practice, random, drilled = Practice("two-hands", RULES, seed=seed), Random(seed), []
        for day in range(6):
            drilled += session(practice, family, None, 20, random, day)[1]
        shares.append(float(np.mean([rule == weak.name for rule in drilled[40:]])))
        if name == "other":  # only there is the truth one number for each rule
            called = [Rule.parse(one) for one, its in practice.skills().items() if its.mastered]
            claimed += len(called)
            true += sum(chances[rule] >= 0.95 for rule in called)
    mean, half = np.mean(shares), 1.96 * np.std(shares) / pupils**0.5
    row(
        "a weak rule's share, sums 41 to 120",
        "33 % (a sixth x 2)",
        name,
        f"{mean:.0%} (+- {half:.0%})",
    )
    if claimed:
        row("mastered is true", "90 %", name, interval(true / claimed, claimed))


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    for each in PERFECT:
        pace(each, count)
        weak_rule(each, count)
