"""The rounds that come of a plan: whose sums, in which order, on how many devices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from oralquiz.judge.verdict import TEST
from oralquiz.rounds.planning import RoundPlan, TooFewSums, Way, plan_rounds, sums_for


@dataclass(frozen=True)
class Pupil:
    name: str
    consent: bool


WHO = [Pupil("Asha", True), Pupil("Ben", False), Pupil("Chidi", True)]
PLAN = RoundPlan("direct", count=2, terms=3)


def test_at_the_front_the_pupils_take_turns() -> None:
    (round_,) = plan_rounds(replace(PLAN, way=Way.FRONT), WHO, 1)
    assert [turn.pupil for turn in round_.turns] == ["Asha", "Ben", "Chidi"] * 2
    assert [turn.consent for turn in round_.turns] == [True, False, True] * 2
    assert tuple(turn.sum for turn in round_.turns) == sums_for(PLAN, 6, 1).sums


def test_on_tablets_everyone_has_sums_of_their_own() -> None:
    rounds = plan_rounds(replace(PLAN, way=Way.OWN), WHO, 1)
    assert [[turn.pupil for turn in round_.turns] for round_ in rounds] == [
        ["Asha"] * 2,
        ["Ben"] * 2,
        ["Chidi"] * 2,
    ]
    assert len({turn.sum for round_ in rounds for turn in round_.turns}) == 6


def test_in_the_room_everyone_has_the_same_sums() -> None:
    first, *others = plan_rounds(replace(PLAN, way=Way.ROOM), WHO, 1)
    for other in others:
        assert [turn.sum for turn in other.turns] == [turn.sum for turn in first.turns]


def test_where_there_are_too_few_sums_they_come_again_or_are_refused() -> None:
    few = RoundPlan("direct", terms=2)
    total = sums_for(few, 1, 1).total
    assert total is not None
    again = sums_for(few, total + 1, 1)
    assert again.sums[-1] == again.sums[0]
    with pytest.raises(TooFewSums, match=f"only {total} such sums and {total + 1} are wanted"):
        sums_for(few, total + 1, 1, repeat=False)


def test_the_time_for_an_answer_can_be_stretched_or_taken_off() -> None:
    plan = RoundPlan("direct", answer_within_s=8, strict=True)
    within = [plan.options(stretch).answer_within_s for stretch in (1, 10, 0)]
    assert within == [8, 80, 86_400]
    assert plan.options().policy is TEST
