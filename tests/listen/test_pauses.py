from __future__ import annotations

import pytest

from oralquiz.listen.hearing import Candidate
from oralquiz.listen.pauses import MOST_ALONE, interpolated, split_at_pauses
from oralquiz.listen.voice_detector import Segment


def test_quiet_divides_what_was_said_and_a_closure_does_not() -> None:
    six = Segment(100, 300), Segment(380, 500)  # s-i-(closure)-ks
    assert split_at_pauses([*six, Segment(900, None)], 150) == [six, (Segment(900, None),)]
    assert split_at_pauses([], 150) == []
    assert split_at_pauses([Segment(0, 10), Segment(160, 200)], 150) == [
        (Segment(0, 10),),
        (Segment(160, 200),),
    ]


SIXTY_TWO = (Candidate(62, "sixty two", 0.9), Candidate(2, "two", 0.05))
TWO = (Candidate(2, "two", 0.99),)


@pytest.mark.parametrize(
    ("continues", "confidences"),
    [
        (1.0, {62: 0.9, 2: 0.05}),  # "sixty" was said: the whole counts
        (0.5, {62: 0.9 * 0.505, 2: 0.05 * 0.505 + 0.99 * 0.495}),
        (0.0, {62: 0.9 * 0.109, 2: 0.05 * 0.109 + 0.99 * 0.891}),  # a cough, never quite sure
    ],
)
def test_the_less_the_part_before_is_a_number_the_more_the_last_counts_alone(
    continues: float, confidences: dict[int, float]
) -> None:
    found = interpolated(SIXTY_TWO, TWO, continues)
    assert {g.value: g.confidence for g in found} == pytest.approx(confidences)
    assert found[0].confidence == max(confidences.values())
    assert {g.value: g.words for g in found} == {62: "sixty two", 2: "two"}
    assert sum(g.confidence for g in found) <= 1


def test_no_number_in_the_last_part_leaves_the_whole_as_it_is() -> None:
    assert interpolated(SIXTY_TWO, (), 0.0) == SIXTY_TWO


def test_what_only_the_last_part_knows_is_added() -> None:
    (found,) = interpolated((), TWO, 0.0)
    assert found.value == 2
    assert found.confidence == pytest.approx(MOST_ALONE * 0.99 * 0.99)
    assert interpolated((), TWO, 0.95) == ()
