"""Who is told of a weakness: pupils without one, and pupils with one, over eight weekly looks.

30 answers a week for eight weeks to sets that practise seven rules (moves without a complement and
six five rules), all of them equally. Pupils of both families (tests.learn.pupils): one that slips
as `judge` has it, one that knows nothing of that model. "With": one of the six rules slips three
times as often. "bound": a teacher who sees every slip as it happens, knows the pupil's
usual rate exactly and may look but once, at the end, at the same level: no reading of answers can
do better.

Run: python -m tests.benchmarks.bench_weakness [PUPILS A ROW, 40 by default]
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import date, timedelta
from random import Random

from scipy import stats

from oralquiz.beads import Rule, Sum
from oralquiz.compose import Drill, Request, all_moves, compose_set
from oralquiz.judge import DEFAULT, Diagnoser, Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.weakness import CHANCE, explain_answers, what_repeats
from tests.learn.pupils import Family, OtherFamily, OwnFamily, RuleRates

START = date(2024, 3, 4)
RULES = ["five:+4", "five:+3", "five:+2", "five:+1", "five:-4", "five:-3"]
WEEKS, A_WEEK = 8, 30


def sums(seed: int) -> list[Sum]:
    """240 sums of four terms; in a sixth of them each rule is drilled, at least twice a sum."""
    allowed = frozenset(map(Rule.parse, ["direct", *RULES]))
    found: list[Sum] = []
    for rule in RULES:
        drill = Drill(frozenset({Rule.parse(rule)}), 2)
        request = Request(columns=2, terms=4, digits=(2, 2), allowed=allowed, drills=(drill,))
        found += compose_set([request], WEEKS * A_WEEK // len(RULES), seed=seed).sums
    Random(seed).shuffle(found)
    return found


def family(name: str, weak: Rule | None) -> Family:
    if name == "own":
        return OwnFamily(RuleRates(times={weak: 3.0} if weak else {}))
    return OtherFamily(0.02, {weak: 0.06} if weak else {})


def answers_of(pupil: Family, given: Sequence[Sum], random: Random) -> list[Answer]:
    """Ten a day, on three days a week."""
    answers = []
    for number, terms in enumerate(given):
        week, at = divmod(number, A_WEEK)
        said = pupil.play(terms, random)
        verdict = Verdict.RIGHT if said == terms.answer else Verdict.WRONG
        day = START + timedelta(weeks=week, days=2 * (at // 10))
        answers.append(Answer(day, terms, verdict, said, 1.0))
    return answers


def looks(name: str, weak: Rule | None, seed: int, given: Sequence[Sum]) -> tuple[bool, bool]:
    """Whether anything was named at one of the looks, and whether (at last) the weak rule was."""
    explained = explain_answers(answers_of(family(name, weak), given, Random(seed)))
    ever = at_last = False
    for week in range(1, WEEKS + 1):
        named = what_repeats(explained[: week * A_WEEK])
        ever = ever or bool(named)
        at_last = at_last or any(one.rule == weak for one in named if weak)
    return ever, at_last


def bound(given: Sequence[Sum], name: str) -> float:
    """The power of the best test of how often each of six rules failed, all failures seen."""
    shares = []
    for rule in map(Rule.parse, RULES):
        if name == "own":
            diagnoser = Diagnoser(2, DEFAULT)
            usual = sum(
                count
                for terms in given
                for place, count in diagnoser.expected(terms).items()
                if place[1] == rule
            )
        else:
            uses = sum(move.rule == rule for one in given for _, move in all_moves(one.terms, 2))
            usual = 0.02 * uses
        least = stats.poisson.isf(CHANCE / len(RULES), usual) + 1
        shares.append(float(stats.poisson.sf(least - 1, 3 * usual)))
    return sum(shares) / len(shares)


def share(hits: int, of: int) -> str:
    ends = stats.binomtest(hits, of).proportion_ci(method="wilson")
    return f"{hits / of:.0%} ({ends.low:.0%} to {ends.high:.0%})"


def row(name: str, pupils: int) -> None:
    none = found = 0
    sets = [sums(seed) for seed in range(4)]
    for seed in range(pupils):
        given = sets[seed % len(sets)]
        none += looks(name, None, seed, given)[0]
        weak = Rule.parse(RULES[seed % len(RULES)])
        found += looks(name, weak, 1000 + seed, given)[1]
    best = sum(bound(given, name) for given in sets) / len(sets)
    print(
        f"{name:6} without one, named: {share(none, pupils)}; with one, named by 240 answers: "
        f"{share(found, pupils)}; bound {best:.0%}",
        flush=True,
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    for each in ("own", "other"):
        row(each, count)
