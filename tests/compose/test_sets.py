"""Sets: spread evenly over hands and digits, varied, new, from easier to harder."""

from __future__ import annotations

from collections import Counter

import pytest

from oralquiz.beads import Rule, explain
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.difficulty import Difficulty, difficulty_of
from oralquiz.compose.sets import DrillPlace, compose_set, places_of
from oralquiz.compose.sum_check import check_sum
from oralquiz.errors import BadInput

COURSE = load_syllabus()
FIVE = Rule.parse("five:+3")


def test_both_hands_and_every_digit_are_drilled_evenly() -> None:
    made = compose_set([request_for(COURSE, "five:+3")], 30, seed=1)
    # + 3 by the five is played where a column shows 2, 3 or 4, on either hand
    places = [DrillPlace(FIVE, column, shown) for column in (0, 1) for shown in (2, 3, 4)]
    assert sorted(made.coverage) == places
    assert min(made.coverage.values()) >= 5
    assert max(made.coverage.values()) <= min(made.coverage.values()) + 1


def test_coverage_is_what_the_bead_frame_plays() -> None:
    made = compose_set([request_for(COURSE, "ten:+7", uses=2)], 12, seed=2)
    played = Counter(
        DrillPlace(move.rule, move.column, move.before // 10**move.column % 10)
        for terms in made.sums
        for term in explain(terms, 2)
        for move in term.moves
        if move.rule == Rule.parse("ten:+7")
    )
    assert made.coverage == dict(played)


@pytest.mark.parametrize("step", ["direct", "five:+4", "five:-1", "ten:+1", "both:-9"])
def test_every_place_that_sums_can_drill_is_drilled(step: str) -> None:
    made = compose_set([request_for(COURSE, step)], 40, seed=3)
    moves_left = {"ten": 0, "both": 0}  # two hands cannot carry out of the tens
    possible = {
        place
        for place in places_of(made.requests[0])
        if place.column == 0 or place.rule.kind.value not in moves_left
    }
    assert set(made.coverage) == possible


def test_lengths_and_answers_vary() -> None:
    made = compose_set([request_for(COURSE, "ten:-4", terms=n) for n in (4, 5, 6)], 30, seed=4)
    assert Counter(len(s.terms) for s in made.sums) == {4: 10, 5: 10, 6: 10}
    assert len({s.answer for s in made.sums}) == 30
    assert len(made.counts) == 3


def test_every_sum_fits_its_request() -> None:
    requests = [request_for(COURSE, "both:+6", terms=n) for n in (3, 5)]
    for terms in compose_set(requests, 20, seed=5).sums:
        request = next(r for r in requests if r.terms == len(terms.terms))
        assert check_sum(terms.terms, request) == []


def test_from_easier_to_harder() -> None:
    made = compose_set([request_for(COURSE, "both:+7", terms=n) for n in (3, 4, 5)], 30, seed=6)
    points = [load.points for load in made.difficulties]
    assert points == sorted(points)
    assert points[-1] > 1.5 * points[0]


def test_earlier_sums_do_not_come_again() -> None:
    request = request_for(COURSE, "five:+2")
    first = compose_set([request], 20, seed=7)
    had = {s.terms for s in first.sums}
    again = compose_set([request], 20, seed=7, avoid=had)
    assert not had & {s.terms for s in again.sums}
    assert len({s.terms for s in again.sums}) == 20


def test_fewer_sums_where_there_are_no_more() -> None:
    request = request_for(COURSE, "five:+4", columns=1, terms=2, digits=(1, 1))
    everything = compose_set([request], 100, seed=8)
    assert {s.terms for s in everything.sums} == {(1, 4), (2, 4), (3, 4)}  # 4 + 4 repeats
    assert everything.counts[0].total == 3
    none_left = compose_set([request], 100, seed=8, avoid={s.terms for s in everything.sums})
    assert none_left.sums == ()


def test_a_seed_gives_the_same_set() -> None:
    requests = [request_for(COURSE, "ten:+3")]
    assert compose_set(requests, 9, seed=9) == compose_set(requests, 9, seed=9)
    assert compose_set(requests, 9, seed=9).sums != compose_set(requests, 9, seed=10).sums


def test_exam_grades_make_sets_without_a_drill() -> None:
    exams = load_syllabus("exam-grades")
    made = compose_set([request_for(exams, "grade-5")], 10, seed=1)
    assert len(made.sums) == 10
    assert made.coverage == {}
    assert all(sum(len(str(abs(t))) for t in s.terms) == 8 for s in made.sums)


def test_a_set_needs_a_request() -> None:
    with pytest.raises(BadInput, match="at least one request"):
        compose_set([], 5, seed=1)


def test_a_set_has_an_end() -> None:
    with pytest.raises(BadInput, match="at most 1,000 sums, not 1,001"):
        compose_set([request_for(COURSE, "direct")], 1_001, seed=1)


@pytest.mark.parametrize(
    ("terms", "columns", "difficulty"),
    [
        # 12, + 21: four direct moves; 12 is kept
        ((12, 21), 2, Difficulty(moves=4, kinds=0, cascades=0, kept=2)),
        # 4 + 3 by the five
        ((4, 3), 1, Difficulty(moves=2, kinds=1, cascades=0, kept=1)),
        # 8 + 9: the ten (1) and its carry, direct
        ((8, 9), 2, Difficulty(moves=3, kinds=1, cascades=0, kept=1)),
        # 99 + 1: the ten, its carry by the ten again (a cascade), and the last carry
        ((99, 1), 3, Difficulty(moves=5, kinds=2, cascades=1, kept=2)),
        # 7 + 6 by both; 100 keeps one digit, not three
        ((7, 6), 2, Difficulty(moves=3, kinds=2, cascades=0, kept=1)),
        ((100, 5), 3, Difficulty(moves=2, kinds=0, cascades=0, kept=1)),
    ],
)
def test_the_difficulty_is_as_documented(
    terms: tuple[int, ...], columns: int, difficulty: Difficulty
) -> None:
    assert difficulty_of(terms, columns) == difficulty
