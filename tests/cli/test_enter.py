"""`oralquiz enter`, and what other commands say about a round that was cut short or is being
held."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from oralquiz.cli import main
from oralquiz.cli.screen import left_behind
from oralquiz.records import open_records, rule_states
from oralquiz.session.folder_lock import locked
from tests.session.room import make_round, run

pytestmark = pytest.mark.slow

ONE_WRONG = Path(__file__).parents[2] / "demo_sessions" / "one-wrong.zip"


@pytest.fixture
def sessions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where this computer keeps its sessions."""
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    folder = tmp_path / "data" / "sessions"
    folder.mkdir(parents=True)
    return folder


def call(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(arg) for arg in args])


def cut(folder: Path) -> Path:
    """A round of two sums, both answered, that was killed before its end was noted."""
    whole, _, _ = run(folder, make_round("1 + 2", "4 + 4"), [3, 9])
    with zipfile.ZipFile(whole) as parts:
        parts.extractall(folder)
    whole.unlink()
    log = folder / "events.jsonl"
    log.write_text("".join(log.read_text().splitlines(keepends=True)[:-1]))
    return folder


def test_without_arguments_everything_that_waits_is_entered(sessions: Path) -> None:
    one, two, held = (cut(sessions / name) for name in ("one", "two", "held"))
    with locked(held):
        done = call("enter")
    assert done.exit_code == 0
    assert done.stdout.splitlines() == [
        f"{path}: entered, 2 answers to 2 sums (the round was cut short), kept as {path}.zip"
        for path in (one, two)
    ]
    assert held.is_dir()
    assert call("enter").stdout.count("entered") == 1
    assert call("enter").stdout == "No session here is waiting to be entered.\n"
    (asha,) = json.loads(call("pupils", "--json").stdout)
    assert (asha["score"]["right"], asha["score"]["wrong"]) == (3, 3)


def test_a_file_is_entered_once(sessions: Path) -> None:
    kept = sessions / "one-wrong.zip"
    first = call("enter", ONE_WRONG)
    assert first.stdout == f"{ONE_WRONG}: entered, 2 answers to 2 sums, kept as {kept}\n"
    assert rule_states(open_records())  # the pupil is followed
    again = call("enter", ONE_WRONG, kept)
    assert again.exit_code == 0
    assert again.stdout.splitlines() == [
        f"{ONE_WRONG}: already in the records, from {kept}",
        f"{kept}: already in the records",
    ]
    assert json.loads(call("enter", "--json", kept).stdout) == [
        {
            "given": str(kept),
            "file": str(kept),
            "new": False,
            "answers": 2,
            "sums": 2,
            "damage": "",
            "at_home": False,
        }
    ]


def test_one_that_cannot_be_entered_does_not_hold_up_the_others(
    sessions: Path, tmp_path: Path
) -> None:
    notes = tmp_path / "notes.zip"
    notes.write_text("no session")
    done = call("enter", notes, tmp_path / "none.zip", ONE_WRONG)
    assert done.exit_code == 2
    assert done.stderr.splitlines() == [
        f"oralquiz: {notes}: not a readable session file (it is not a zip)",
        f"oralquiz: {tmp_path / 'none.zip'}: there is no such session file",
    ]
    assert "entered, 2 answers" in done.stdout


def test_a_round_that_is_being_held_is_not_entered(sessions: Path) -> None:
    held = cut(sessions / "held")
    with locked(held):
        done = call("enter", held)
    assert done.exit_code == 1
    assert done.stderr == f"oralquiz: {held}: this round is being held now\n"


def test_correcting_a_folder_says_what_it_is(sessions: Path) -> None:
    folder = cut(sessions / "s")
    one = ("--sum", "2", "--verdict", "right")
    with locked(folder):
        for more in ((), one):
            done = call("correct", folder, *more)
            assert done.exit_code == 2
            assert "this round is being held now; correct it when it is over" in done.stderr
    for more in ((), one):
        done = call("correct", folder, *more)
        assert done.exit_code == 2
        assert f'was cut short; `oralquiz enter "{folder}"` makes a session file' in done.stderr
    call("enter", folder)
    assert call("correct", f"{folder}.zip", *one).stdout == "sum 2: right\n"
    assert json.loads(call("pupils", "--json").stdout)[0]["score"]["right"] == 2


def test_erasing_and_forgetting_wait_for_a_round_that_is_being_held(sessions: Path) -> None:
    call("enter", cut(sessions / "before"))
    held = cut(sessions / "held")
    with locked(held):
        erased = call("pupils", "erase", "Asha", "--yes")
        assert erased.exit_code == 1
        assert erased.stderr == (
            f"oralquiz: Asha is in a round that is being held now ({held}): end it first; "
            "nothing has been erased\n"
        )
        forgotten = call("pupils", "forget-voices", "--days", "0")
        assert forgotten.exit_code == 1
        assert forgotten.stderr == (
            "oralquiz: voices removed from 1 session file, but not from: "
            f"{held}: this round is being held now\n"
        )
    assert call("pupils", "erase", "Asha", "--yes").exit_code == 0
    assert list(sessions.iterdir()) == []


def test_a_round_says_at_its_start_what_was_cut_short(
    sessions: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left = cut(sessions / "left")
    monkeypatch.setattr("oralquiz.listen.open_recognizer", lambda *_: None)

    class Deaf:
        def __init__(self, *_: object) -> None:
            raise SystemExit(3)

    monkeypatch.setattr("oralquiz.audio.SoundCard", Deaf)
    call("pupils", "add", "Ben")
    wanted = f"A round was cut short ({left}): `oralquiz enter` puts it into the records.\n"
    done = call("round", "--pupil", "Ben")
    assert done.exit_code == 3
    assert wanted in done.stdout
    with locked(left):
        assert "cut short" not in call("round", "--pupil", "Ben").stdout
    assert left_behind([left, left]).startswith(f"2 rounds were cut short (in {sessions})")


def test_a_demonstration_is_not_put_where_another_was_cut_short(
    sessions: Path, tmp_path: Path
) -> None:
    (tmp_path / "out").mkdir()
    shutil.copytree(cut(sessions / "x"), tmp_path / "out" / "round")
    done = call("demo", "--fast", "--out", tmp_path / "out")
    assert done.exit_code == 2
    assert "a demonstration is running in it or was cut short; give another" in done.stderr
