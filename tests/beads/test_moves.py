from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from oralquiz.beads import Column, Kind, MoveOrder, Sum, TermMoves, explain, play_term
from oralquiz.beads.columns import digit_at, top
from oralquiz.beads.moves import rule_for
from oralquiz.errors import FrameError

ORDERS = list(MoveOrder)


def check_physically(played: TermMoves, columns: int) -> None:
    """Replay ``played`` bead by bead: a one is lifted only if it is down, and so on."""
    frame = [Column.of(digit_at(played.before, c)) for c in range(columns)]
    for move in played.moves:
        assert sum(c.digit * 10**i for i, c in enumerate(frame)) == move.before
        for step in move.beads:
            assert step.count != 0
            shown = frame[step.column]
            if step.bead == "five":
                assert step.count in (1, -1)
                frame[step.column] = Column(shown.five + step.count, shown.ones)
            else:
                frame[step.column] = Column(shown.five, shown.ones + step.count)
        assert sum(c.digit * 10**i for i, c in enumerate(frame)) == move.after
    assert sum(c.digit * 10**i for i, c in enumerate(frame)) == played.after


@pytest.mark.parametrize("order", ORDERS)
def test_every_term_on_two_hands_is_possible_bead_by_bead(order: MoveOrder) -> None:
    count = 0
    for value in range(100):
        for term in range(-value, 100 - value):
            if term:
                played = play_term(value, term, order)
                assert played.after == value + term
                check_physically(played, 2)
                count += 1
    assert count == 100 * 99


@given(
    columns=st.integers(1, 9),
    order=st.sampled_from(ORDERS),
    data=st.data(),
)
def test_every_term_on_larger_frames(columns: int, order: MoveOrder, data: st.DataObject) -> None:
    value = data.draw(st.integers(0, top(columns)))
    after = data.draw(st.integers(0, top(columns)).filter(lambda n: n != value))
    played = play_term(value, after - value, order)
    assert played.after == after
    check_physically(played, columns)


@pytest.mark.parametrize("sign", [1, -1])
def test_kinds_by_exhaustion(sign: int) -> None:
    """35 direct, 10 five, 35 ten, 10 both, for each sign."""
    kinds = Counter(rule_for(s, sign * d).kind for s in range(10) for d in range(1, 10))
    assert kinds == {Kind.DIRECT: 35, Kind.FIVE: 10, Kind.TEN: 35, Kind.BOTH: 10}


@pytest.mark.parametrize(
    ("kind", "sign", "cases"),
    [
        (Kind.FIVE, 1, {1: [4], 2: [3, 4], 3: [2, 3, 4], 4: [1, 2, 3, 4]}),
        (Kind.FIVE, -1, {5: [1, 2, 3, 4], 6: [2, 3, 4], 7: [3, 4], 8: [4]}),
        (Kind.BOTH, 1, {5: [6, 7, 8, 9], 6: [6, 7, 8], 7: [6, 7], 8: [6]}),
        (Kind.BOTH, -1, {1: [6], 2: [6, 7], 3: [6, 7, 8], 4: [6, 7, 8, 9]}),
    ],
)
def test_where_five_and_both_are_needed(kind: Kind, sign: int, cases: dict[int, list[int]]) -> None:
    found = {s: [d for d in range(1, 10) if rule_for(s, sign * d).kind is kind] for s in range(10)}
    assert {s: digits for s, digits in found.items() if digits} == cases


@pytest.mark.parametrize(
    ("shown", "term", "five_first", "ones_first"),
    [
        (3, 4, "five+1 ones-1", "ones-1 five+1"),
        (6, -3, "five-1 ones+2", "ones+2 five-1"),
        (1, 2, "ones+2", "ones+2"),
        (1, 7, "five+1 ones+2", "ones+2 five+1"),
    ],
)
def test_the_order_inside_a_move_is_the_one_taught_in_schools(
    shown: int, term: int, five_first: str, ones_first: str
) -> None:
    for order, expected in zip(ORDERS, (five_first, ones_first), strict=True):
        (move,) = play_term(shown, term, order).moves
        assert " ".join(f"{s.bead}{s.count:+d}" for s in move.beads) == expected


def test_a_carry_cascades_as_moves_of_their_own() -> None:
    moves = play_term(99, 1).moves
    assert [(m.column, m.digit, str(m.rule), m.after, m.carry) for m in moves] == [
        (0, 1, "ten:+1", 90, False),
        (1, 1, "ten:+1", 0, True),
        (2, 1, "direct", 100, True),
    ]


def test_a_borrow_cascades_from_the_left() -> None:
    moves = play_term(1000, -7).moves
    assert [(m.column, m.digit, str(m.rule), m.after, m.carry) for m in moves] == [
        (3, -1, "direct", 0, True),
        (2, -1, "ten:-1", 900, True),
        (1, -1, "ten:-1", 990, True),
        (0, -7, "ten:-7", 993, False),
    ]


@pytest.mark.parametrize(
    ("text", "columns", "message"),
    [
        ("34 + 80", 2, r"term 2 \(\+80\) goes over 99: 34 \+ 80 = 114 cannot be shown on 2 col"),
        ("34 - 40 + 50", 2, r"term 2 \(-40\) goes below zero"),
        ("10", 1, r"term 1 \(\+10\) goes over 9: .* on 1 column$"),
        ("-4 + 8", 2, r"term 1 \(-4\) goes below zero"),
    ],
)
def test_a_term_the_frame_cannot_show_is_refused_by_name(
    text: str, columns: int, message: str
) -> None:
    with pytest.raises(FrameError, match=message):
        explain(Sum.parse(text), columns)


def test_a_column_shows_five_and_four_ones() -> None:
    shown = [(Column.of(d).five, Column.of(d).ones) for d in range(10)]
    assert shown == [(d // 5, d % 5) for d in range(10)]
    for five, ones in [(2, 0), (0, 5), (-1, 0), (0, -1)]:
        with pytest.raises(ValueError, match="no column shows"):
            Column(five, ones)
