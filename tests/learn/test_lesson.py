from __future__ import annotations

from datetime import UTC, datetime, timedelta

from oralquiz.beads import DIRECT, Rule
from oralquiz.compose import load_syllabus
from oralquiz.learn import Skill, Standing, standing_of
from oralquiz.learn.lesson import pace_for_class, propose_lesson, rule_columns

NOW = datetime(2026, 1, 5, tzinfo=UTC)
COURSE = load_syllabus()
FOUR, THREE = Rule.parse("five:+4"), Rule.parse("five:+3")
FIRM = Skill(4.0, 0.3, True, NOW + timedelta(days=9), 60)
GROWING = Skill(2.0, 0.5, False, NOW + timedelta(days=2), 20)
DUE = Skill(4.0, 0.3, True, NOW - timedelta(days=2), 60)
HARDLY = Skill(2.6, 1.3, False, None, 3)


def test_four_words() -> None:
    found = [standing_of(THREE, its, NOW) for its in (FIRM, GROWING, DUE, HARDLY, None)]
    assert found == ["mastered", "growing", "due", "not yet", "not yet"]
    assert standing_of(DIRECT, DUE, NOW) is Standing.MASTERED


def test_a_class_that_is_ready_goes_on() -> None:
    skills = {name: {DIRECT: FIRM, FOUR: FIRM} for name in "abc"} | {"d": {DIRECT: FIRM}}
    columns = rule_columns(skills, COURSE, NOW)
    assert [(one.rule, one.new) for one in columns] == [
        (DIRECT, False),
        (FOUR, False),
        (THREE, True),
    ]
    lesson = propose_lesson(columns)
    assert lesson is not None
    assert (lesson.step, lesson.reason) == ("five:+3", "+ 3 is + 5 - 2 is next")


def test_what_most_need_comes_before_something_new() -> None:
    skills = {
        "a": {FOUR: DUE, THREE: FIRM},
        "b": {FOUR: GROWING, THREE: FIRM},
        "c": {FOUR: DUE, THREE: FIRM},
        "d": {FOUR: FIRM, THREE: GROWING},
    }
    lesson = propose_lesson(rule_columns(skills, COURSE, NOW))
    assert lesson is not None
    assert (lesson.step, lesson.pupils) == ("five:+4", ("a", "b", "c"))
    assert lesson.reason == "+ 4 is + 5 - 1 is growing with 1 and due for 2 of 4"


def test_of_several_the_rule_taught_last_is_proposed() -> None:
    skills = {"a": {FOUR: GROWING, THREE: GROWING}, "b": {FOUR: FIRM, THREE: FIRM}}
    lesson = propose_lesson(rule_columns(skills, COURSE, NOW))
    assert lesson is not None
    assert (lesson.step, lesson.pupils) == ("five:+3", ("a",))


def test_a_class_that_never_answered_begins_at_the_beginning() -> None:
    (column,) = rule_columns({"a": {}}, COURSE, NOW)
    assert (column.rule, column.new, column.needed_by) == (DIRECT, True, ("a",))
    lesson = propose_lesson([column])
    assert lesson is not None
    assert lesson.step == "direct"
    assert rule_columns({}, COURSE, NOW) == ()
    assert propose_lesson(()) is None


def test_the_pace_suits_three_in_four() -> None:
    assert pace_for_class([2.0, 3.0, 4.0, 1.0]) == 3.0
    assert pace_for_class([2.0]) == 2.0
    assert pace_for_class([]) is None
