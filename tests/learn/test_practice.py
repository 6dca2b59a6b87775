from datetime import UTC, datetime, timedelta
from itertools import pairwise
from random import Random

import pytest

import oralquiz
from oralquiz.beads import Rule, Sum
from oralquiz.compose import all_moves, load_syllabus
from oralquiz.errors import BadInput
from oralquiz.judge import Verdict
from oralquiz.learn import Practice, PracticeSettings, Task
from oralquiz.learn.practice_sums import points
from tests.learn.pupils import OtherFamily, Pacing, answer, pacings

MONDAY = datetime(2024, 3, 4, 16, tzinfo=UTC)
ALWAYS_RIGHT = OtherFamily(failing=0, lost=0, anything=0)


def drive(practice: Practice, count: int, day: int = 0, wrong: int = 0) -> list[Task]:
    """``count`` sums on one day, every ``wrong``-th off by five (0: none)."""
    tasks = []
    for n in range(count):
        now = MONDAY + timedelta(days=day, seconds=30 * n)
        task = practice.next(now)
        right = not wrong or (n + 1) % wrong
        said = task.sum.answer if right else (task.sum.answer + 5) % 100
        practice.tell(task, Verdict.RIGHT if right else Verdict.WRONG, said, 1.2, now)
        tasks.append(task)
    return tasks


def test_it_is_public() -> None:
    practice = oralquiz.Practice(load_syllabus(), "five:+3", oralquiz.PracticeSettings(), 1)
    assert list(practice.skills()) == ["direct", "five:+4", "five:+3"]


def test_the_same_seed_and_the_same_answers_give_the_same_tasks() -> None:
    one, two, other = (Practice("two-hands", "ten:+8", seed=seed) for seed in (1, 1, 2))
    tasks = drive(one, 25, wrong=6)
    assert tasks == drive(two, 25, wrong=6)
    assert tasks != drive(other, 25, wrong=6)
    assert one.to_json() == two.to_json()


def test_next_stays_until_it_is_told_about() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    assert practice.next(MONDAY) == practice.next(MONDAY)


def test_json_goes_on_where_it_stopped() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    drive(practice, 13, wrong=5)
    again = Practice.from_json(practice.to_json())
    assert again.skills() == practice.skills()
    assert drive(again, 20, day=3, wrong=4) == drive(practice, 20, day=3, wrong=4)
    with pytest.raises(BadInput):
        Practice.from_json('{"pace": 1}')


def test_a_set_drills_twice_repeats_no_answer_and_grows_harder() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    tasks = drive(practice, 20)
    for ten in (tasks[:10], tasks[10:]):
        answers = [task.sum.answer for task in ten]
        assert len(set(answers)) == len(answers)
        hard = [points(task.sum, 2) for task in ten]
        assert hard == sorted(hard)
    assert len({task.sum for task in tasks}) == 20
    for task in tasks:
        rules = [move.rule.name for _, move in all_moves(task.sum.terms, 2)]
        assert rules.count(task.rule) >= 2


def test_most_sums_are_for_the_rule_of_the_day_each_with_its_reason() -> None:
    tasks = drive(Practice("two-hands", "ten:+8", seed=1), 10)
    assert sum(task.rule == "ten:+8" for task in tasks) >= 6
    assert "+ 8 is + 10 - 2 is new" in {task.reason for task in tasks}


def test_a_rule_practised_long_ago_is_due() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    drive(practice, 20)
    due = practice.skills()["five:+3"].due
    assert due is not None and due > MONDAY
    reasons = {task.reason for task in drive(practice, 10, day=60)}
    assert any(reason.startswith("it is 60 days since") for reason in reasons)


def test_the_pace_changes_by_a_tenth_at_most_and_follows_the_pupil() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    paces = [task.pace_s for task in drive(practice, 30)]
    assert all(1 / 1.101 < b / a < 1.101 for a, b in pairwise(paces))
    assert paces[-1] < 0.7 * paces[0]
    assert [task.pace_s for task in drive(practice, 20, wrong=2)][-1] > paces[-1]


def test_slower_please() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    drive(practice, 10)
    before = practice.next(MONDAY).pace_s
    practice.slower()
    assert practice.next(MONDAY).pace_s > 1.1 * before


def test_a_rule_that_the_pupil_asks_for() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    practice.ask_for("five:-2")
    tasks = drive(practice, 10)
    assert sum(task.rule == "five:-2" for task in tasks) >= 6
    assert "- 2 is - 5 + 3 was asked for" in {task.reason for task in tasks}
    with pytest.raises(BadInput):
        practice.ask_for("both:+6")


def test_right_answers_make_a_rule_mastered_but_not_on_one_day() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    drive(practice, 60)
    assert not practice.skills()["ten:+8"].mastered
    for day in (1, 2, 3):
        drive(practice, 20, day=day)
    assert practice.skills()["ten:+8"].mastered


def test_a_slip_is_blamed_on_its_rule() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    before = practice.skills()
    task = Task(Sum.parse("34 + 13 - 22"), 2.5, "five:+3", "")
    practice.tell(task, "wrong", 20, 1.0, MONDAY)  # the five not moved in + 3 = + 5 - 2
    after = practice.skills()
    assert after["five:+3"].mean < before["five:+3"].mean - 0.3
    assert after["direct"].mean > before["direct"].mean - 0.05


def test_unclear_answers_teach_nothing_and_silence_only_tells_about_the_pace() -> None:
    practice = Practice("two-hands", "ten:+8", seed=1)
    skills, pace = practice.skills(), practice.pace_for()
    practice.tell(practice.next(MONDAY), "unclear", None, None, MONDAY)
    assert practice.pace_for() == pace
    practice.tell(practice.next(MONDAY), "silent", None, None, MONDAY)
    assert practice.skills() == skills
    assert practice.pace_for() > pace


def test_it_finds_the_pace_of_a_pupil() -> None:
    pupil, random = Pacing(1.1, 5.0, 0.02), Random(1)
    practice = Practice("two-hands", "ten:+8", seed=1)
    for n in range(60):
        now = MONDAY + timedelta(seconds=30 * n)
        task = practice.next(now)
        said = answer(ALWAYS_RIGHT, pupil, task.sum, task.pace_s, random)
        practice.tell(task, "right" if said == task.sum.answer else "wrong", said, 1.0, now)
    assert practice.pace_for() == pytest.approx(pupil.pace_for(0.85), rel=0.25)
    assert all(0 < pupil.lapse <= 0.08 for pupil in pacings(5, 1))


def test_times_in_seconds_and_as_datetimes_are_the_same() -> None:
    one, two = (Practice("two-hands", "ten:+8", seed=1) for _ in range(2))
    assert one.next(MONDAY) == two.next(MONDAY.timestamp())


def test_more_is_taught_and_what_is_known_stays() -> None:
    practice = Practice("two-hands", ["direct", Rule.parse("five:+4")], {"set_size": 5}, 1)
    drive(practice, 10)
    known = practice.skills()["five:+4"]
    practice.teach("five:+3")
    assert practice.skills()["five:+4"] == known
    assert "five:+3" in practice.skills()


@pytest.mark.parametrize(
    ("taught", "settings"),
    [
        ("nonsense", None),
        ((), None),
        (["ten:+4"], {"target": 2.0}),
        (["ten:+4"], {"set_size": "x"}),
    ],
)
def test_what_cannot_be_used_is_refused(taught: str, settings: dict[str, float] | None) -> None:
    with pytest.raises(BadInput):
        Practice("two-hands", taught, settings)
    with pytest.raises(BadInput):
        PracticeSettings(today=0.9, due=0.2)
