from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from oralquiz.audio.delay_chirp import Echo, chirp, find_echo
from oralquiz.audio.sound_check import Measured, findings, measure
from oralquiz.sound.blocks import BLOCK, SESSION_RATE, Block
from oralquiz.sound.clip import Samples

GOOD = Measured(
    output="speakers",
    input="headset",
    noise_dbfs=-62.0,
    lag_s=0.23,
    chirp_heard=True,
    chirp_db=-14.0,
    reading_dbfs=-35.0,
    reading_clipped=0.0,
    left_voices=0,
    said_dbfs=-24.0,
    said_clipped=0.0,
    xruns=0,
    gaps=0,
    lost=0,
)


def test_a_good_room_is_fit_and_says_what_was_measured() -> None:
    found = findings(GOOD)
    assert all(finding.fit for finding in found)
    told = " ".join(finding.sentence for finding in found)
    assert "230 ms from 'speakers' to 'headset'" in told
    assert "38 dB above the room" in told


@pytest.mark.parametrize(
    ("measured", "words"),
    [
        (replace(GOOD, noise_dbfs=-38.0), "room is loud (-38 dB"),
        (
            replace(GOOD, noise_dbfs=-120.0, chirp_heard=False, reading_dbfs=-120.0),
            "'headset' hears nothing at all",
        ),
        (replace(GOOD, reading_clipped=0.01), "overloads the microphone: turn the loudspeaker"),
        (replace(GOOD, left_voices=2), "would be taken for a voice"),
        (replace(GOOD, said_clipped=0.01), "voice overloads"),
        (replace(GOOD, said_dbfs=-55.0), "No voice stood out"),
        (replace(GOOD, said_dbfs=-42.0), "voice is weak"),
        (replace(GOOD, gaps=3), "3 gaps"),
        (replace(GOOD, lost=320), "320 samples"),
    ],
)
def test_each_fault_comes_first_with_what_to_do(measured: Measured, words: str) -> None:
    first = findings(measured)[0]
    assert not first.fit
    assert words in first.sentence


def test_headphones_are_not_a_fault() -> None:
    found = findings(replace(GOOD, chirp_heard=False, chirp_db=None))
    assert all(finding.fit for finding in found)
    assert any("With headphones that is as it should be" in f.sentence for f in found)


def test_a_microphone_that_mutes_its_pauses_is_not_taken_for_a_dead_one() -> None:
    assert findings(replace(GOOD, noise_dbfs=-120.0))[0].fit


class Room:
    """A sound card in a simulated room: what is played comes back ``lag`` later, weaker."""

    def __init__(self, lag: int, gain: float, noise: float, voice: Samples | None = None) -> None:
        self.output_name, self.input_name = "box", "ear"
        self.xruns = self.gaps = self.lost = 0
        self._lag, self._gain, self._noise = lag, gain, noise
        self._rng = np.random.default_rng(9)
        self._position = 0
        self._playing: list[tuple[int, Samples]] = []
        self._voice = voice
        self.silent = False

    @property
    def lag_s(self) -> float:
        return self._lag / SESSION_RATE

    def now(self) -> int:
        return self._position

    def play(self, samples: Samples, at: int) -> int:
        heard_at = max(at, self._position + self._lag)
        self._playing.append((heard_at, (self._gain * samples).astype(np.float32)))
        return heard_at

    def stop(self) -> None:
        self._playing.clear()

    def speak(self) -> None:
        assert self._voice is not None
        self._playing.append((self._position + SESSION_RATE, self._voice))

    def read(self) -> Block:
        start, end = self._position, self._position + BLOCK
        heard = (self._noise * self._rng.standard_normal(BLOCK)).astype(np.float32)
        for at, sound in self._playing:
            low, high = max(start, at), min(end, at + len(sound))
            if low < high:
                heard[low - start : high - start] += sound[low - at : high - at]
        self._position = end
        return Block(start, np.clip(heard, -1, 1))

    def measure_lag(self) -> Echo | None:
        at = self.play(chirp(), self._position)
        heard = np.concatenate([self.read().samples for _ in range(80)])
        del at
        return find_echo(heard, chirp())


def reading() -> Samples:
    rng = np.random.default_rng(2)
    beats = np.repeat([1.0, 0.0, 1.0, 0.0, 1.0], SESSION_RATE // 2)
    return (0.1 * beats * rng.standard_normal(len(beats))).astype(np.float32)


def test_measuring_a_good_room() -> None:
    voice = (0.1 * np.sin(np.arange(SESSION_RATE) * 0.1)).astype(np.float32)
    room = Room(lag=1600, gain=0.2, noise=5e-4, voice=voice)
    measured = measure(room, reading(), room.speak)
    assert measured.chirp_heard
    assert measured.chirp_db == pytest.approx(20 * np.log10(0.2), abs=1)
    assert measured.noise_dbfs == pytest.approx(20 * np.log10(5e-4), abs=1)
    assert measured.lag_s == 0.1
    assert measured.reading_clipped == 0
    assert measured.left_voices == 0
    assert measured.said_dbfs == pytest.approx(20 * np.log10(0.1 / np.sqrt(2)), abs=1)
    assert all(finding.fit for finding in findings(measured))


def test_measuring_a_loudspeaker_that_is_much_too_loud() -> None:
    measured = measure(Room(lag=1600, gain=8.0, noise=5e-4), reading())
    assert measured.reading_clipped > 1e-3
    assert not findings(measured)[0].fit
    assert measured.said_dbfs is None


def test_measuring_with_headphones() -> None:
    measured = measure(Room(lag=1600, gain=0.0, noise=5e-4), reading())
    assert not measured.chirp_heard
    assert measured.left_voices == 0
    assert all(finding.fit for finding in findings(measured))
