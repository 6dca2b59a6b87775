"""Answers as learning looks at them."""

from __future__ import annotations

from pathlib import Path

import pytest

from oralquiz.judge.verdict import Verdict
from oralquiz.records.answer_history import answers_of
from oralquiz.records.database import open_records
from oralquiz.records.session_rows import store
from oralquiz.session.correction import correct
from tests.session.room import make_round, run

WHEN = "2026-01-05T10:00:00+00:00"


@pytest.mark.parametrize(
    ("heard", "verdict", "said"),
    [
        (30, Verdict.RIGHT, 33),
        (33, Verdict.WRONG, None),  # wrong, and nobody wrote down what it was: no slip to look for
        (30, Verdict.WRONG, 30),
        (30, Verdict.UNCLEAR, None),
    ],
)
def test_a_verdict_by_ear_without_a_number(
    tmp_path: Path, heard: int, verdict: Verdict, said: int | None
) -> None:
    db = open_records(tmp_path / "records.db")
    path, _, _ = run(tmp_path / "held", make_round("12 + 21"), [heard])
    store(db, correct(path, 0, verdict, by="teacher", when=WHEN), path)
    (answer,) = answers_of(db, "Asha")
    assert (answer.verdict, answer.said) == (verdict, said)
    db.close()
