"""The rounds that a plan makes: whose sums, in which order, on how many devices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from oralquiz.beads import Sum
from oralquiz.compose import all_moves, difficulty_of
from oralquiz.judge.verdict import TEST
from oralquiz.rounds.planning import RoundPlan, TooFewSums, Way, plan_rounds, sums_for

pytestmark = pytest.mark.slow


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
    assert len({turn.sum for turn in round_.turns}) == 6


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
    assert len(again.sums) == total + 1
    assert len(set(again.sums)) == total
    with pytest.raises(TooFewSums, match=f"only {total} such sums and {total + 1} are wanted"):
        sums_for(few, total + 1, 1, repeat=False)


def test_the_time_for_an_answer_can_be_stretched_or_taken_off() -> None:
    plan = RoundPlan("direct", answer_within_s=8, strict=True)
    within = [plan.options(stretch).answer_within_s for stretch in (1, 10, 0)]
    assert within == [8, 80, 86_400]
    assert plan.options().policy is TEST


def uses(terms: Sum, rule: str) -> int:
    return sum(move.rule.name == rule for _, move in all_moves(terms.terms, 2))


def test_each_pupils_set_drills_its_rule_twice_a_sum_and_no_answer_twice() -> None:
    plan = RoundPlan("ten:+8", count=8)
    for round_ in plan_rounds(plan, WHO, 1):
        sums = [turn.sum for turn in round_.turns]
        assert all(uses(terms, "ten:+8") >= 2 for terms in sums)
        assert len({terms.answer for terms in sums}) == 8
        points = [difficulty_of(terms.terms, 2).points for terms in sums]
        assert points == sorted(points)


def test_what_a_pupil_had_lately_does_not_come_again() -> None:
    plan = RoundPlan("five:+4", count=8)
    (first, *_) = plan_rounds(plan, WHO, 1)
    had = {turn.sum.terms for turn in first.turns}
    for way in (Way.OWN, Way.ROOM):
        (again, *_) = plan_rounds(replace(plan, way=way), WHO, 1, lately={"Asha": had})
        assert not had & {turn.sum.terms for turn in again.turns}


def test_a_rule_that_a_sum_can_use_but_once_is_drilled_once() -> None:
    plan = RoundPlan("five:+4", count=4, terms=2)
    assert all(uses(terms, "five:+4") >= 1 for terms in sums_for(plan, 4, 1).sums)


def test_the_same_seed_gives_the_same_rounds_and_says_where() -> None:
    one, two, other = (plan_rounds(PLAN, WHO, seed, place="class") for seed in (1, 1, 2))
    assert [r.turns for r in one] == [r.turns for r in two]
    assert [r.turns for r in one] != [r.turns for r in other]
    assert {r.place for r in one} == {"class"}
