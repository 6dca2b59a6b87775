"""Syllabus files: those that are shipped, and errors that name the line."""

from __future__ import annotations

from pathlib import Path

import pytest

from oralquiz.beads import ALL_RULES, DIRECT, Kind, Rule
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.composed import may_have_sums
from oralquiz.compose.syllabus_file import parse_syllabus, shipped_syllabi
from oralquiz.errors import BadInput

GOOD = """# my course
name = "mine"
columns = 2

[[step]]
name = "first"
adds = ["direct"]

[[step]]
name = "fives"   # two rules
adds = [
    "five:+3",
    "five:+4",
]
terms = "4-6"
digits = 1
minus = "0-2"
"""


def test_two_hands_teaches_every_rule_once_one_a_step() -> None:
    course = load_syllabus()
    assert course.name == "two-hands"
    assert course.columns == 2
    assert [step.adds for step in course.steps] == [(step.drill) for step in course.steps]
    assert all(len(step.adds) == 1 for step in course.steps)
    assert [step.name for step in course.steps] == [step.adds[0].name for step in course.steps]
    assert sorted(step.adds[0] for step in course.steps) == sorted(ALL_RULES)


def test_two_hands_goes_from_direct_to_fives_to_tens_to_both() -> None:
    kinds = [step.adds[0].kind for step in load_syllabus().steps]
    order = [Kind.DIRECT, Kind.FIVE, Kind.TEN, Kind.BOTH]
    assert kinds == sorted(kinds, key=order.index)
    assert [kinds.count(kind) for kind in order] == [1, 8, 18, 8]


def test_titles_say_what_the_move_is() -> None:
    course = load_syllabus()
    titles = {
        "five:+3": "+ 3 is + 5 - 2",
        "five:-1": "- 1 is - 5 + 4",
        "ten:+9": "+ 9 is + 10 - 1",
        "ten:-4": "- 4 is - 10 + 6",
        "both:+6": "+ 6 is + 10 - 4, with - 4 as - 5 + 1",
        "both:-8": "- 8 is - 10 + 2, with + 2 as + 5 - 3",
    }
    assert {name: course.step(name).title for name in titles} == titles


@pytest.mark.parametrize("name", ["two-hands", "bead-frame", "exam-grades"])
def test_every_shipped_step_has_sums(name: str) -> None:
    course = load_syllabus(name)
    for step in course.steps:
        assert may_have_sums(request_for(course, step.name)), step.name


def test_the_bead_frame_grows_to_five_columns_and_teaches_every_rule() -> None:
    course = load_syllabus("bead-frame")
    columns = [step.columns for step in course.steps if step.columns]
    assert columns == sorted(columns)
    assert (columns[0], columns[-1], len(columns)) == (1, 5, len(course.steps))
    assert course.taught(course.steps[-1].name) == set(ALL_RULES)


def test_shipped_courses_start_with_the_default_and_say_their_source() -> None:
    assert shipped_syllabi() == ("two-hands", "bead-frame", "exam-grades")
    assert all(
        load_syllabus(name).source and load_syllabus(name).caveat for name in shipped_syllabi()
    )


def test_a_teachers_own_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, encoding="utf-8")
    course = load_syllabus(str(path))
    fives = course.step("fives")
    assert fives.adds == (Rule.parse("five:+3"), Rule.parse("five:+4"))
    assert (fives.terms, fives.digits, fives.minus) == ((4, 6), (1, 1), (0, 2))
    request = request_for(course, "fives", uses=2)
    assert request.allowed == {DIRECT, *fives.adds}
    assert (request.terms, request.digits, request.drills[0].uses) == (6, (1, 1), 2)
    assert request_for(course, "fives", terms=3, digits=(2, 2)).digits == (2, 2)


@pytest.mark.parametrize(
    ("old", "new", "line", "problem"),
    [
        ('"five:+4"', '"five:+6"', 13, "there is no rule five:\\+6"),
        ('"five:+3"', '"fife:+3"', 12, "'fife:\\+3' is not a rule"),
        ('adds = ["direct"]', 'add = ["direct"]', 7, "no setting 'add' in a step"),
        ('adds = ["direct"]', 'adds = "direct"', 7, "adds is a list of rules"),
        ('name = "fives"', 'name = "First"', 10, "two steps are named 'First'"),
        ('name = "fives"', "name = 5", 10, "wanted name"),
        ('terms = "4-6"', 'terms = "6-4"', 15, "terms goes from low to high"),
        ('terms = "4-6"', 'terms = "many"', 15, "terms is a number or a range"),
        ("digits = 1", "digits = 0", 16, "digits is at least 1"),
        ("digits = 1", "columns = 12", 16, "columns is a whole number from 1 to 5"),
        ("digits = 1", "digits = 3", 16, "a term of 3 digits does not fit 2 columns"),
        ('terms = "4-6"', "terms = 51", 15, "terms is from 1 to 50"),
        ('adds = ["direct"]', "adds = []", 7, "the first step adds no rule"),
        ("columns = 2", "colums = 2", 3, "no setting 'colums' here"),
        ("digits = 1", "below_zero = 1", 16, "below_zero is true or false"),
        ("digits = 1", f"digits = {'9' * 5000}", 16, "a number with too many digits"),
        ("digits = 1", f"columns = 0x{'f' * 5000}", 16, "not a number with too many digits"),
        ("digits = 1", f"digits = 0x{'f' * 5000}", 16, "not 'a number with too many digits'"),
        ('terms = "4-6"', f"terms = '{'9' * 5000}'", 15, "terms is a number or a range"),
    ],
)
def test_a_mistake_is_named_with_its_line(old: str, new: str, line: int, problem: str) -> None:
    with pytest.raises(BadInput, match=f"mine.toml, line {line}: .*{problem}") as error:
        parse_syllabus(GOOD.replace(old, new, 1), "mine.toml")
    assert len(str(error.value)) < 250


def test_broken_toml_and_missing_files() -> None:
    with pytest.raises(BadInput, match=r"not a TOML file: .*line 5"):
        parse_syllabus(GOOD.replace("[[step]]", "[[step]", 1), "mine.toml")
    with pytest.raises(BadInput, match="no syllabus 'other': give a file or one of two-hands"):
        load_syllabus("other")
    with pytest.raises(BadInput, match=r"mine.toml, line 2: a step is a table .*, not 5"):
        parse_syllabus('name = "x"\nstep = [{name = "a", adds = ["direct"]}, 5]', "mine.toml")
    with pytest.raises(BadInput, match="at least one \\[\\[step\\]\\]"):
        parse_syllabus('name = "empty"', "mine.toml")
