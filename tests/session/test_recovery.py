"""Rounds that were cut short: which process holds a folder, and what becomes of one that none
holds."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from oralquiz.errors import BadInput, SessionFileError
from oralquiz.judge.verdict import Verdict
from oralquiz.rounds.round import Options
from oralquiz.session.correction import correct
from oralquiz.session.erasing import erase_from_session, erase_voices
from oralquiz.session.file import CUT_SHORT, header, open_session
from oralquiz.session.folder_lock import BeingHeld, is_held, locked
from oralquiz.session.recorder import FileRecorder
from oralquiz.session.recovery import cut_short, recover, session_folders
from oralquiz.session.reruns import rerun
from tests.session.killed import killed_rounds
from tests.session.room import make_round, run
from tests.sizes import size

pytestmark = pytest.mark.slow

WHEN = "2026-01-05T10:00:00+00:00"
MOMENTS = size((5, 14, 22), tuple(range(4, 24)))  # before the fourth event no sound is written


class Killed:
    """Copies of what rounds left whose process was killed after a given number of events."""

    def __init__(self, parent: Path) -> None:
        self.parent = killed_rounds(parent, MOMENTS)

    def copy(self, folder: Path, events: int = 14) -> Path:
        """``folder`` with the sound and two sums answered, or what there was after ``events``."""
        return shutil.copytree(self.parent / str(events), folder)


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Killed:
    return Killed(tmp_path_factory.mktemp("killed"))


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[tuple[Path, subprocess.Popen[str]]]:
    """A round that is being held by another process, two of its sums answered."""
    folder = tmp_path / "sessions" / "held"
    with subprocess.Popen(
        [sys.executable, "-m", "tests.session.killed", "--hold", str(folder), "14"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield folder, process
        process.kill()


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_a_round_that_another_process_holds_is_left_alone(
    elsewhere: tuple[Path, subprocess.Popen[str]],
) -> None:
    folder, process = elsewhere
    before = contents(folder)
    assert is_held(folder)
    assert session_folders(folder.parent) == [folder]
    assert cut_short(folder.parent) == []
    with pytest.raises(BeingHeld, match="held: this round is being held now"):
        recover(folder)
    with pytest.raises(BeingHeld):
        erase_from_session(folder, "Asha")
    with pytest.raises(BeingHeld):
        erase_voices(folder)
    with pytest.raises(BadInput, match="being held now; correct it when it is over"):
        correct(folder, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)
    assert not erase_from_session(folder, "Ben")  # a pupil who is not in it
    assert contents(folder) == before
    process.kill()
    process.wait()
    # the system has released it
    assert not is_held(folder)
    assert cut_short(folder.parent) == [folder]
    with pytest.raises(BadInput, match="was cut short; `oralquiz enter"):
        correct(folder, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)
    assert erase_voices(folder)
    assert not open_session(folder).audio[:, 1].any()
    assert erase_from_session(folder, "Asha")
    assert list(folder.parent.iterdir()) == []


def test_a_round_is_held_in_its_own_process_too_until_it_is_closed(tmp_path: Path) -> None:
    round_, options = make_round("1 + 2"), Options()
    head = header(round_, options, voice="p", model="p", software="t")
    for end in (FileRecorder.close, FileRecorder.abandon):
        recorder = FileRecorder(tmp_path / end.__name__, head)
        assert cut_short(tmp_path) == []
        end(recorder)
        assert cut_short(tmp_path) == [recorder.folder]
        recover(recorder.folder)
    recorder = FileRecorder(tmp_path / "nothing", head)
    recorder.discard()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["abandon.zip", "close.zip"]


@pytest.mark.parametrize("events", MOMENTS)
def test_a_round_cut_short_becomes_the_file_it_would_have_been(
    killed: Killed, tmp_path: Path, events: int
) -> None:
    folder = killed.copy(tmp_path / "s", events)
    cut = open_session(folder)
    made = recover(folder)
    assert made.file == tmp_path / "s.zip"
    assert made.lost == ""
    assert list(tmp_path.iterdir()) == [made.file]
    session = open_session(made.file)
    assert session.damage == CUT_SHORT  # no end was invented
    assert session.header == cut.header
    assert session.turns == cut.turns
    assert len(session.events) == events
    assert np.array_equal(session.audio, cut.audio)
    assert session.captions.startswith("WEBVTT")
    assert rerun(session).difference == ""


def test_a_round_cut_short_before_it_was_packed_is_the_same_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Same:
        hex = "0" * 32

    monkeypatch.setattr("oralquiz.session.file.uuid.uuid4", Same)
    monkeypatch.setattr(
        "oralquiz.session.recorder.discard",
        lambda folder: shutil.copytree(folder, tmp_path / "s"),
    )
    whole, _, _ = run(tmp_path / "whole", make_round("1 + 2", "4 + 4"), [3, 9])
    monkeypatch.undo()
    assert recover(tmp_path / "s").file.read_bytes() == whole.read_bytes()


def test_a_crash_between_packing_and_tidying_up_costs_nothing(
    killed: Killed, tmp_path: Path
) -> None:
    folder = killed.copy(tmp_path / "s")
    shutil.copytree(folder, tmp_path / "kept")
    made = recover(folder)
    before = made.file.read_bytes()
    (tmp_path / "kept").rename(folder)
    assert recover(folder) == made
    assert made.file.read_bytes() == before
    assert not folder.exists()


def test_another_session_of_the_same_name_is_not_overwritten(
    killed: Killed, tmp_path: Path
) -> None:
    folder = killed.copy(tmp_path / "s")
    other, _, _ = run(tmp_path / "other", make_round("1 + 2"), [3])
    other.rename(tmp_path / "s.zip")
    before = (tmp_path / "s.zip").read_bytes()
    with pytest.raises(BadInput, match=r"s\.zip beside it is another session"):
        recover(folder)
    assert (tmp_path / "s.zip").read_bytes() == before
    assert len(open_session(folder).turns) == 3


def test_a_line_that_the_crash_cut_is_dropped_and_no_other(killed: Killed, tmp_path: Path) -> None:
    folder = killed.copy(tmp_path / "s")
    log = folder / "events.jsonl"
    log.write_bytes(log.read_bytes() + b'{"seq":14,"at"')
    session = open_session(recover(folder).file)
    assert (len(session.events), session.damage) == (14, CUT_SHORT)

    folder = killed.copy(tmp_path / "t")
    log = folder / "events.jsonl"
    lines = log.read_bytes().splitlines(keepends=True)
    lines[9] = b"\0" * 20 + b"\n"
    log.write_bytes(b"".join(lines))
    made = recover(folder).file
    session = open_session(made)
    assert len(session.events) == 9
    assert session.damage == f"events.jsonl is damaged from line 10 on; {CUT_SHORT}"
    with pytest.raises(BadInput, match="correcting would lose what cannot be read"):
        correct(made, 0, Verdict.WRONG, by="Ms Rao", when=WHEN)


def test_sound_lost_in_a_power_cut_is_reported(killed: Killed, tmp_path: Path) -> None:
    folder = killed.copy(tmp_path / "s")
    sound = folder / "audio.flac"
    sound.write_bytes(sound.read_bytes()[:5000])
    whole = open_session(folder).events[-1].at
    made = recover(folder)
    session = open_session(made.file)
    seconds = round((whole - len(session.audio)) / 16_000)
    assert made.lost == f"the last {seconds} s of sound are lost"
    assert len(session.turns) == 3

    folder = killed.copy(tmp_path / "t")
    (folder / "audio.flac").unlink()
    made = recover(folder)
    assert made.lost == f"the last {whole / 16_000:.0f} s of sound are lost"
    assert "audio.flac is missing" in open_session(made.file).damage


def test_a_recovered_session_is_corrected_like_any_other(killed: Killed, tmp_path: Path) -> None:
    made = recover(killed.copy(tmp_path / "s")).file
    before = open_session(made)
    after = correct(made, 1, Verdict.RIGHT, by="Ms Rao", when=WHEN)
    assert after.events[: len(before.events)] == before.events
    assert after.turns[1].verdict is Verdict.RIGHT
    assert after.damage == CUT_SHORT
    assert rerun(after).difference == ""


def test_a_folder_without_a_session_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    for work in (recover, erase_voices):
        with pytest.raises(SessionFileError):
            work(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_everything_else_in_the_folder_stays(killed: Killed, tmp_path: Path) -> None:
    folder = killed.copy(tmp_path / "s")
    (folder / "notes.txt").write_text("mine")
    (folder / ".new-x").mkdir()  # from a crash while it was being rewritten
    recover(folder)
    assert [path.name for path in folder.iterdir()] == ["notes.txt"]
    assert cut_short(tmp_path) == []


def test_a_disk_that_fills_while_packing_leaves_the_round_as_it_was(
    killed: Killed, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = killed.copy(tmp_path / "s")
    before = contents(folder)

    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OSError, match="No space left"):
        recover(folder)
    monkeypatch.undo()
    assert contents(folder) == before
    assert list(tmp_path.iterdir()) == [folder]  # and no half-written file with a voice in it
    assert recover(folder).file.exists()


def test_one_at_a_time(killed: Killed, tmp_path: Path) -> None:
    folder = killed.copy(tmp_path / "s")
    with locked(folder), pytest.raises(BeingHeld):
        recover(folder)
    assert recover(folder).file.exists()
