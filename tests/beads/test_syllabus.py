"""Steps in order, found by name, and what is taught by then."""

from __future__ import annotations

import pytest

from oralquiz.beads.rules import DIRECT, Rule
from oralquiz.beads.syllabus import Step, Syllabus
from oralquiz.errors import BadInput

FIVE = Rule.parse("five:+3")
TEN = Rule.parse("ten:-7")
COURSE = Syllabus(
    "course",
    "A course",
    2,
    (
        Step("direct", "", (DIRECT,), (DIRECT,)),
        Step("five:+3", "", (FIVE,), (FIVE,)),
        Step("review", "", (), (DIRECT, FIVE)),
        Step("Tens", "", (TEN,), (TEN,)),
    ),
)


@pytest.mark.parametrize(
    ("name", "taught"),
    [
        ("direct", {DIRECT}),
        ("five:+3", {DIRECT, FIVE}),
        ("review", {DIRECT, FIVE}),
        ("tens", {DIRECT, FIVE, TEN}),
    ],
)
def test_what_is_taught_by_a_step(name: str, taught: set[Rule]) -> None:
    assert COURSE.taught(name) == taught


def test_steps_are_found_whatever_the_case_and_the_minus_sign() -> None:
    assert COURSE.step(" TENS ").name == "Tens"
    assert COURSE.index("review") == 2
    course = Syllabus("c", "", 2, (Step("ten:-7", "", (TEN,), (TEN,)),))
    assert course.step("ten:−7").name == "ten:-7"


def test_an_unknown_step_is_refused_and_the_known_ones_are_named() -> None:
    with pytest.raises(BadInput, match="no step 'fives'; it has direct, five:\\+3, review, Tens"):
        COURSE.step("fives")


def test_two_steps_of_the_same_name_and_no_steps_are_refused() -> None:
    with pytest.raises(BadInput, match="no steps"):
        Syllabus("empty", "", 2, ())
    with pytest.raises(BadInput, match="two steps named 'direct'"):
        Syllabus("twice", "", 2, (COURSE.steps[0], COURSE.steps[0]))
