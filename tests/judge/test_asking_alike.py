"""Being asked again tells a pupil nothing about right or wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pytest

from oralquiz.beads import Sum
from oralquiz.judge.asking_alike import drawn, one_of, wrong_answers
from oralquiz.judge.confusable import overlapping
from oralquiz.judge.verdict import PRACTICE, TEST, Next, Policy, Verdict, decide
from oralquiz.listen.hearing import Candidate, Hearing

OLDER = replace(PRACTICE, asks_alike=False)


def heard(value: int, confidence: float = 0.999, onset: float = 0.5) -> Hearing:
    return Hearing((Candidate(value, str(value), confidence),), str(value), onset, onset + 0.5)


def many(value: int, confidence: float = 0.999) -> Iterator[Hearing]:
    return (heard(value, confidence, at / 100) for at in range(500))


def test_wrong_answers_are_what_one_slip_leads_to() -> None:
    wrong = wrong_answers(Sum.parse("3 + 4"), 1)
    assert sum(wrong.values()) == pytest.approx(1)
    assert 7 not in wrong
    assert {2, 3, 4, 8} <= wrong.keys()  # the five not moved, a term left out, a finger too many


def test_shares_are_drawn_from_as_they_are() -> None:
    shares = {7: 0.25, 3: 0.75}
    assert [one_of(shares, at) for at in (0.0, 0.24, 0.26, 0.99)] == [7, 7, 3, 3]
    assert one_of({}, 0.0) is None


@pytest.mark.parametrize("sum_", ["20 + 30", "34 + 13 - 22", "21 + 17"])
def test_right_answers_are_asked_about_as_often_as_wrong_ones(sum_: str) -> None:
    terms = Sum.parse(sum_)
    slips = wrong_answers(terms, 2)
    wrongs = sum(share for said, share in slips.items() if decide([heard(said)], terms.answer).asks)
    rights = [decide([one], terms.answer, slips=slips).asks for one in many(terms.answer)]
    assert sum(rights) / len(rights) == pytest.approx(wrongs, abs=0.05)  # SD at most 0.02
    assert wrongs == pytest.approx(
        sum(share for said, share in slips.items() if overlapping(said, terms.answer))
    )


@pytest.mark.parametrize(("policy", "confidence"), [(PRACTICE, 0.9), (TEST, 0.97)])
def test_a_doubtful_number_is_asked_about_whether_right_or_wrong(
    policy: Policy, confidence: float
) -> None:
    slips = {64: 1.0}
    for one in many(25, confidence):
        right, wrong = (decide([one], answer, policy, slips=slips) for answer in (25, 64))
        assert right.asks == wrong.asks == (policy is TEST)


def test_what_was_clearly_right_stays_right() -> None:
    slips = {3: 1.0}  # every slip leads to a part of the answer
    asked = decide([heard(53)], 53, slips=slips)
    assert (asked.verdict, asked.next, asked.part) == (Verdict.UNCLEAR, Next.ASK_AGAIN, True)
    nothing, cough = Hearing((), "", None, None), Hearing((), "", 0.5, 0.9)
    for policy in (PRACTICE, TEST):
        for then in (heard(53), heard(52), nothing, cough):
            after = decide([heard(53), then], 53, policy, slips=slips)
            assert (after.verdict, after.next, after.hearing.value) == ("right", "go_on", 53)


def test_nobody_is_asked_where_nobody_may_be_asked() -> None:
    assert decide([heard(53)], 53, asks=0, slips={3: 1.0}).verdict is Verdict.RIGHT
    assert decide([heard(53)], 53).verdict is Verdict.RIGHT  # it is not known what slips lead to


def test_earlier_rounds_are_judged_as_they_were() -> None:
    assert decide([heard(53)], 53, OLDER, slips={3: 1.0}).verdict is Verdict.RIGHT
    older_test = replace(TEST, asks_alike=False)
    assert decide([heard(26, 0.97)], 64, older_test).verdict is Verdict.WRONG


def test_the_draw_is_the_hearings_own() -> None:
    draws = [drawn(one) for one in many(25)]
    assert draws == [drawn(one) for one in many(25)]
    assert len(set(draws)) == len(draws)
    assert 0 <= min(draws) < 0.01 and 0.99 < max(draws) < 1
    assert sum(draws) / len(draws) == pytest.approx(0.5, abs=0.05)
