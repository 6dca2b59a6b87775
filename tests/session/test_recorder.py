from __future__ import annotations

import errno
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.errors import OralquizError, SessionFileError
from oralquiz.judge.verdict import Verdict
from oralquiz.rounds.events import Event, RoundEnded, SumBegun
from oralquiz.rounds.round import Options
from oralquiz.session.file import Session, header, open_session
from oralquiz.session.live_round import Devices, open_round
from oralquiz.session.recorder import FileRecorder
from oralquiz.session.reruns import rerun
from oralquiz.sound.blocks import SESSION_RATE
from tests.session.killed import ANSWERS, SUMS, killed_rounds
from tests.session.room import Answers, PulseReader, PulseRecognizer, make_round, run
from tests.sizes import size

pytestmark = pytest.mark.slow

MOMENTS = size((1, 3, 5, 9, 14, 22), tuple(range(1, 24)))
"""The numbers of events after which a round's process is killed."""


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return killed_rounds(tmp_path_factory.mktemp("killed"), MOMENTS)


@pytest.fixture(scope="module")
def uncut(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """The same round, run to its end."""
    folder = tmp_path_factory.mktemp("whole") / "s"
    return open_session(run(folder, make_round(*SUMS), list(ANSWERS))[0])


@pytest.mark.parametrize(("lost", "says"), [(640, ""), (1_152, ""), (3_200, "event 11 was")])
def test_a_crash_right_after_the_end_costs_sound_but_is_not_an_alteration(
    tmp_path: Path, lost: int, says: str
) -> None:
    """The end has been logged, and the last block of the sound has not been written yet."""
    path, _, _ = run(tmp_path / "s", make_round("1 + 2", "1 + 2"), [3, 8])
    whole = open_session(path)
    cut = replace(whole, audio=whole.audio[:-lost])
    assert rerun(cut).difference.startswith(says)
    assert bool(rerun(cut).difference) == bool(says)


@pytest.mark.parametrize("events", MOMENTS)
def test_killed_at_any_moment_every_finished_answer_is_there(
    killed: Path, uncut: Session, events: int
) -> None:
    session = open_session(killed / str(events))
    assert len(session.events) == events
    assert "the round was cut short" in session.damage
    assert [e.encode() for e in session.events] == [e.encode() for e in uncut.events[:events]]
    finished = [turn for turn in session.turns if turn.ended]
    assert finished == [t for t in uncut.turns if t.ended][: len(finished)]
    # the sound is there except for the encoder's last block of 1,152 samples
    assert len(session.audio) >= session.events[-1].at - 1152 - 64
    assert np.array_equal(session.audio, uncut.audio[: len(session.audio)])
    assert rerun(session).difference == ""


def test_the_zip_is_whole_and_the_directory_gone(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3])
    assert [p.name for p in tmp_path.iterdir()] == ["s.zip"]
    assert path == tmp_path / "s.zip"


def test_equal_sessions_are_equal_bytes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Same:
        hex = "0" * 32

    monkeypatch.setattr("oralquiz.session.file.uuid.uuid4", Same)
    one, _, _ = run(tmp_path / "one", make_round("1 + 2"), [3])
    other, _, _ = run(tmp_path / "other", make_round("1 + 2"), [3])
    assert one.read_bytes() == other.read_bytes()


def test_a_full_disk_keeps_what_was_answered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    room = VirtualRoom(np.random.default_rng(1))
    answers = Answers(room, [3, 8])
    write = FileRecorder.event

    def fills_up(self: FileRecorder, at: int, event: Event) -> None:
        if isinstance(event, SumBegun) and event.turn == 1:
            raise OSError(errno.ENOSPC, "No space left on device")
        write(self, at, event)

    monkeypatch.setattr(FileRecorder, "event", fills_up)

    options = Options(pace_s=1.0, answer_within_s=3.0)
    devices = Devices(PulseReader(), room, PulseRecognizer())
    round_ = make_round("1 + 2", "4 + 4")
    with (
        pytest.raises(OralquizError, match=r"No space left on device.*is kept there"),
        open_round(round_, options, devices, tmp_path / "s", watch=answers.watch) as live,
    ):
        live.run(room)
    session = open_session(tmp_path / "s")
    assert [t.verdict for t in session.turns] == [Verdict.RIGHT]
    assert session.turns[0].ended


def test_sound_that_cannot_be_written_is_an_error_of_the_system(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """libsndfile has an error of its own for it, which the code that holds a round does not
    expect."""

    def full(sound: soundfile.SoundFile, samples: object) -> None:
        raise soundfile.LibsndfileError(2)

    head = header(make_round("1 + 2"), Options(), voice="p", model="p", software="t")
    recorder = FileRecorder(tmp_path / "s", head)
    monkeypatch.setattr(soundfile.SoundFile, "write", full)
    with pytest.raises(OSError, match=r"audio\.flac: cannot be written"):
        recorder.sound(np.zeros(320, np.float32), np.zeros(320, np.float32))
    recorder.abandon()


def test_a_round_that_is_stopped_at_once_is_a_file_too(tmp_path: Path) -> None:
    head = header(make_round("1 + 2"), Options(), voice="p", model="p", software="t")
    recorder = FileRecorder(tmp_path / "s", head)
    recorder.event(0, RoundEnded("stopped at the keyboard", 0))
    assert open_session(recorder.finish()).why_ended == "stopped at the keyboard"


def test_a_session_never_overwrites_another(tmp_path: Path) -> None:
    (tmp_path / "s").mkdir()
    with pytest.raises(FileExistsError):
        FileRecorder(tmp_path / "s", {})


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("none.zip", None, "there is no such session file"),
        ("text.zip", b"hello", "not a readable session file"),
    ],
)
def test_what_is_not_a_session_is_refused(
    tmp_path: Path, name: str, content: bytes | None, message: str
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SessionFileError, match=message) as error:
        open_session(path)
    assert name in str(error.value)


def test_said_and_heard_share_one_timeline(tmp_path: Path) -> None:
    path, _, _ = run(tmp_path / "s", make_round("1 + 2"), [3], delay=1.0)
    session = open_session(path)
    (turn,) = session.turns
    (attempt,) = turn.attempts
    said, heard = session.audio[:, 0], session.audio[:, 1]
    assert np.flatnonzero(said)[-1] + 1 == turn.terms[-1].offset
    loud = np.flatnonzero(np.abs(heard) > 300)
    assert (loud[0], loud[-1] + 1) == (attempt.onset, attempt.offset)
    assert loud[0] - turn.terms[-1].offset == SESSION_RATE
