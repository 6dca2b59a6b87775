from datetime import date, timedelta
from random import Random

import pytest

from oralquiz.beads import Sum
from oralquiz.judge.rates import BASE, Rates
from oralquiz.judge.simulated import SimulatedPupil
from oralquiz.judge.slip import SlipKind
from oralquiz.judge.verdict import Verdict
from oralquiz.learn.answers import Answer
from oralquiz.learn.weakness import weaknesses
from tests.judge.model import random_sum
from tests.sizes import size

pytestmark = pytest.mark.slow

FIRST = date(2024, 3, 4)


def answer(text: str, said: int, day: int = 0) -> Answer:
    terms = Sum.parse(text)
    verdict = Verdict.RIGHT if said == terms.answer else Verdict.WRONG
    return Answer(FIRST + timedelta(days=day), terms, verdict, said, 1.0)


NO_THUMB = [  # the five not moved in + 3 = + 5 - 2
    answer("34 + 13 - 22", 20, day=0),
    answer("42 + 3", 40, day=1),
    answer("23 + 13", 31, day=2),
]
RIGHT = [answer("34 + 13 - 22", 25, day=day) for day in range(3)]


def test_a_slip_that_repeats_is_named_with_its_evidence() -> None:
    (weakness,) = weaknesses([*NO_THUMB, *RIGHT])
    assert weakness.kind is SlipKind.FIVE_NOT_MOVED
    assert weakness.rule is not None and weakness.rule.name == "five:+3"
    assert [item.answer for item in weakness.evidence] == NO_THUMB
    assert [item.said for item in weakness.evidence] == [20, 40, 31]
    assert all(item.probability > 0.8 for item in weakness.evidence)
    assert weakness.expected < 0.5 and weakness.chance < 0.05


def test_twice_is_not_yet_a_weakness() -> None:
    assert weaknesses([*NO_THUMB[:2], *RIGHT]) == ()


def test_one_bad_day_is_not_a_weakness() -> None:
    assert weaknesses([answer(str(a.terms), a.said or 0, day=1) for a in NO_THUMB]) == ()


def test_what_chance_would_bring_is_not_a_weakness() -> None:
    # the same three slips among very many answers that needed the same move
    often = [answer("34 + 13 - 22", 25, day=day) for day in range(3)] * 60
    assert weaknesses([*NO_THUMB, *often]) == ()


def test_a_broader_name_only_for_what_is_left_over() -> None:
    # the five not moved, each time in a different rule
    scattered = [
        answer("42 + 3", 40, day=0),
        answer("41 + 4", 40, day=1),
        answer("6 - 4", 7, day=2),
        answer("7 - 3", 9, day=3),
    ]
    (weakness,) = weaknesses([*scattered, *RIGHT, *RIGHT, *RIGHT])
    assert weakness.kind is SlipKind.FIVE_NOT_MOVED and weakness.rule is None


def test_unclear_and_silent_answers_are_not_evidence() -> None:
    unclear = [
        Answer(FIRST + timedelta(days=day), Sum.parse("42 + 3"), verdict, None)
        for day in range(4)
        for verdict in (Verdict.UNCLEAR, Verdict.SILENT)
    ]
    assert weaknesses(unclear) == ()
    assert weaknesses([]) == ()


def lessons(rates: Rates, seed: int, answers: int = 120) -> list[Answer]:
    random, pupil = Random(seed), SimulatedPupil(2, rates)
    given = []
    for number in range(answers):
        terms = random_sum(random, 4)
        said = pupil.play(terms, random).said
        given.append(answer(str(terms), said, day=number // 12))
    return given


def test_simulated_pupils_with_and_without_a_habit() -> None:
    habit = Rates(base={**BASE, SlipKind.BORROW_FORGOTTEN: 0.2})
    found = without = 0
    pupils = size(3, 6)
    for seed in range(pupils):
        names = [weakness.kind for weakness in weaknesses(lessons(habit, seed))]
        found += SlipKind.BORROW_FORGOTTEN in names
        without += bool(weaknesses(lessons(Rates(), seed)))
    assert found == pupils
    assert without <= pupils // 3
