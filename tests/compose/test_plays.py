"""The arrays of plays hold the bead frame's own moves."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from oralquiz.beads import ALL_RULES, DIRECT, Rule, play_term
from oralquiz.compose import Drill, Request
from oralquiz.compose.frame_moves import frame_moves
from oralquiz.compose.plays import NO_RULE, cells_of, column_moves, plays_for


def rules_in_arrays(total: int, term: int, columns: int) -> Counter[Rule]:
    cells = cells_of(np.array([total]), np.array([term]), columns)
    indices = [int(column_moves().rule[cell[0]]) for cell in cells]
    return Counter(ALL_RULES[index] for index in indices if index != NO_RULE)


def test_every_term_at_every_total_of_two_hands() -> None:
    totals, terms = np.meshgrid(np.arange(100), np.array([t for t in range(-99, 100) if t]))
    inside = (totals + terms >= 0) & (totals + terms <= 99)
    total, term = totals[inside], terms[inside]
    cells = np.stack(cells_of(total, term, 2))
    rules = column_moves().rule[cells]
    for at in range(len(total)):
        played = Counter(m.rule for m in play_term(int(total[at]), int(term[at])).moves)
        mine = Counter(ALL_RULES[index] for index in rules[:, at] if index != NO_RULE)
        assert mine == played, (total[at], term[at])


@pytest.mark.parametrize(
    ("total", "term", "columns"),
    [(99, 1, 3), (999, 1, 4), (457, 45, 3), (1000, -1, 4), (90909, 9091, 6), (10000, -9999, 5)],
)
def test_cascades_on_wide_frames(total: int, term: int, columns: int) -> None:
    assert rules_in_arrays(total, term, columns) == Counter(
        move.rule for move in play_term(total, term).moves
    )


def test_below_zero_the_frame_borrows_from_beyond() -> None:
    # 3 - 7 on one column: the one beyond is borrowed in the head, the ones column does - 7 as
    # + 3 and shows 6 = 10 - 4; paying back, - 4 + 9 carries out and shows 5
    assert [str(m.rule) for m in frame_moves(3, -7, 1)] == ["both:-7"]
    assert [m.after % 10 for m in frame_moves(3, -7, 1)] == [6]
    assert [str(m.rule) for m in frame_moves(-4, 9, 1)] == ["ten:+9"]
    for total, term in [(3, -45), (-42, 45), (-90, -9), (-1, 2), (-99, 99), (50, -99)]:
        assert rules_in_arrays(total, term, 2) == Counter(
            move.rule for move in frame_moves(total, term, 2)
        )


def test_only_allowed_rules_from_totals_that_can_be_reached() -> None:
    # directly, from nothing: 1..4 and 5..9 are set and cleared, never 4 -> 5
    plays = plays_for(Request(columns=1, terms=5, digits=(1, 1), allowed=frozenset({DIRECT})))
    pairs = set(zip(plays.before.tolist(), plays.term.tolist(), strict=True))
    assert (4, 1) not in pairs
    assert (4, 5) in pairs
    assert len(pairs) == 70  # 35 of each sign: the direct column cases
    # one term only: the frame is empty before it
    plays = plays_for(Request(columns=2, terms=1, digits=(2, 2)))
    assert set(plays.before.tolist()) == {0}


def test_uses_are_counted_with_carries_and_places() -> None:
    drill = Drill(frozenset({Rule.parse("five:+1")}))
    left = Drill(drill.rules, column=1, shown=4)
    plays = plays_for(Request(columns=2, terms=3, digits=(1, 2), drills=(drill, left)))
    uses = {
        (int(before), int(term)): (int(all_), int(left_))
        for before, term, all_, left_ in zip(plays.before, plays.term, *plays.uses, strict=True)
    }
    assert uses[4, 1] == (1, 0)
    assert uses[49, 1] == (1, 1)  # the carry's own move: 4 tens + 1
    assert uses[44, 11] == (2, 1)
    assert uses[5, 1] == (0, 0)


def test_the_play_after_and_its_opposite() -> None:
    plays = plays_for(Request(columns=1, terms=4, digits=(1, 1)))
    index = {
        (int(b), int(t)): at for at, (b, t) in enumerate(zip(plays.before, plays.term, strict=True))
    }
    assert plays.again[index[2, 3]] == index[5, 3]
    assert plays.back[index[2, 3]] == index[5, -3]
    assert plays.again[index[2, 7]] == len(plays)  # 9 + 7 leaves the frame
