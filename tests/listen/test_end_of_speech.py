from __future__ import annotations

import pytest

from oralquiz.listen.end_of_speech import EndRule
from oralquiz.listen.hearing import Candidate, Hearing
from oralquiz.listen.language import Growth

RULE = EndRule(closed_s=1, digits_s=2, open_s=3, other_s=4)


def heard(confidence: float) -> Hearing:
    return Hearing((Candidate(4, "four", confidence),), "four", 0.0, 1.0)


@pytest.mark.parametrize(
    ("growth", "quiet_s"), [(Growth.CLOSED, 1), (Growth.DIGITS, 2), (Growth.OPEN, 3)]
)
def test_a_sure_number_ends_by_what_it_can_still_become(growth: Growth, quiet_s: float) -> None:
    assert RULE.quiet_s(heard(0.9), growth) == quiet_s


@pytest.mark.parametrize("growth", Growth)
def test_after_a_doubtful_number_the_wait_is_as_if_it_could_grow(growth: Growth) -> None:
    assert RULE.quiet_s(heard(0.4), growth) == 3


def test_without_a_number_the_wait_is_longest() -> None:
    assert RULE.quiet_s(Hearing((), "[unk]", 0.0, 1.0), Growth.OPEN) == 4
