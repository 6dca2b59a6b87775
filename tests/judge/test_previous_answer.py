"""One rule for what the hands may still show: the pupil's actual answer to the sum before."""

from __future__ import annotations

import pytest

from oralquiz.judge import Verdict, number_said, previous_answers


def test_each_pupil_goes_on_from_the_pupils_own_answer() -> None:
    turns = [("Asha", 25), ("Ben", 7), ("Asha", 13), ("Asha", None), ("Ben", 9), ("Asha", 4)]
    assert previous_answers(turns) == [None, None, 25, 13, 7, None]


@pytest.mark.parametrize(
    ("verdict", "said"),
    [
        (Verdict.RIGHT, 25),
        (Verdict.WRONG, 25),
        (Verdict.UNCLEAR, None),
        (Verdict.SILENT, None),
        (None, None),
    ],
)
def test_a_number_is_known_once_it_was_judged(verdict: Verdict | None, said: int | None) -> None:
    assert number_said(verdict, 25) == said
