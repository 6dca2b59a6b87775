"""Totals below zero, as the trade shows them: the complement, with one borrowed. A

common practice of the trade (from memory, no single source): when more is taken away than the frame
shows, one is borrowed from the column beyond it; the frame then shows the complement of the
negative total, and the answer is read as what is missing from the borrowed one. An exam's dan
grades have about one negative answer in ten (the exam standards named in test_exam_grades.py).
"""

from __future__ import annotations

import pytest

from oralquiz.compose import Request
from oralquiz.compose.composed import compose
from oralquiz.compose.frame_moves import frame_moves


@pytest.mark.parametrize(
    ("total", "term", "columns", "shown", "rules"),
    [
        # 3 - 7 = -4: the frame shows 6, the complement of 4; - 7 is - 10 + 3, + 3 by the five
        (3, -7, 1, 6, ["both:-7"]),
        # 25 - 60 = -35: shows 65, the complement of 35
        (25, -60, 2, 65, ["both:-6"]),
        # 12 - 17 = -5: shows 95; - 10 directly, then - 7 borrows from the tens, which are empty
        # and borrow on; what is left of - 7 in the ones is + 3, from 2 to 5 by the five
        (12, -17, 2, 95, ["direct", "ten:-1", "both:-7"]),
        # and back: -35 + 60 = 25 pays the one back
        (-35, 60, 2, 25, ["both:+6"]),
    ],
)
def test_the_frame_shows_the_complement(
    total: int, term: int, columns: int, shown: int, rules: list[str]
) -> None:
    moves = frame_moves(total, term, columns)
    assert [move.rule.name for move in moves] == rules
    assert (total + term) % 10**columns == shown
    assert moves[-1].after % 10**columns == shown


def test_sums_for_negative_answers_can_be_asked_for() -> None:
    request = Request(columns=2, terms=5, digits=(2, 2), below_zero=True, answer=(-99, -1))
    composed = compose(request, 50, seed=1)
    assert len(composed.sums) == 50
    assert all(each.answer < 0 for each in composed.sums)
    assert all(-99 <= total <= 99 for each in composed.sums for total in each.totals)
    assert compose(Request(answer=(-99, -1)), 1, seed=1).total == 0
