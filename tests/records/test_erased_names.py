"""A session that these records have never known brings no erased name back."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.import_sessions import import_session, waiting
from oralquiz.records.pupil_list import add_pupil, pupils
from oralquiz.records.session_rows import store, store_file
from oralquiz.session.erasing import ERASED
from oralquiz.session.file import Session, open_session
from tests.records.fresh import fresh_records
from tests.records.test_erasure import WHEN, both, names_in
from tests.session.room import run

pytestmark = pytest.mark.slow

NAME = "Ben Zimmer"


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(fresh_records(tmp_path / "records.db"))


def elsewhere(folder: Path, *names: str, created: str = WHEN) -> Path:
    """A session held on another computer."""
    round_ = replace(both(*names), created=created)
    return run(folder / "elsewhere" / created[:10], round_, [3] * len(names))[0]


def test_what_was_recorded_before_stays_out_under_that_name(tmp_path: Path, db: Database) -> None:
    sessions = tmp_path / "sessions"
    add_pupil(db, NAME, created=WHEN)
    erase_pupil(db, NAME, sessions)
    copy = elsewhere(tmp_path, "Asha", "Ben  ZIMMER", NAME)
    before = copy.read_bytes()
    imported = import_session(db, copy, sessions)
    assert imported.damage == "2 sums of erased pupils left out"
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]
    assert names_in(imported.file) == ["Asha", ERASED, ERASED]
    said = open_session(imported.file)
    assert not said.audio[said.turns[1].start :, 1].any()
    assert said.audio[: said.turns[1].start, 1].any()
    for file in sessions.iterdir():
        assert NAME.encode() not in file.read_bytes()
    assert copy.read_bytes() == before  # it is not ours
    assert import_session(db, imported.file, sessions).damage == ""


def test_a_session_with_nobody_else_in_it_is_refused(tmp_path: Path, db: Database) -> None:
    sessions = tmp_path / "sessions"
    add_pupil(db, NAME, created=WHEN)
    erase_pupil(db, NAME, sessions)
    with pytest.raises(BadInput, match="everybody in this session was erased"):
        import_session(db, elsewhere(tmp_path, NAME), sessions)
    assert [path for path in sessions.iterdir() if path.suffix == ".zip"] == []
    assert pupils(db) == []


def test_a_pupil_who_returns_after_being_erased_is_somebody_new(
    tmp_path: Path, db: Database
) -> None:
    sessions = tmp_path / "sessions"
    add_pupil(db, NAME, created=WHEN)
    erase_pupil(db, NAME, sessions)
    add_pupil(db, NAME, created=WHEN, consent=True)
    later = (datetime.now(UTC) + timedelta(minutes=5)).isoformat(timespec="seconds")
    imported = import_session(db, elsewhere(tmp_path, NAME, created=later), sessions)
    assert (imported.new, imported.damage) == (True, "")
    assert names_in(imported.file) == [NAME]
    old = import_session(db, elsewhere(tmp_path, "Asha", NAME), sessions)
    assert names_in(old.file) == ["Asha", ERASED]


def test_a_file_that_was_put_among_the_sessions_by_hand(tmp_path: Path, db: Database) -> None:
    sessions = tmp_path / "sessions"
    add_pupil(db, NAME, created=WHEN)
    erase_pupil(db, NAME, sessions)
    copy = elsewhere(tmp_path, "Asha", NAME)
    sessions.mkdir(exist_ok=True)
    file = copy.rename(sessions / "by-hand.zip")
    assert waiting(db, sessions) == [file]
    assert names_in(import_session(db, file, sessions).file) == ["Asha", ERASED]


def test_a_pupil_erased_while_a_copy_is_brought_in(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy is no longer searched for by name, and its rows are not there yet to be erased."""
    sessions = tmp_path / "sessions"
    add_pupil(db, NAME, created=WHEN)

    def erase_first(db: Database, session: Session, file: Path) -> None:
        monkeypatch.undo()
        erase_pupil(db, NAME, None)
        store(db, session, file)

    monkeypatch.setattr("oralquiz.records.session_rows.store", erase_first)
    imported = import_session(db, elsewhere(tmp_path, "Asha", NAME), sessions)
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]
    assert names_in(imported.file) == ["Asha", ERASED]


def test_no_name_can_be_read_from_what_is_kept(tmp_path: Path, db: Database) -> None:
    for name in (NAME, "Asha"):
        add_pupil(db, name, created=WHEN)
        erase_pupil(db, name, tmp_path / "sessions")
    rows = list(db.query("select hash, salt, erased from erased_names"))
    assert len({row["hash"] for row in rows}) == 2
    assert {(len(row["hash"]), len(row["salt"])) for row in rows} == {(16, 16)}
    assert len({row["salt"] for row in rows}) == 1
    db.conn.close()
    for path in tmp_path.glob("records.db*"):
        assert NAME.encode() not in path.read_bytes()
    other = open_records(tmp_path / "other.db")
    add_pupil(other, NAME, created=WHEN)
    erase_pupil(other, NAME, None)
    (there,) = other.query("select hash from erased_names")
    assert there["hash"] not in {row["hash"] for row in rows}  # salted


def test_without_an_erasing_nothing_is_hashed(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Hashing is slow on purpose."""
    monkeypatch.setattr("hashlib.scrypt", None)
    store_file(db, elsewhere(tmp_path, NAME))
    assert [pupil.name for pupil in pupils(db)] == [NAME]
