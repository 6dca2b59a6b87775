"""Sessions that were not in the records: rounds cut short, files from another computer."""

from __future__ import annotations

import shutil
import zipfile
from pathlib import Path

import pytest
from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.judge.verdict import Verdict
from oralquiz.records import import_sessions as entering
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil
from oralquiz.records.import_sessions import Imported, import_session, waiting
from oralquiz.records.pupil_list import pupils
from oralquiz.records.scoring import scores
from oralquiz.session.correction import correct
from oralquiz.session.file import CUT_SHORT
from oralquiz.session.folder_lock import BeingHeld, locked
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T09:00:00+00:00"


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(tmp_path / "records.db")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where sessions are kept."""
    (tmp_path / "sessions").mkdir()
    return tmp_path / "sessions"


def cut(path: Path) -> Path:
    """A round of three sums of which the third was never answered, as a crash leaves it."""
    whole, _, _ = run(path, make_round("1 + 2", "4 + 4", "2 + 2"), [3, 9, None])
    path.mkdir()
    with zipfile.ZipFile(whole) as parts:
        parts.extractall(path)
    whole.unlink()
    (path / "captions.vtt").unlink()
    log = path / "events.jsonl"
    lines = log.read_text().splitlines(keepends=True)
    third = next(n for n, line in enumerate(lines) if '"sum_begun","turn":2' in line)
    log.write_text("".join(lines[: third + 1]))
    return path


def test_a_round_cut_short_is_entered_once(db: Database, folder: Path) -> None:
    left = cut(folder / "cut")
    assert waiting(db, folder) == [left]
    file = folder / "cut.zip"
    assert import_session(db, left, folder) == Imported(file, True, 2, 3, CUT_SHORT)
    assert waiting(db, folder) == []
    (asha,) = scores(db)
    assert (asha.pupil, asha.total.right, asha.total.wrong, asha.total.count) == ("Asha", 1, 1, 2)
    assert import_session(db, file, folder) == Imported(file, False, 2, 3, CUT_SHORT)
    assert db.table("rounds").count == 1
    assert db.table("sums").count == 3


def test_what_the_records_could_not_take_is_entered(db: Database, folder: Path) -> None:
    """The database was locked when the round ended."""
    path, _, _ = run(folder / "s", make_round("1 + 2"), [3])
    assert waiting(db, folder) == [path]
    assert import_session(db, path, folder) == Imported(path, True, 1, 1, "")
    # and a correction that the records could not take either
    correct(path, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)
    assert not import_session(db, path, folder).new
    assert scores(db)[0].total.wrong == 1


def test_a_file_from_elsewhere_is_kept_with_the_others(
    db: Database, folder: Path, tmp_path: Path
) -> None:
    stick = tmp_path / "stick"
    path, _, _ = run(stick / "monday", make_round("1 + 2"), [3])
    same_name, _, _ = run(folder / "monday", make_round("4 + 4", pupil="Ben"), [8])
    import_session(db, same_name, folder)
    kept = folder / "monday-2.zip"
    assert import_session(db, path, folder) == Imported(kept, True, 1, 1, "")
    assert kept.read_bytes() == path.read_bytes()
    assert import_session(db, path, folder) == Imported(kept, False, 1, 1, "")  # and no third file
    assert sorted(p.name for p in folder.iterdir()) == ["monday-2.zip", "monday.zip"]
    erase_pupil(db, "Asha", folder)
    assert not kept.exists()


def test_a_file_that_was_moved_takes_its_old_place(
    db: Database, folder: Path, tmp_path: Path
) -> None:
    path, _, _ = run(tmp_path / "old" / "s", make_round("1 + 2"), [3])
    first = import_session(db, path, folder).file
    first.unlink()
    assert import_session(db, path, folder) == Imported(folder / "s.zip", False, 1, 1, "")
    assert (folder / "s.zip").exists()
    assert db.table("rounds").count == 1


def test_a_round_cut_short_elsewhere_becomes_a_file_there_and_is_copied(
    db: Database, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "stick").mkdir()
    left = cut(tmp_path / "stick" / "s")
    assert import_session(db, left, folder).file == folder / "s.zip"
    assert [p.name for p in (tmp_path / "stick").iterdir()] == ["s.zip"]


def test_a_round_that_is_being_held_does_not_wait_for_anybody(db: Database, folder: Path) -> None:
    left = cut(folder / "s")
    with locked(left):
        assert waiting(db, folder) == []
        with pytest.raises(BeingHeld):
            import_session(db, left, folder)
    assert pupils(db) == []
    assert import_session(db, left, folder).new


def test_what_is_not_a_session_is_refused_and_nothing_is_kept(
    db: Database, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    notes = tmp_path / "notes.zip"
    notes.write_text("no session")
    with pytest.raises(BadInput, match=r"notes\.zip: not a readable session file"):
        import_session(db, notes, folder)
    with pytest.raises(BadInput, match="there is no session in this folder"):
        import_session(db, tmp_path, folder)
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3])
    monkeypatch.setattr(entering, "LARGEST", 1000)
    with pytest.raises(BadInput, match="larger than a session file can be"):
        import_session(db, path, folder)
    monkeypatch.undo()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(shutil, "copyfile", full)
    with pytest.raises(OSError, match="No space left"):
        import_session(db, path, folder)
    assert list(folder.iterdir()) == []
    assert db.table("rounds").count == 0
