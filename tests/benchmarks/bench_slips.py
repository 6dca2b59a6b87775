"""How well are slips ranked, by rule and length, and how long do 10,000 answers take?

Every wrong answer of a pupil with one slip is counted with its exact probability (tests.judge.model
plays every path), for sums composed for a rule and for evenly drawn ones. "first" is how often the
true slip (kind, term, column, move) is ranked first, "best" how often any ranker could that knows
the pupil's true rates, "three" how often it is among the first three, "kinds" how often its kind is
among the first three kinds. "others' rates": each sum is by another pupil, every rate off by a
log-normal factor (SD of the logarithm 0.5 and 0.7), which the ranking does not know.

Run: python -m tests.benchmarks.bench_slips [SUMS A ROW, 12 by default]
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from random import Random

from oralquiz.beads import Sum
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.composed import compose
from oralquiz.judge.diagnosis import Diagnoser
from oralquiz.judge.rates import DEFAULT, Rates
from oralquiz.judge.simulated import SimulatedPupil
from tests.judge.model import Hits, other_pupil, random_sum, table

RULES = ["direct", "five:+3", "five:-4", "ten:+8", "ten:-7", "both:+6", "both:-7"]
LENGTHS = [3, 5, 8]


def always(rates: Rates) -> Callable[[], Rates]:
    return lambda: rates


def count(sums: Iterable[Sum], diagnoser: Diagnoser, rates: Callable[[], Rates]) -> Hits:
    found = Hits()
    for terms in sums:
        for heard, ways in table(terms, diagnoser.columns, rates(), 1).items():
            found.count(ways, diagnoser.diagnose(terms, heard))
    return found


def row(name: str, found: Hits) -> None:
    whole = found.whole
    print(
        f"{name:34} {found.first / whole:6.1%} {found.best_first / whole:6.1%} "
        f"{found.first / found.best_first:7.2%} {found.three / whole:6.1%} "
        f"{found.best_three / whole:6.1%} {found.kind_three / whole:6.1%}"
    )


def ranking(sums_a_row: int) -> None:
    print(f"{'':34}  first   best  of best  three   best  kinds")
    diagnoser = Diagnoser(2)
    syllabus = load_syllabus()
    whole = Hits()
    for rule in RULES:
        for length in LENGTHS:
            request = request_for(syllabus, rule, uses=1 if length == 3 else 2, terms=length)
            found = count(compose(request, sums_a_row, 7).sums, diagnoser, always(DEFAULT))
            row(f"{rule}, {length} terms", found)
            whole.add(found)
    row("all of these", whole)
    for length in [2, *LENGTHS, 10]:
        random = Random(length)
        drawn = [random_sum(random, length) for _ in range(4 * sums_a_row)]
        row(f"evenly drawn, {length} terms", count(drawn, diagnoser, always(DEFAULT)))
    for spread in (0.5, 0.7):
        for length in LENGTHS:
            random = Random(length)
            drawn = [random_sum(random, length) for _ in range(8 * sums_a_row)]
            pupils = Random(1)
            theirs = count(drawn, diagnoser, partial(other_pupil, pupils, spread))
            row(f"others' rates ({spread}), {length} terms", theirs)


def speed(answers: int = 10_000) -> None:
    """Time to diagnose wrong answers of simulated pupils, inexplicable ones included, five terms
    each."""
    random, pupil = Random(2), SimulatedPupil(2)
    wrong: list[tuple[Sum, int]] = []
    while len(wrong) < answers:
        terms = random_sum(random, 5)
        said = pupil.play(terms, random).said
        if said != terms.answer:
            wrong.append((terms, said))
    diagnoser = Diagnoser(2)
    begun, cpu = time.perf_counter(), time.process_time()
    pairs = sum(len(explained(diagnoser, *answer)) for answer in wrong)
    print(
        f"\n{answers:,} wrong answers diagnosed in {time.perf_counter() - begun:.1f} s "
        f"({time.process_time() - cpu:.1f} s of processor time), {pairs:,} explanations"
    )


def explained(diagnoser: Diagnoser, terms: Sum, said: int) -> Sequence[object]:
    return diagnoser.diagnose(terms, said).explanations


if __name__ == "__main__":
    ranking(int(sys.argv[1]) if len(sys.argv) > 1 else 12)
    speed()
