"""Answers as `learn` sees them."""

from __future__ import annotations

from pathlib import Path

import pytest

from oralquiz.judge import Slip, SlipKind, Verdict
from oralquiz.records.answer_history import answers_of
from oralquiz.records.database import open_records
from oralquiz.records.session_rows import store
from oralquiz.replay import tell_turns
from oralquiz.session import open_session
from oralquiz.session.correction import correct
from tests.records.fresh import fresh_records
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T10:00:00+00:00"


@pytest.mark.parametrize(
    ("heard", "verdict", "said"),
    [
        (30, Verdict.RIGHT, 33),
        (33, Verdict.WRONG, None),  # wrong, and nobody noted the number: no slip to look for
        (30, Verdict.WRONG, 30),
        (30, Verdict.UNCLEAR, None),
    ],
)
def test_a_verdict_by_ear_without_a_number(
    tmp_path: Path, heard: int, verdict: Verdict, said: int | None
) -> None:
    db = open_records(fresh_records(tmp_path / "records.db"))
    path, _, _ = run(tmp_path / "held", make_round("12 + 21"), [heard])
    store(db, correct(path, 0, verdict, by="teacher", when=WHEN), path)
    (answer,) = answers_of(db, "Asha")
    assert (answer.verdict, answer.said) == (verdict, said)
    db.close()


def test_the_answer_before_is_what_was_said_in_the_records_as_in_the_replay(
    tmp_path: Path,
) -> None:
    """The second sum was answered wrong, with 45; the third goes on from that, not from the 25
    that would have been right. The fourth was not answered, so the fifth goes on from nothing.
    """
    texts = ("12 + 21", "34 + 13 - 22", "5 + 2", "3 + 1", "5 + 2")
    path, _, _ = run(tmp_path / "held", make_round(*texts), [33, 45, 52, None, 52])
    db = open_records(fresh_records(tmp_path / "records.db"))
    store(db, open_session(path), path)
    answers = answers_of(db, "Asha")
    assert [answer.previous for answer in answers] == [None, 33, 45, 52, None]
    session = open_session(path)
    third, fifth = (tell_turns(session, session.turns)[index] for index in (2, 4))
    (shown,) = {slip.instead for one in third.possible for slip in one.slips if kept(slip)}
    assert shown == answers[2].previous
    assert not any(kept(slip) for one in fifth.possible for slip in one.slips)
    db.close()


def kept(slip: Slip) -> bool:
    return slip.kind is SlipKind.PREVIOUS_KEPT
