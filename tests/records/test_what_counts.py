"""What counts of a sum is decided in one place, and is the same for files, records and pages."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from random import Random

import pytest
from sqlite_utils import Database

from oralquiz.judge.verdict import Verdict
from oralquiz.learn.speed import speed_accuracy
from oralquiz.records.answer_history import answers_of
from oralquiz.records.database import open_records
from oralquiz.records.migrations import write_what_counts
from oralquiz.records.pupil_list import add_pupil, find_pupil
from oralquiz.records.scoring import bests, scores
from oralquiz.records.session_rows import store, store_file
from oralquiz.rounds.progress import Correction
from oralquiz.session.file import Session, open_session
from tests.session.room import MUMBLE, make_round, run

pytestmark = pytest.mark.slow

DEMO_SESSIONS = sorted((Path(__file__).parents[2] / "demo_sessions").glob("*.zip"))
OLD_SESSION = Path(__file__).parents[1] / "session" / "files" / "schema-1.zip"
WHEN = "2026-01-05T09:00:00+00:00"


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(tmp_path / "records.db")


def every_ear(session: Session) -> list[Session]:
    """``session`` as it is, and with each kind of correction of every sum, made once and twice."""
    found = [session]
    for verdict in Verdict:
        for value in (None, 4):
            ear = Correction(verdict, value, "t", WHEN)
            again = Correction(Verdict.WRONG, None, "t", WHEN)
            for corrections in ((ear,), (again, ear), (ear, again)):
                turns = tuple(replace(turn, corrections=corrections) for turn in session.turns)
                found.append(replace(session, turns=turns))
    return found


def rows(db: Database) -> list[tuple[object, ...]]:
    return [
        (row["turn"], row["verdict"], row["value"], row["latency_s"])
        for row in db.query("select turn, verdict, value, latency_s from sums order by turn")
    ]


@pytest.mark.parametrize("path", [*DEMO_SESSIONS, OLD_SESSION], ids=lambda path: path.stem)
def test_old_rows_are_filled_as_the_sessions_tell(path: Path, db: Database) -> None:
    for session in every_ear(open_session(path)):
        store(db, session, path)
        told = [(t.index, t.verdict and t.verdict.value, t.value, t.speed_s) for t in session.turns]
        assert rows(db) == told
        db.execute("update sums set verdict = 'x', value = -1, latency_s = -1.0")
        write_what_counts(db)
        assert rows(db) == told
    assert any(verdict == "right" for _, verdict, _, _ in told) or "wrong" in str(told)


def test_the_time_of_an_answer_asked_for_twice_counts_nowhere(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", make_round("20 + 10", "1 + 2"), [MUMBLE, 30, 3], delay=1.25)
    session = open_session(path)
    asked_twice, once = session.turns
    first = replace(asked_twice.attempts[0], latency_s=0.5)  # quicker than the other
    asked_twice = replace(asked_twice, attempts=(first, *asked_twice.attempts[1:]))
    store(db, replace(session, turns=(asked_twice, once)), path)
    assert [len(asked_twice.attempts), len(once.attempts)] == [2, 1]
    assert (asked_twice.verdict, once.verdict) == (Verdict.RIGHT, Verdict.RIGHT)
    assert asked_twice.speed_s is None
    (score,) = scores(db)
    (best,) = bests(db, find_pupil(db, "Asha").id)
    assert best.latency_s is not None
    assert round(best.latency_s, 3) == score.total.median_latency_s
    assert best.latency_s == once.latency_s


def test_the_best_of_answers_that_were_all_asked_for_twice_has_no_time(
    tmp_path: Path, db: Database
) -> None:
    path, _, _ = run(tmp_path / "s", make_round("20 + 10"), [MUMBLE, 30])
    store_file(db, path)
    assert [best.latency_s for best in bests(db, find_pupil(db, "Asha").id)] == [None]


def test_a_median_is_that_of_the_pupils_page(db: Database) -> None:
    """Of any times, cut short at the same deadline or at several, early ones and none."""
    random = Random(4)
    who = [add_pupil(db, name, created=WHEN).id for name in "ABCDEFGHIJKLMNOPQRST"]
    db.table("rounds").insert({"id": "r", "created": WHEN, "name": "n", "step": "s", "file": "f"})
    for number, pupil in enumerate(who):
        for turn in range(random.randrange(1, 40)):
            silent = random.random() < 0.1 * (number % 6)
            told = ("silent", None) if silent else ("right", round(random.uniform(0, 4), 2))
            db.table("sums").insert(
                {
                    "round_id": "r",
                    "pupil_id": pupil,
                    "turn": 100 * number + turn,
                    "terms": "1 + 2",
                    "answer": 3,
                    "verdict": told[0],
                    "latency_s": random.choice((told[1], told[1], None)),
                    "deadline_s": random.choice((1.5, 8.0, None) if number > 5 else (8.0,)),
                }
            )
    pages = []
    for pupil, score in zip(who, scores(db), strict=True):
        page = speed_accuracy(answers_of(db, score.pupil)).speed.median
        pages.append(page)
        assert score.total.median_latency_s == (page and round(page, 3))
        assert [best.latency_s for best in bests(db, pupil)] in ([page], [])
    assert None in pages and len({*pages}) > 6
