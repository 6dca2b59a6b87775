"""The life of a round: what it leaves behind, however it begins and ends."""

from __future__ import annotations

from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import soundfile

from oralquiz.audio.virtual_room import VirtualRoom
from oralquiz.errors import BadInput, ModelError, OralquizError
from oralquiz.judge.verdict import Verdict
from oralquiz.rounds.events import Corrected
from oralquiz.rounds.round import Options, Round
from oralquiz.session import recorder as recorder_module
from oralquiz.session.file import open_session
from oralquiz.session.live_round import Devices, LiveRound, open_round
from oralquiz.session.recovery import session_folders
from oralquiz.sound.blocks import BLOCK, SESSION_RATE
from tests.session.room import Answers, PulseListener, PulseReader, PulseRecognizer, make_round

OPTIONS = Options(pace_s=1.0, answer_within_s=3.0)


def opened(folder: Path, reader: PulseReader | None = None) -> tuple[LiveRound, VirtualRoom]:
    room = VirtualRoom(np.random.default_rng(1))
    devices = Devices(reader or PulseReader(), room, PulseRecognizer())
    answers = Answers(room, [3, 8])
    round_ = make_round("1 + 2", "4 + 4")
    return open_round(round_, OPTIONS, devices, folder, watch=answers.watch), room


def for_seconds(live: LiveRound, room: VirtualRoom, duration: float) -> None:
    for _ in range(round(duration * SESSION_RATE / BLOCK)):
        live.runner.take(room.read())


def test_a_round_that_is_held_becomes_a_file(tmp_path: Path) -> None:
    live, room = opened(tmp_path / "s")
    with live:
        live.run(room)
    assert live.file == live.finish() == tmp_path / "s.zip"
    session = open_session(live.file)
    assert session.why_ended == "finished"
    assert session.header["voice"] == "pulse"


def test_a_sum_that_cannot_be_read_leaves_no_folder(tmp_path: Path) -> None:
    class Hasty(PulseReader):
        def prepare(self, round_: Round, options: Options) -> None:
            raise BadInput("nobody can say that so quickly")

    with pytest.raises(BadInput):
        opened(tmp_path / "s", Hasty())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("module", "part"), [(recorder_module, "lock"), (soundfile, "SoundFile")])
def test_a_folder_that_cannot_be_written_is_not_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: ModuleType, part: str
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module, part, full)
    with pytest.raises(OralquizError, match=r"cannot be kept there .*No space left"):
        opened(tmp_path / "s")
    assert list(tmp_path.iterdir()) == []


def test_a_start_that_is_refused_after_the_folder_was_made_leaves_none(tmp_path: Path) -> None:
    live, _ = opened(tmp_path / "s")
    with pytest.raises(BadInput), live:
        raise BadInput("another tablet is not ready")
    assert list(tmp_path.iterdir()) == []


def test_an_error_that_a_teacher_can_read_keeps_what_was_answered(tmp_path: Path) -> None:
    class Gone(PulseRecognizer):
        heard = 0

        def listen(self, lowest: int, highest: int) -> PulseListener:
            self.heard += 1
            if self.heard > 1:
                raise ModelError("the model is gone")
            return super().listen(lowest, highest)

    room = VirtualRoom(np.random.default_rng(1))
    answers = Answers(room, [3, 8])
    devices = Devices(PulseReader(), room, Gone())
    round_ = make_round("1 + 2", "4 + 4")
    with (
        pytest.raises(ModelError),
        open_round(round_, OPTIONS, devices, tmp_path / "s", watch=answers.watch) as live,
    ):
        live.run(room)
    session = open_session(tmp_path / "s.zip")
    assert [turn.verdict for turn in session.turns] == [Verdict.RIGHT, None]
    assert session.why_ended == "the model is gone"


def test_an_error_of_ours_leaves_a_round_that_was_cut_short(tmp_path: Path) -> None:
    live, room = opened(tmp_path / "s")
    with pytest.raises(KeyError), live:
        for_seconds(live, room, 5)
        raise KeyError("turn")
    assert session_folders(tmp_path) == [tmp_path / "s"]
    assert open_session(tmp_path / "s").turns[0].verdict is Verdict.RIGHT


def test_a_correction_while_the_round_is_held_is_in_its_file(tmp_path: Path) -> None:
    live, room = opened(tmp_path / "s")
    with live:
        for_seconds(live, room, 5)
        live.correct(Corrected(0, Verdict.WRONG, 4, "teacher", "2026-01-05T09:00:00+00:00"))
        live.run(room)
    (first, _) = open_session(live.finish()).turns
    assert (first.verdict, first.value) == (Verdict.WRONG, 4)


@pytest.mark.parametrize(("said", "voice"), [("default", None), ("engine:gmw/en", "engine:gmw/en")])
def test_the_web_apps_voice_of_older_files_is_the_usual_one(
    tmp_path: Path, said: str, voice: str | None
) -> None:
    class Reader(PulseReader):
        voice_name = said

    live, room = opened(tmp_path / "s", Reader())
    with live:
        live.run(room)
    assert open_session(live.finish()).voice == voice
