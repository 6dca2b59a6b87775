"""The shipped exam grades against the published table.

Source: the grades of the Japanese mental-arithmetic examination, addition and subtraction, digits
x terms, as published on shuzan.jp and pages that quote the national league's rules (read there
for the project's list of outside values, not fetched by the tests). They are for sums read on
paper; no published table for sums read aloud was found, and the shipped file says so.
"""

from __future__ import annotations

import pytest

from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.composed import compose

PUBLISHED = [
    # step, digits of a term, terms, digits in all
    ("grades-10-to-7", (1, 1), (3, 5), None),  # one-digit additions of 3, 4 and 5 terms
    ("grade-6", (1, 2), (5, 5), 6),
    ("grade-5", (1, 2), (5, 5), 8),
    ("grade-4", (2, 2), (5, 5), None),
    ("grade-3", (3, 3), (5, 5), None),
    ("grade-2", (3, 3), (7, 7), None),
    ("grade-1", (3, 3), (10, 10), None),
]
EXAMS = load_syllabus("exam-grades")


def test_the_table_is_the_published_one() -> None:
    assert [
        (step.name, step.digits, step.terms, step.digits_in_all) for step in EXAMS.steps
    ] == PUBLISHED


@pytest.mark.parametrize("name", [row[0] for row in PUBLISHED])
def test_sums_of_a_grade_have_its_digits_and_terms(name: str) -> None:
    _, digits, terms, in_all = next(row for row in PUBLISHED if row[0] == name)
    for each in compose(request_for(EXAMS, name), 10, seed=1).sums:
        lengths = [len(str(abs(term))) for term in each.terms]
        assert len(lengths) == terms[1]
        assert digits[0] <= min(lengths)
        assert max(lengths) <= digits[1]
        assert in_all in (None, sum(lengths))
        if name == "grades-10-to-7":
            assert min(each.terms) > 0  # additions


def test_the_caveat_is_shown() -> None:
    assert "shuzan.jp" in EXAMS.source
    for said in ("read by sight", "12 minutes", "400 of 500", "30 sums in 4 minutes"):
        assert said in EXAMS.caveat
