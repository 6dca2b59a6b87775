"""Does practice adapt? Goals and what was measured, with invented pupils of two families.

The first family slips as `judge` says, the second knows nothing of that model (tests.learn.pupils).

pace: pupils who fail only because of the pace, with slopes and lapses off the grid: the error of
the pace at which 85 % go right, and how many pupils' share of right answers is between 75 and 95 %.
drift: the threshold suddenly changes by a factor of 1.4; the error 30 sums later. share: one of the
six five rules taught fails three times as often as the others; the share of sums 41 to 120 that
drill it, against a sixth. mastered: of the rules called mastered, those whose moves really succeed
95 times in 100.
recall: a pupil forgets rules between days, by the curve of the scheduler ("own") or exponentially,
with a stability that each review doubles ("other"); of a rule that is forgotten four moves in ten
fail that day. Claimed against true, over all rules that were due.

gain: 12 days of 8 minutes with practice that adapts, against sets of each day's rule at 2.5 s: how
many moves fail two days later, and the pace for 85 %. The threshold falls by a two-hundredth with
each sum read faster than is easy. Three learners, none of which was fitted to anything here:

* moves: half of a rule's failures are gone after 40 uses in sums that were not too quick, right or
  wrong; a fiftieth of what was learned is lost a day (our own, the plainest there is).
* success: strength on the logit scale grows with each move of a sum, by 0.06 if the sum came out
  right, by 0.02 if not (that successes teach more: Pavlik, Cen & Koedinger 2009, from memory; sizes
  ours), and is kept by a power of the days since (Wixted & Ebbesen 1991, from memory; the exponent
  is ours).
* effort: as "moves", but a sum teaches most where it goes right 85 times in 100 and nothing where
  it cannot fail or never succeeds (Wilson et al. 2019, from memory; the shape between is ours).
  This is what the practice's target rests on, so it is the kindest of the three to it.

Run: python -m tests.benchmarks.bench_practice [PUPILS A ROW, 40 by default] [GOAL ...]
"""

from __future__ import annotations

import math
import sys
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import numpy as np
from scipy import stats

from oralquiz.beads import Rule, Sum
from oralquiz.learn import Practice, PracticeSettings
from oralquiz.learn.review import FEWEST_USES, Memory
from oralquiz.learn.skill import uses_of
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


class Forgetting:
    """A pupil's rules: each is kept from one day to the next with some probability."""

    def __init__(self, name: str, random: Random) -> None:
        self.name, self.random = name, random
        self.memory: dict[str, Memory] = {}
        self.stability: dict[str, float] = {}
        self.seen: dict[str, datetime] = {}

    def kept(self, rule: str, now: datetime) -> float:
        """The probability that the rule is kept at ``now``; 1 before it was first practised."""
        if rule not in self.seen:
            return 1.0
        if self.name == "own":
            recall = self.memory[rule].recall(now)
            return 1.0 if recall is None else recall
        return math.exp(-(now - self.seen[rule]).days / self.stability[rule])

    def practised(self, rule: str, now: datetime, kept: bool) -> None:
        failed = 0.0 if kept else 4.0
        before = self.memory.get(rule, Memory())
        self.memory[rule] = before.after(now.date(), now, 10, failed).settled()
        first = self.stability.get(rule)
        self.stability[rule] = 20.0 if first is None else first * (2.0 if kept else 0.6)
        self.seen[rule] = now


def recall(name: str, pupils: int) -> None:
    claimed, true = [], []
    for seed in range(pupils):
        random = Random(seed)
        practice, mind = Practice("two-hands", RULES, seed=seed), Forgetting(name, random)
        day = 0
        for _ in range(14):
            now = START + timedelta(days=day)
            kept = {rule: mind.kept(rule, now) for rule in RULES}
            for rule, skill in practice.skills().items():
                claim = practice.recall(rule, now)
                if rule != "direct" and claim is not None and skill.due and skill.due <= now:
                    claimed.append(claim)
                    true.append(kept[rule])
            lost = {rule for rule in RULES[1:] if random.random() > kept[rule]}
            chances = {Rule.parse(rule): 0.4 if rule in lost else 0.02 for rule in RULES}
            family = OtherFamily(0.01, chances, lost=0.0, anything=0.0)
            uses: Counter[str] = Counter()
            for _ in range(20):
                task = practice.next(now)
                said = family.play(task.sum, random)
                verdict = "right" if said == task.sum.answer else "wrong"
                practice.tell(task, verdict, said, 1.0, now)
                uses.update({rule.name: n for rule, n in uses_of(task.sum, 2).items()})
            for rule in (one for one in RULES if uses[one] >= FEWEST_USES):
                mind.practised(rule, now, rule not in lost)
            day += random.choice((1, 2, 3, 7))
    gap = abs(float(np.mean(claimed)) - float(np.mean(true)))
    found = f"{gap:.3f} (claimed {np.mean(claimed):.2f}, true {np.mean(true):.2f}, n {len(true)})"
    row("recall when due, claim less truth", "0.05", name, found)


DIRECT = Rule.parse("direct")
COMPLEMENTS = tuple(map(Rule.parse, RULES[1:]))
FAILS = 0.25
"""Of the moves of a rule that was never used."""


class Learner(ABC):
    """A pupil whose moves fail less with use and more after days without, and whose threshold
    falls."""

    def __init__(self, pacing: Pacing) -> None:
        self.pacing = pacing
        self.learned = dict.fromkeys(COMPLEMENTS, 0.0)
        self.day: dict[Rule, int] = {}

    @abstractmethod
    def failing(self, learned: float) -> float:
        """The share of a rule's moves that fail, of what was ``learned``."""

    @abstractmethod
    def kept(self, learned: float, days: int) -> float:
        """What is left of ``learned`` after so many days without."""

    @abstractmethod
    def taught(self, right: bool, keeps_up: bool, chance: float) -> float:
        """What one move of a sum adds. ``chance``: that the sum would come out right."""

    def answers(self, terms: Sum, pace_s: float, day: int, random: Random) -> int:
        keeps_up = random.random() < self.pacing.chance(pace_s)
        uses = {rule: n for rule, n in uses_of(terms, 2).items() if rule != DIRECT}
        for rule in uses:
            self.learned[rule] = self.at(rule, day)
            self.day[rule] = day
        failing = {rule: self.failing(its) for rule, its in self.learned.items()}
        family = OtherFamily(0.01, failing, lost=0.0, anything=0.0)
        said = family.play(terms, random)
        if not keeps_up:
            said = (said - random.choice(terms.terms)) % 100
        chance = math.prod((1 - failing[rule]) ** n for rule, n in uses.items())
        chance *= self.pacing.chance(pace_s)
        for rule, count in uses.items():
            self.learned[rule] += count * self.taught(said == terms.answer, keeps_up, chance)
        if pace_s < 1.3 * self.pacing.pace_for(0.85):
            faster = self.pacing.threshold_s * (1 - 1 / 200)
            self.pacing = replace(self.pacing, threshold_s=faster)
        return said

    def at(self, rule: Rule, day: int) -> float:
        return self.kept(self.learned[rule], day - self.day.get(rule, day))

    def at_the_end(self, day: int) -> tuple[float, float]:
        """The share of moves of a complement that fail, all rules alike; the pace for 85 %."""
        away = [self.failing(self.at(rule, day)) for rule in COMPLEMENTS]
        return float(np.mean(away)), self.pacing.pace_for(0.85)


class ByMoves(Learner):
    """``learned``: the share of the failures that is gone."""

    def failing(self, learned: float) -> float:
        return float(FAILS * 0.5**learned)

    def kept(self, learned: float, days: int) -> float:
        return -math.log2(1 - (1 - 0.5**learned) * 0.98**days)

    def taught(self, right: bool, keeps_up: bool, chance: float) -> float:
        return 1 / 40 if keeps_up else 0.0


class BySuccess(Learner):
    """``learned``: strength on the logit scale."""

    def failing(self, learned: float) -> float:
        odds = FAILS / (1 - FAILS) * math.exp(-learned)
        return odds / (1 + odds)

    def kept(self, learned: float, days: int) -> float:
        return float(learned * (1 + days) ** -0.05)

    def taught(self, right: bool, keeps_up: bool, chance: float) -> float:
        return 0.06 if right else 0.02


class ByEffort(ByMoves):
    """Most is learned where 85 sums in 100 go right."""

    def taught(self, right: bool, keeps_up: bool, chance: float) -> float:
        share = (chance / 0.85) ** 1.7 * ((1 - chance) / 0.15) ** 0.3
        return float(share / 40)


LEARNERS: Mapping[str, type[Learner]] = {
    "moves": ByMoves,
    "success": BySuccess,
    "effort": ByEffort,
}


def learned(name: str, pacing: Pacing, seed: int, adapts: bool) -> tuple[float, float]:
    """12 days, 8 minutes each; a sum takes its terms, an answer and 6 s."""
    learner, random = LEARNERS[name](pacing), Random(seed)
    practice = Practice("two-hands", RULES, seed=seed)
    for day in range(0, 24, 2):
        fixed = PracticeSettings(rule=RULES[1 + day // 4], today=1.0, due=0.0)
        if not adapts:
            practice = Practice("two-hands", RULES, fixed, seed=100 * seed + day)
        left = 8 * 60.0
        while left > 0:
            now = START + timedelta(days=day, seconds=480 - left)
            task = practice.next(now)
            pace_s = task.pace_s if adapts else 2.5
            said = learner.answers(task.sum, pace_s, day, random)
            if adapts:
                verdict = "right" if said == task.sum.answer else "wrong"
                practice.tell(task, verdict, said, 1.0, now)
            else:
                practice.tell(task, "unclear", None, None, now)  # nothing is learned from it
            left -= pace_s * len(task.sum.terms) + 6
    return learner.at_the_end(24)


def gain(name: str, pupils: int) -> None:
    fewer, quicker = [], []
    for seed, pacing in enumerate(pacings(pupils, 7)):
        (adapted, pace_s), (fixed, fixed_pace_s) = (
            learned(name, pacing, seed, adapts) for adapts in (True, False)
        )
        fewer.append(100 * (fixed - adapted))
        quicker.append(100 * (1 - pace_s / fixed_pace_s))
    row("gain: fewer moves fail, in 100", "any", name, mean_and_half(fewer))
    row("gain: pace for 85 % quicker by, %", "any", name, mean_and_half(quicker))


def mean_and_half(values: Sequence[float]) -> str:
    half = stats.t.ppf(0.975, len(values) - 1) * np.std(values, ddof=1) / len(values) ** 0.5
    return f"{np.mean(values):.1f} ({np.mean(values) - half:.1f} to {np.mean(values) + half:.1f})"


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    wanted = sys.argv[2:] or ["pace", "weak_rule", "recall", "gain"]
    of_families = {"pace": pace, "weak_rule": weak_rule, "recall": recall}
    for goal, measure in of_families.items():
        for family_name in PERFECT if goal in wanted else ():
            measure(family_name, count)
    for learner_name in LEARNERS if "gain" in wanted else ():
        gain(learner_name, count)
