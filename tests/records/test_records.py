from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
import time
import zipfile
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database

from oralquiz.beads import Sum
from oralquiz.errors import BadInput, OralquizError
from oralquiz.judge.verdict import Verdict
from oralquiz.records.answer_history import answers_of
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.migrations import migrations
from oralquiz.records.pupil_list import add_pupil, find_pupil, pupils, set_consent
from oralquiz.records.retention import forget_voices, voices_kept
from oralquiz.records.scoring import Tally, scores
from oralquiz.records.session_rows import store
from oralquiz.rounds.events import Heard
from oralquiz.rounds.round import Round
from oralquiz.session.correction import correct
from oralquiz.session.file import open_session
from oralquiz.session.folder_lock import locked
from oralquiz.session.reruns import rerun
from tests.records.fresh import fresh_records
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T09:00:00+00:00"


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(fresh_records(tmp_path / "records.db"))


def two_pupils() -> Round:
    one = make_round("1 + 2", "3 + 4", pupil="Asha")
    other = make_round("2 + 2", pupil="Ben Zimmer")
    return Round("both", WHEN, (*one.turns, *other.turns), step="direct", rule="direct")


def test_write_ahead_log_and_foreign_keys_are_on(db: Database) -> None:
    assert db.journal_mode == "wal"
    assert db.execute("pragma foreign_keys").fetchone()[0] == 1
    with pytest.raises(sqlite3.IntegrityError):
        db.table("answers").insert({"sum_id": 99, "attempt": 0, "verdict": "right"})


def test_records_open_again_without_migrating_twice(tmp_path: Path, db: Database) -> None:
    add_pupil(db, "Asha", created=WHEN)
    again = open_records(fresh_records(tmp_path / "records.db"))
    assert [p.name for p in pupils(again)] == ["Asha"]
    assert migrations.pending(again) == []


def test_a_file_that_is_not_a_database_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_text("this is not a database, it is a shopping list" * 40)
    with pytest.raises(BadInput, match=r"notes\.txt: these records cannot be opened"):
        open_records(path)
    assert path.read_text().startswith("this is not")


def test_scores_count_verdicts_and_rules(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None], delay=1.25)
    store(db, open_session(path), path)
    asha, ben = scores(db)
    assert asha.total == Tally(right=1, wrong=1, unclear=0, silent=0, median_latency_s=1.25)
    assert ben.total == Tally(right=0, wrong=0, unclear=0, silent=1, median_latency_s=None)
    # 3 + 4 is the five's complement (+5 - 1); the first terms are direct
    assert asha.by_rule["five:+4"] == Tally(0, 1, 0, 0, None)
    assert asha.by_rule["direct"].count == 2


def test_storing_again_replaces(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    for _ in range(2):
        store(db, open_session(path), path)
    assert db.table("sums").count == 3
    assert db.table("rounds").count == 1


def test_a_correction_is_added_on_top_and_counts(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    before = open_session(path)
    corrected = correct(path, 1, Verdict.RIGHT, by="Ms Rao", when=WHEN, value=7)
    assert corrected.events[: len(before.events)] == before.events
    assert corrected.turns[1].attempts == before.turns[1].attempts
    assert corrected.turns[1].verdict is Verdict.RIGHT
    assert rerun(corrected).difference == ""
    store(db, corrected, path)
    assert scores(db)[0].total.right == 2
    with pytest.raises(BadInput, match="no sum 9"):
        correct(path, 8, Verdict.RIGHT, by="Ms Rao", when=WHEN)


def test_pupils_are_added_once_and_consent_is_kept(db: Database) -> None:
    add_pupil(db, "  Asha   Rao ", created=WHEN, class_name="Monday")
    assert find_pupil(db, "Asha Rao").consent is False
    assert set_consent(db, "Asha Rao", True).consent is True
    assert [p.name for p in pupils(db, "Monday")] == ["Asha Rao"]
    with pytest.raises(BadInput, match="already"):
        add_pupil(db, "Asha Rao", created=WHEN)
    with pytest.raises(BadInput, match=r"no pupil 'Bo' \(known: Asha Rao\)"):
        find_pupil(db, "Bo")


def test_a_name_is_the_same_however_its_accents_are_typed(db: Database) -> None:
    """One system types n with a tilde as one character, another as two."""
    add_pupil(db, "Nin\N{COMBINING TILDE}o", created=WHEN)
    assert find_pupil(db, "Niño").name == "Niño"
    with pytest.raises(BadInput, match="already"):
        add_pupil(db, "Niño", created=WHEN)


def test_a_name_can_be_printed(db: Database) -> None:
    with pytest.raises(BadInput, match="cannot be printed"):
        add_pupil(db, "\x1b[31mAsha", created=WHEN)


def test_erasing_removes_rows_name_and_voice_for_good(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, 4])
    alone, _, _ = run(tmp_path / "alone", make_round("1 + 1", pupil="Ben Zimmer"), [2])
    for file in (path, alone):
        store(db, open_session(file), file)
    cut_short, _, _ = run(tmp_path / "kept" / "c", make_round("1 + 1", pupil="Ben Zimmer"), [2])
    gone = tmp_path / "gone.zip"
    shutil.copy(alone, gone)
    moved = open_session(gone)
    moved = replace(moved, header={**moved.header, "id": "0" * 32})
    store(db, moved, gone)
    gone.unlink()
    (tmp_path / "kept" / "broken.zip").write_bytes(b"PK, not")
    erased = erase_pupil(db, "Ben Zimmer", tmp_path / "kept")
    assert erased.changed == tuple(sorted([path, alone, cut_short]))
    assert erased.missing == (gone,)
    assert "broken.zip" in erased.unreadable[0]
    assert not cut_short.exists()
    assert not alone.exists()
    session = open_session(path)
    assert [t.pupil for t in session.turns] == ["Asha", "Asha", "(erased)"]
    span = slice(session.turns[2].start, session.turns[2].end)
    assert not session.audio[span, 1].any()
    assert session.audio[: session.turns[2].start, 1].any()
    assert rerun(session).difference == ""
    assert [s.pupil for s in scores(db)] == ["Asha"]
    db.close()
    for file in filter(
        Path.is_file, tmp_path.rglob("*")
    ):  # not in any page of the database or its log, nor in the file
        assert b"Ben Zimmer" not in file.read_bytes(), file
    assert not any("Zimmer" in e.encode() for e in session.events)
    heard = [e.event for e in session.events if isinstance(e.event, Heard) and e.event.turn == 2]
    assert [(h.words, [guess.words for guess in h.guesses]) for h in heard] == [("", [""])]


def test_correcting_after_an_erasure_brings_nobody_back(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, 4])
    store(db, open_session(path), path)
    erase_pupil(db, "Ben Zimmer")
    store(db, correct(path, 1, Verdict.RIGHT, by="Ms Rao", when=WHEN), path)
    assert [p.name for p in pupils(db)] == ["Asha"]
    assert scores(db)[0].total.right == 2


@pytest.mark.parametrize(
    ("verdict", "value", "message"),
    [
        (Verdict.RIGHT, 8, "8 cannot be right: the sum makes 7"),
        (Verdict.WRONG, 7, "7 cannot be wrong"),
        (Verdict.SILENT, 7, "silent has no number"),
    ],
)
def test_a_correction_does_not_contradict_itself(
    tmp_path: Path, verdict: Verdict, value: int, message: str
) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    with pytest.raises(BadInput, match=message):
        correct(path, 1, verdict, by="Ms Rao", when=WHEN, value=value)


def test_a_damaged_session_is_not_corrected(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    path.write_bytes(path.read_bytes()[:-2000])
    before = path.read_bytes()
    with pytest.raises(OralquizError):
        correct(path, 1, Verdict.RIGHT, by="Ms Rao", when=WHEN)
    assert path.read_bytes() == before


def test_voices_are_forgotten_after_their_time(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    store(db, open_session(path), path)
    begun = datetime.fromisoformat(WHEN)
    assert voices_kept(db, older_than_days=30, now=begun + timedelta(days=29)) == []
    assert forget_voices(db, older_than_days=30, now=begun + timedelta(days=30)) == [path]
    session = open_session(path)
    assert not session.audio[:, 1].any()
    assert session.audio[:, 0].any()
    assert [t.verdict for t in session.turns][:2] == [Verdict.RIGHT, Verdict.WRONG]
    assert forget_voices(db, older_than_days=30, now=begun + timedelta(days=31)) == []


def test_a_round_cut_short_forgets_voices_too_and_a_running_one_is_reported(
    tmp_path: Path, db: Database
) -> None:
    sessions = tmp_path / "sessions"
    path, _, _ = run(sessions / "s", two_pupils(), [3, 9, None])  # never stored: as after a crash
    for name in ("cut", "held"):
        with zipfile.ZipFile(path) as parts:
            parts.extractall(sessions / name)
    path.unlink()
    soon = datetime.fromisoformat(WHEN) + timedelta(hours=1)
    assert voices_kept(db, older_than_days=30, now=soon, folder=sessions) == []
    with (
        locked(sessions / "held"),
        pytest.raises(OralquizError, match=r"from 1 session file, but not from: .*being held now"),
    ):
        forget_voices(db, older_than_days=0, now=soon, folder=sessions)
    assert not open_session(sessions / "cut").audio[:, 1].any()
    assert open_session(sessions / "held").audio[:, 1].any()
    assert forget_voices(db, older_than_days=0, now=soon, folder=sessions) == [sessions / "held"]


def test_nobody_is_erased_out_of_a_round_that_is_being_held(tmp_path: Path, db: Database) -> None:
    sessions = tmp_path / "sessions"
    path, _, _ = run(sessions / "s", two_pupils(), [3, 9, 4])
    store(db, open_session(path), path)
    with zipfile.ZipFile(path) as parts:
        parts.extractall(sessions / "held")
    before = {p: p.read_bytes() for p in sessions.rglob("*") if p.is_file()}
    with locked(sessions / "held"):
        with pytest.raises(OralquizError, match=r"Asha is in a round .* nothing has been erased"):
            erase_pupil(db, "Asha", sessions)
        assert len(scores(db)) == 2
        assert {p: p.read_bytes() for p in before} == before
        add_pupil(db, "Cem", created=WHEN)
        assert erase_pupil(db, "Cem", sessions).unreadable == ()  # a pupil who is in none of them
    assert erase_pupil(db, "Asha", sessions).changed == (sessions / "held", path)
    assert [turn.pupil for turn in open_session(sessions / "held").turns][:2] == ["(erased)"] * 2


def test_a_session_with_nobody_left_does_not_stay(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, 4])
    store(db, open_session(path), path)
    erase_pupil(db, "Asha")
    assert path.exists()
    erase_pupil(db, "Ben Zimmer")
    assert not path.exists()


def test_a_strangers_session_without_a_usable_time_blocks_nothing(
    tmp_path: Path, db: Database
) -> None:
    sessions = tmp_path / "sessions"
    for name, created in (("none", "some day"), ("no-zone", WHEN.removesuffix("+00:00"))):
        run(sessions / name, replace(two_pupils(), created=created), [3, 9, None])
    later = datetime.fromisoformat(WHEN) + timedelta(days=32)
    kept = voices_kept(db, older_than_days=30, now=later, folder=sessions)
    assert kept == [sessions / "no-zone.zip"]


def test_one_damaged_file_does_not_keep_the_other_voices(tmp_path: Path, db: Database) -> None:
    (tmp_path / "a").mkdir()
    bad, _, _ = run(tmp_path / "a" / "bad", two_pupils(), [3, 9, None])
    store(db, open_session(bad), bad)
    bad.write_bytes(b"no zip any more")
    sessions = tmp_path / "sessions"
    good, _, _ = run(sessions / "good", two_pupils(), [3, 9, None])
    later = datetime.fromisoformat(WHEN) + timedelta(days=31)
    assert voices_kept(db, older_than_days=30, now=later, folder=sessions) == [bad, good]
    with pytest.raises(OralquizError, match=r"from 1 session file, but not from: .*bad\.zip"):
        forget_voices(db, older_than_days=30, now=later, folder=sessions)
    assert not open_session(good).audio[:, 1].any()


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the time zone cannot be changed here")
def test_an_evenings_lesson_is_one_day(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At 17:50 and 18:10 there, Greenwich time has moved on to the next day."""
    monkeypatch.setenv("TZ", "America/Chicago")
    time.tzset()
    try:
        for name, when in (("a", "2026-01-05T23:50:00"), ("b", "2026-01-06T00:10:00")):
            round_ = replace(two_pupils(), created=f"{when}+00:00")
            path, _, _ = run(tmp_path / name, round_, [3, 9, None])
            session = open_session(path)
            header = {**session.header, "id": name}
            store(db, replace(session, header=header), path)
        assert {answer.day for answer in answers_of(db, "Asha")} == {date(2026, 1, 5)}
    finally:
        monkeypatch.undo()
        time.tzset()


def test_answers_are_what_learning_needs(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None], delay=1.25)
    store(db, open_session(path), path)
    first, second = answers_of(db, "Asha")
    assert (first.terms, first.said, first.previous) == (Sum((1, 2)), 3, None)
    assert (second.terms, second.said, second.previous) == (Sum((3, 4)), 9, 3)
    assert first.latency_s == pytest.approx(1.25, abs=1e-4)
    (silent,) = answers_of(db, "Ben Zimmer")
    assert (silent.verdict, silent.said, silent.latency_s) == (Verdict.SILENT, None, None)


def test_whoever_corrects_has_a_name_that_can_be_written(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", two_pupils(), [3, 9, None])
    with pytest.raises(BadInput, match="cannot be printed"):
        correct(path, 1, Verdict.RIGHT, by="a\udcff", when=WHEN)


def test_another_process_that_comes_and_goes_loses_nothing(tmp_path: Path) -> None:
    """Found by the campaign of kills: a second connection here freed the locks of the first, so
    the next process took itself for the last, and removed the log that was being written."""
    path = tmp_path / "records.db"
    first, second = open_records(path), open_records(path)
    add_pupil(first, "Asha", created=WHEN)
    look = f"d = __import__('sqlite3').connect({str(path)!r}); d.execute('select * from pupils')"
    subprocess.run([sys.executable, "-S", "-c", f"{look}; d.close()"], check=True)
    add_pupil(second, "Ben", created=WHEN)
    there = sqlite3.connect(path)
    assert there.execute("select name from pupils order by name").fetchall() == [
        ("Asha",),
        ("Ben",),
    ]
    there.close()
    first.close()
    second.close()
