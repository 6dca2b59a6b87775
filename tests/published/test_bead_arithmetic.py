"""Bead arithmetic against published values."""

from __future__ import annotations

import pytest

from oralquiz.beads import BeadStep, Column, Kind, Sum, explain
from oralquiz.beads.columns import top
from oralquiz.beads.moves import rule_for


def test_finger_values() -> None:
    """Lieberthal, The Complete Book of Fingermath (1979), quoted from a secondary page: right thumb
    5, right fingers 1 each, left thumb 50, left fingers 10 each; two hands show 0 to 99."""
    assert top(2) == 99
    thumb, fingers = Column(five=1, ones=0).digit, [Column(five=0, ones=n).digit for n in (1, 4)]
    assert (thumb, fingers) == (5, [1, 4])
    (left, right) = explain(Sum((66,)), 2)[0].moves  # one thumb and one finger on each hand
    assert left.beads == (BeadStep(1, "five", 1), BeadStep(1, "ones", 1))
    assert right.beads == (BeadStep(0, "five", 1), BeadStep(0, "ones", 1))
    assert (left.after, right.after) == (60, 66)


def test_34_plus_78() -> None:
    """Heffelfinger & Flom, Abacus: Mystery of the Bead, "Addition": tens - 3 with + 1 carried
    (104), ones - 2 with + 1 carried (112)."""
    moves = explain(Sum.parse("34 + 78"), 3)[1].moves
    assert [(m.column, m.digit, str(m.rule), m.after) for m in moves] == [
        (1, 7, "ten:+7", 4),
        (2, 1, "direct", 104),
        (0, 8, "ten:+8", 102),
        (1, 1, "direct", 112),
    ]
    assert moves[0].beads == (BeadStep(1, "ones", -3),)
    assert moves[2].beads == (BeadStep(0, "ones", -2),)


def test_45_7_plus_4_5() -> None:
    """The same source, scaled to 457 + 45: + 4 (497), then - 5 and the carry meets a full 9:
    - 9, + 1 (502)."""
    moves = explain(Sum.parse("457 + 45"), 3)[1].moves
    assert [(m.column, m.digit, m.after) for m in moves] == [
        (1, 4, 497),
        (0, 5, 492),
        (1, 1, 402),
        (2, 1, 502),
    ]
    assert moves[1].beads == (BeadStep(0, "five", -1),)
    assert [step.count for step in moves[2].beads] == [-1, -4]  # - 9: the five and four ones


@pytest.mark.parametrize(
    ("shown", "digit", "kind", "own"),
    [
        # common practice of the trade: + 3 is then + 5 - 2, and - 3 is + 2 - 5
        (3, 3, Kind.FIVE, {"five": 1, "ones": -2}),
        (6, -3, Kind.FIVE, {"five": -1, "ones": 2}),
        # from memory, any bead-frame book: 10 = 9+1 = 8+2 = 7+3 = 6+4 = 5+5
        (9, 9, Kind.TEN, {"ones": -1}),
        (9, 8, Kind.TEN, {"ones": -2}),
        (9, 7, Kind.TEN, {"ones": -3}),
        (9, 6, Kind.TEN, {"ones": -4}),
        (9, 5, Kind.TEN, {"five": -1}),
        (7, 6, Kind.BOTH, {"five": -1, "ones": 1}),  # + 10 - 5 + 1
    ],
)
def test_complements(shown: int, digit: int, kind: Kind, own: dict[str, int]) -> None:
    assert rule_for(shown, digit).kind is kind
    term = explain(Sum((shown, digit)), 2)[1]
    (move,) = [m for m in term.moves if m.column == 0]
    assert {step.bead: step.count for step in move.beads} == own
