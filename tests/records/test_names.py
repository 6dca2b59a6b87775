"""What can be a name, in any script, and what cannot."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from sqlite_utils import Database

from oralquiz.cli import main
from oralquiz.errors import BadInput
from oralquiz.folders import HOME_VARIABLE
from oralquiz.records.database import open_records
from oralquiz.records.names import LONGEST, unusable
from oralquiz.records.pupil_list import add_class, add_pupil, find_pupil, pupils

WHEN = "2026-01-05T09:00:00+00:00"


@pytest.fixture
def db(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Database:
    monkeypatch.setenv(HOME_VARIABLE, str(tmp_path))
    return open_records()


@pytest.mark.parametrize(
    "name",
    [
        "علی\N{ZERO WIDTH NON-JOINER}رضا",  # Persian, written apart but one word
        "ശ്രീലക്ഷ്മി",
        "മന\N{ZERO WIDTH JOINER}",
        "ന്\N{ZERO WIDTH JOINER}റ",  # Malayalam, a chillu in the older encoding
        "O'Brien-Łukasz jr.",
        "李小龍",
        "Ben [b]",
        "5",
    ],
)
def test_names_of_every_script(db: Database, name: str) -> None:
    if name.endswith("\N{ZERO WIDTH JOINER}"):  # joins nothing
        assert "cannot be printed" in unusable(name)
        return
    assert add_pupil(db, name, created=WHEN).name == name
    add_class(db, name)


@pytest.mark.parametrize(
    "name",
    [
        "\x1b[31mAsha",
        "As\x07ha",
        "Asha\N{RIGHT-TO-LEFT OVERRIDE}neB",
        "\N{LEFT-TO-RIGHT ISOLATE}Asha",
        "\N{ZERO WIDTH JOINER}Asha",
        "As\N{ZERO WIDTH SPACE}ha",
        "Asha\ud800",
        "Asha\ue000",
        "...",
    ],
)
def test_what_is_not_a_name_is_refused(db: Database, name: str) -> None:
    with pytest.raises(BadInput, match="a pupil's name h"):
        add_pupil(db, name, created=WHEN)
    with pytest.raises(BadInput, match="a class's name h"):
        add_class(db, name)
    assert pupils(db) == []


def test_a_terminal_is_not_commanded_by_a_name_that_older_records_hold(db: Database) -> None:
    db.execute("insert into classes (id, name) values (1, ?)", ["3B\x1b]0;x\x07"])
    db.execute(
        "insert into pupils (name, class_id, consent, created) values (?, 1, 0, ?)",
        ["Asha\x1b[2J\N{RIGHT-TO-LEFT OVERRIDE}", WHEN],
    )
    done = CliRunner().invoke(main, ["pupils"])
    assert "Asha" in done.output
    assert "\x1b" not in done.output
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in done.output
    missing = CliRunner().invoke(main, ["enter", "no\x1b[2J.zip"])
    assert missing.exit_code == 2
    assert "\x1b" not in missing.output
    unknown = CliRunner().invoke(main, ["pupils", "show", "\x1b[2J"])
    assert "\x1b" not in unknown.output


@pytest.mark.parametrize("days", ["1000000", "999999999999"])
def test_voices_older_than_any_date(db: Database, days: str) -> None:
    done = CliRunner().invoke(main, ["pupils", "forget-voices", "--days", days])
    assert (done.exit_code, done.output) == (0, "voices removed from 0 session files\n")


def test_the_check_of_sessions_names_what_is_left(db: Database, tmp_path: Path) -> None:
    clean = CliRunner().invoke(main, ["check", "sessions"])
    assert (clean.exit_code, clean.output) == (0, "Nothing is left over, and nothing is waiting.\n")
    left = tmp_path / "data" / "sessions" / "s"
    left.mkdir(parents=True)
    (left / "audio.flac").write_bytes(b"a voice")
    found = CliRunner().invoke(main, ["check", "sessions"])
    assert found.exit_code == 1
    assert found.output == f"{left}: left by a crash, may contain voices\n"


def test_nobody_else_reads_the_records(db: Database, tmp_path: Path) -> None:
    add_pupil(db, "Asha", created=WHEN)
    data = tmp_path / "data"
    for path in (data, *data.iterdir()):
        assert path.stat().st_mode & 0o077 == 0, path


@pytest.mark.parametrize("letter", ["A", "é", "अ"])
def test_a_name_has_to_fit_the_pages(db: Database, letter: str) -> None:
    assert add_pupil(db, letter * LONGEST, created=WHEN).name == letter * LONGEST
    for add in (lambda name: add_pupil(db, name, created=WHEN), lambda name: add_class(db, name)):
        with pytest.raises(BadInput, match="more than 60 characters") as refused:
            add(letter * 3_000)
        assert len(str(refused.value)) < 150
    with pytest.raises(BadInput, match="no pupil") as unknown:
        find_pupil(db, letter * 3_000)
    assert len(str(unknown.value)) < 250
