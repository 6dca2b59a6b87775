from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from oralquiz.rounds.events import Event, SumEnded
from oralquiz.session.buffered_recorder import GATHERED, BufferedRecorder
from oralquiz.session.recorder import FileRecorder
from oralquiz.sound.blocks import BLOCK
from oralquiz.sound.clip import Samples


class Tape:
    def __init__(self) -> None:
        self.got: list[object] = []

    def event(self, at: int, event: Event) -> None:
        self.got.append(event)

    def sound(self, said: Samples, heard: Samples) -> None:
        self.got.append((said.tolist(), heard.tolist()))

    def sync(self) -> None:
        self.got.append("synced")

    def close(self) -> None:
        self.got.append("closed")

    def abandon(self) -> None:
        self.got.append("abandoned")

    def discard(self) -> None:
        self.got.append("discarded")

    def finish(self) -> Path:
        self.got.append("finished")
        return Path("tape")


def test_sound_is_there_before_the_event_that_rests_on_it() -> None:
    tape = Tape()
    recorder = BufferedRecorder(tape)
    for k in range(3):
        recorder.sound(np.full(2, k, np.float32), np.full(2, -k, np.float32))
    assert tape.got == []
    recorder.event(6, SumEnded(0))
    recorder.sound(np.ones(1, np.float32), np.ones(1, np.float32))
    assert recorder.finish() == Path("tape")
    assert tape.got == [
        ([0.0, 0.0, 1.0, 1.0, 2.0, 2.0], [0.0, 0.0, -1.0, -1.0, -2.0, -2.0]),
        SumEnded(0),
        ([1.0], [1.0]),
        "finished",
    ]


def test_sound_does_not_wait_for_ever_for_an_event() -> None:
    tape = Tape()
    recorder = BufferedRecorder(tape)
    for _ in range(GATHERED):
        recorder.sound(np.zeros(BLOCK, np.float32), np.zeros(BLOCK, np.float32))
    assert len(tape.got) == 1
    recorder.close()
    assert tape.got[-1] == "closed"


def test_a_full_disk_does_not_keep_the_recorder_from_being_closed() -> None:
    class Full(Tape):
        def sound(self, said: Samples, heard: Samples) -> None:
            raise OSError(28, "No space left on device")

    tape = Full()
    recorder = BufferedRecorder(tape)
    recorder.sound(np.zeros(1, np.float32), np.zeros(1, np.float32))
    with pytest.raises(OSError, match="No space left"):
        recorder.close()
    assert tape.got == ["closed"]


def test_events_are_synced_when_it_is_asked_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[str] = []
    log = tmp_path / "s" / "events.jsonl"
    monkeypatch.setattr("os.fsync", lambda fd: synced.append(log.read_text()))
    recorder = FileRecorder(tmp_path / "s", {}, syncs=False)
    recorder.event(0, SumEnded(0))
    recorder.event(1, SumEnded(1))
    assert synced == []
    recorder.sync()
    recorder.sync()  # nothing new
    assert [text.count("\n") for text in synced] == [2]
    recorder.close()
    recorder.sync()  # too late, and nothing to do
