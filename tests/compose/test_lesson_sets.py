from __future__ import annotations

from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.lesson_sets import compose_lesson


def test_what_cannot_be_had_gives_way() -> None:
    """Two terms of one digit on one hand: few sums, few answers."""
    request = request_for(
        load_syllabus(), "five:+4", columns=1, digits=(1, 1), terms=2, answer=(5, 7)
    )
    every = compose_lesson(request, 1, 1)
    total = every.total
    assert total is not None
    assert total >= 3
    full = compose_lesson(request, total, 1)
    assert full.different
    assert {one.answer for one in full.sets[0]} <= {5, 6, 7}
    first = compose_lesson(request, 1, 1).sets[0]
    had = {one.terms for one in first}
    assert not had & {one.terms for one in compose_lesson(request, 2, 1, [had]).sets[0]}
    more = compose_lesson(request, total + 1, 1)
    assert not more.different
    assert len(more.sets[0]) == total + 1


def test_no_sum_is_in_two_sets() -> None:
    request = request_for(load_syllabus(), "ten:+9", terms=4)
    made = compose_lesson(request, 6, 3, [()] * 5)
    sums = [one for its in made.sets for one in its]
    assert made.different
    assert len(set(sums)) == 30
    assert all(len({one.answer for one in its}) == 6 for its in made.sets)
