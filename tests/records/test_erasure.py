"""Erasing wins and is final, whatever else is written at the same time, before or afterwards."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from sqlite_utils import Database

from oralquiz.errors import BadInput
from oralquiz.judge.verdict import Verdict
from oralquiz.records import erasure
from oralquiz.records.cards import Cards, remove_cards
from oralquiz.records.database import open_records
from oralquiz.records.erasure import erase_pupil, finish_erasing, unfinished
from oralquiz.records.import_sessions import import_session, waiting
from oralquiz.records.pupil_list import add_pupil, find_pupil, pupils
from oralquiz.records.session_rows import PARTS_OF_A_SUM, store, store_file
from oralquiz.rounds.round import Round
from oralquiz.session.correction import correct
from oralquiz.session.erasing import ERASED
from oralquiz.session.file import Session, open_session
from oralquiz.session.folder_lock import locked
from tests.records.fresh import fresh_records
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T09:00:00+00:00"
CORRECTOR = """
import sys
from pathlib import Path
from oralquiz.judge import Verdict
from oralquiz.records import open_records, store_file
from oralquiz.session import correct
db = open_records(Path(sys.argv[1]))
print("ready", flush=True)
input()
for value in range(100, 104):
    for file in sys.argv[2:]:
        correct(Path(file), 0, Verdict.WRONG, by="t", when="2026-01-05", value=value)
        store_file(db, Path(file))
print("done")
"""


@pytest.fixture
def db(tmp_path: Path) -> Database:
    return open_records(fresh_records(tmp_path / "records.db"))


def both(*names: str) -> Round:
    turns = [turn for name in names for turn in make_round("1 + 2", pupil=name).turns]
    return Round("both", WHEN, tuple(turns), step="direct", rule="direct")


def names_in(path: Path) -> list[str]:
    return [turn.pupil for turn in open_session(path).round.turns]


def test_erasing_beside_another_program_that_corrects(tmp_path: Path, db: Database) -> None:
    """What the other reported as done is in the files, and the erased pupil is nowhere."""
    sessions = tmp_path / "sessions"
    files = [run(sessions / f"s{n}", both("Asha", "Ben Zimmer"), [3, 3])[0] for n in range(3)]
    for file in files:
        store_file(db, file)
    with subprocess.Popen(
        [sys.executable, "-c", CORRECTOR, str(tmp_path / "records.db"), *map(str, files)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        assert other.stdout.readline() == "ready\n"
        other.stdin.write("\n")
        other.stdin.flush()
        erased = erase_pupil(db, "Ben Zimmer", sessions)
        assert other.stdout.read() == "done\n"
    assert (erased.missing, erased.unreadable) == ((), ())
    for file in files:
        session = open_session(file)
        assert names_in(file) == ["Asha", ERASED]
        assert [c.value for c in session.turns[0].corrections] == [100, 101, 102, 103]
        assert not session.audio[session.turns[1].start :, 1].any()
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]
    assert sorted(p.name for p in sessions.iterdir()) == ["s0.zip", "s1.zip", "s2.zip"]


def test_what_was_read_before_an_erasure_brings_nobody_back(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", both("Asha", "Ben"), [3, 3])
    before = open_session(path)
    store(db, before, path)
    erase_pupil(db, "Ben")
    store(db, before, path)
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]
    assert db.table("sums").count == 1


def test_a_copy_from_elsewhere_brings_nobody_back(tmp_path: Path, db: Database) -> None:
    sessions, stick = tmp_path / "sessions", tmp_path / "stick"
    two, _, _ = run(sessions / "two", both("Asha", "Ben"), [3, 3])
    alone, _, _ = run(sessions / "alone", both("Ben"), [3])
    shutil.copytree(sessions, stick)
    for file in (two, alone):
        store_file(db, file)
    erase_pupil(db, "Ben", sessions)
    two.unlink()
    import_session(db, stick / "two.zip", sessions)
    assert names_in(two) == ["Asha", ERASED]
    with pytest.raises(BadInput, match=r"alone\.zip: everybody in this session was erased"):
        import_session(db, stick / "alone.zip", sessions)
    assert [p.name for p in sessions.iterdir()] == ["two.zip"]
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]


def test_a_round_that_was_begun_while_its_pupil_was_being_erased(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It could not be rewritten while it was held; nobody comes back when it is stored."""
    sessions = tmp_path / "sessions"
    sessions.mkdir()
    whole, _, _ = run(tmp_path / "s", both("Asha", "Ben"), [3, 3])
    add_pupil(db, "Ben", created=WHEN)
    held = sessions / "s"

    def begin(*args: object) -> None:
        with zipfile.ZipFile(whole) as parts:
            parts.extractall(held)
        folder_lock.__enter__()
        remove_cards(db, find_pupil(db, "Ben").id)

    folder_lock = locked(held)
    monkeypatch.setattr(erasure, "remove_cards", begin)
    erased = erase_pupil(db, "Ben", sessions)
    assert "held now" in erased.unreadable[0]
    assert [path for _, path in unfinished(db)] == [held]
    folder_lock.__exit__(None, None, None)
    shutil.rmtree(held)
    file = Path(shutil.copy(whole, sessions / "s.zip"))  # as if it had ended by itself
    store_file(db, file)
    assert names_in(file) == ["Asha", ERASED]
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]


def test_an_erasure_that_was_interrupted_is_finished_later(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    sessions = tmp_path / "sessions"
    files = [run(sessions / f"s{n}", both("Asha", "Ben"), [3, 3])[0] for n in range(2)]
    for file in files:
        store_file(db, file)

    def interrupt(done: int, of: int) -> None:
        assert (done, of) == (1, 2)
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        erase_pupil(db, "Ben", sessions, interrupt)
    assert [names_in(file)[1] for file in files] == [ERASED, "Ben"]
    assert [pupil.name for pupil in pupils(db)] == ["Asha"]
    assert [path for _, path in unfinished(db)] == [files[1]]
    # a command or the server asks what is waiting: now it is done
    assert waiting(db, sessions) == []
    assert [names_in(file)[1] for file in files] == [ERASED, ERASED]
    assert unfinished(db) == []
    assert finish_erasing(db) == []


def test_a_correction_of_an_erased_session_that_is_gone_is_not_reported_as_done(
    tmp_path: Path, db: Database
) -> None:
    path, _, _ = run(tmp_path / "s", both("Ben"), [3])
    store_file(db, path)
    erase_pupil(db, "Ben")
    with pytest.raises(BadInput, match="there is no such session file"):
        correct(path, 0, Verdict.WRONG, by="t", when=WHEN)


def test_a_pupil_named_but_never_asked_is_erased_too(tmp_path: Path, db: Database) -> None:
    path, _, _ = run(tmp_path / "s", both("Asha", "Ben"), [3, 3])
    with zipfile.ZipFile(path) as parts:
        parts.extractall(tmp_path / "cut")
    path.unlink()
    log = tmp_path / "cut" / "events.jsonl"
    lines = log.read_text().splitlines(keepends=True)
    second = next(n for n, line in enumerate(lines) if '"sum_begun","turn":1' in line)
    log.write_text("".join(lines[:second]))
    file = import_session(db, tmp_path / "cut", tmp_path).file
    add_pupil(db, "Ben", created=WHEN)
    assert erase_pupil(db, "Ben").changed == (file,)
    assert names_in(file) == ["Asha", ERASED]


def test_only_the_pupils_own_sessions_are_opened(
    tmp_path: Path, db: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    sessions = tmp_path / "sessions"
    for number, name in enumerate(("Asha", "Ben", "Asha", "Asha")):
        store_file(db, run(sessions / f"s{number}", both(name), [3])[0])
    opened: list[Path] = []

    def noted(path: Path) -> Session:
        opened.append(path)
        return open_session(path)

    monkeypatch.setattr("oralquiz.session.erasing.open_session", noted)
    told: list[tuple[int, int]] = []
    erase_pupil(db, "Ben", sessions, lambda done, of: told.append((done, of)))
    assert opened == [sessions / "s1.zip"]
    assert told == [(1, 1)]


def test_records_of_an_older_version_are_searched_once(tmp_path: Path, db: Database) -> None:
    """They did not say whom a session names without ever asking them."""
    path, _, _ = run(tmp_path / "s", both("Asha", "Ben"), [3, 3])
    store_file(db, path)
    db.execute("delete from named")
    db.execute("update rounds set voices = null")
    for table in PARTS_OF_A_SUM:
        db.execute(f"delete from {table} where sum_id in (select id from sums where turn = 1)")
    db.execute("delete from sums where turn = 1")
    assert erase_pupil(db, "Ben").changed == (path,)
    assert next(db.query("select voices from rounds"))["voices"] == 1


def test_the_cards_of_the_old_file_are_taken_in_once(tmp_path: Path) -> None:
    file = tmp_path / "web" / "cards.json"
    file.parent.mkdir()
    card = {"class_name": "3B", "expires": 2000.0, "pupil": 7, "name": "Ben"}
    file.write_text(json.dumps({"BCDFGHJKM": card, "XXXXXXXXX": {**card, "pupil": 8}}))
    cards = Cards(tmp_path / "records.db")
    found = cards.called("BCDFGHJKM", now=1999.0)
    assert found is not None
    assert (found.pupil, found.name, found.class_name) == (7, "Ben", "3B")
    assert cards.called("BCDFGHJKM", now=2000.0) is None
    assert not file.exists()
    file.write_text('["?"]')
    with pytest.raises(
        BadInput, match=r"cards\.json: holds no pupils' cards .*remove it to start anew"
    ):
        Cards(tmp_path / "records.db")
    assert file.exists()
