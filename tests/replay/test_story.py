"""The story: every move as a step, with its part in a carry or a borrow."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import MoveOrder, Sum
from oralquiz.errors import FrameError
from oralquiz.replay.story import Role, tell


def roles(text: str, columns: int) -> list[tuple[int, int, str, int, int]]:
    """Column, digit, role, before, after of every step."""
    story = tell(Sum.parse(text), columns)
    return [(s.move.column, s.move.digit, str(s.role), s.before, s.after) for s in story.steps]


@pytest.mark.parametrize(
    ("text", "columns", "expected"),
    [
        # Heffelfinger & Flom, "Abacus: Mystery of the Bead", Addition: 34 + 78
        (
            "34 + 78",
            3,
            [
                (1, 3, "own", 0, 30),
                (0, 4, "own", 30, 34),
                (1, 7, "give", 34, 4),
                (2, 1, "arrive", 4, 104),
                (0, 8, "give", 104, 102),
                (1, 1, "arrive", 102, 112),
            ],
        ),
        # a carry that finds a full column goes on
        (
            "99 + 1",
            3,
            [
                (1, 9, "own", 0, 90),
                (0, 9, "own", 90, 99),
                (0, 1, "give", 99, 90),
                (1, 1, "pass", 90, 0),
                (2, 1, "arrive", 0, 100),
            ],
        ),
        # a borrow from an empty column goes further left, and comes back through it
        (
            "100 - 1",
            3,
            [
                (2, 1, "own", 0, 100),
                (2, -1, "borrow", 100, 0),
                (1, -1, "return", 0, 90),
                (0, -1, "return", 90, 99),
            ],
        ),
    ],
)
def test_cascades_are_shown_as_the_moves_they_are(
    text: str, columns: int, expected: list[tuple[int, int, str, int, int]]
) -> None:
    assert roles(text, columns) == expected


def test_a_borrow_knows_who_asked() -> None:
    borrow = tell(Sum.parse("1000 - 8"), 4).steps[1]
    assert borrow.role is Role.BORROW
    assert [(m.column, m.digit) for m in borrow.asked] == [(0, -8), (1, -1), (2, -1)]


def test_both_orders_tell_the_same_moves() -> None:
    five, ones = (tell(Sum.parse("34 + 13"), 2, order) for order in MoveOrder)
    assert [s.gestures for s in five.steps[3:]] == [tuple(reversed(ones.steps[3].gestures))]
    assert [(s.before, s.after) for s in five.steps] == [(s.before, s.after) for s in ones.steps]


def test_what_the_frame_cannot_show_is_refused_with_the_term() -> None:
    with pytest.raises(FrameError, match=r"term 2 \(\+66\)"):
        tell(Sum.parse("34 + 66"), 2)


@given(st.lists(st.integers(1, 999), min_size=1, max_size=6), st.data())
def test_steps_are_one_unbroken_chain(sizes: list[int], data: st.DataObject) -> None:
    total, terms = 0, []
    for size in sizes:
        add = total < size or (total + size <= 999 and data.draw(st.booleans()))
        term = min(size, 999 - total) if add else -size
        if term:
            terms.append(term)
            total += term
    if not terms:
        return
    story = tell(Sum(tuple(terms)), 3)
    shown = 0
    for number, step in enumerate(story.steps, start=1):
        assert (step.number, step.before) == (number, shown)
        shown = step.after
        if step.last_of_term:
            assert shown == story.sum.totals[step.term]
    assert [s.term for s in story.steps if s.last_of_term] == list(range(len(terms)))
