"""Voice onset and offset, against hand-set labels and synthetic sound."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from oralquiz.listen.voice_detector import VoiceDetector
from oralquiz.sound.sound_files import read_recording
from tests.listen.rooms import RATE, in_its_room, loudest_at, noise, peak_db

DATA = Path(__file__).parent / "data"
LABELS = {
    label["file"]: label for label in json.loads((DATA / "onsets.json").read_text())["labels"]
}
CLIPS = sorted((DATA / "clips").glob("*_*.*"))


def tone(seconds: float, level_db: float) -> NDArray[np.float32]:
    """A buzz at 150 Hz with all its overtones, which no room noise has."""
    phase = np.arange(round(seconds * RATE)) * 150 / RATE % 1
    return ((phase - 0.5) * 3.46 * 10 ** (level_db / 20)).astype(np.float32)


def segments_ms(samples: NDArray[np.float32], block: int = 320) -> list[tuple[float, float]]:
    detector = VoiceDetector(RATE)
    for at in range(0, len(samples), block):
        detector.feed(samples[at : at + block])
    detector.close()
    found = []
    for segment in detector.segments:
        assert segment.offset is not None
        found.append((segment.onset / RATE * 1000, segment.offset / RATE * 1000))
    return found


def label_of(clip: Path) -> dict[str, Any]:
    """The label of a clip of this folder."""
    (label,) = [label for file, label in LABELS.items() if file.replace("/", "_") == clip.name]
    return dict(label)


@pytest.mark.parametrize("clip", CLIPS, ids=lambda clip: clip.stem)
@pytest.mark.parametrize("room", ["as it is", "a second of its own room before", "and noise"])
def test_onset_within_20_ms_of_the_hand_set_label(clip: Path, room: str) -> None:
    """One clip for each first sound; the noise is white, 50 dB under the voice's loudest 20 ms.

    Outside values: data/onsets.json, set by eye on the waveform (it says how).
    """
    label = label_of(clip)
    samples = read_recording(clip, RATE)
    expected_ms = label["onset_ms"]
    if room != "as it is":
        samples = in_its_room(samples, expected_ms)
        expected_ms += 1000
    if room == "and noise":
        samples = samples + noise(len(samples) / RATE, peak_db(samples) - 50)[: len(samples)]
    voice_ms = loudest_at(samples) / RATE * 1000
    (onset_ms,) = [on for on, off in segments_ms(samples) if on <= voice_ms <= off]
    assert onset_ms == pytest.approx(expected_ms, abs=20)


def test_every_first_sound_has_a_clip() -> None:
    sounds = {label_of(clip)["first_sound"] for clip in CLIPS}
    assert sounds == {label["first_sound"] for label in LABELS.values()}
    assert len(sounds) == 10


@pytest.mark.parametrize("room_db", [-90, -70, -55])
@pytest.mark.parametrize("voice_db", [-30, -12])
def test_a_buzz_in_a_room(room_db: float, voice_db: float) -> None:
    sound = noise(2.5, room_db)
    sound[RATE : RATE + RATE // 2] += tone(0.5, voice_db)
    ((onset, offset),) = segments_ms(sound)
    assert onset == pytest.approx(1000, abs=10)
    assert offset == pytest.approx(1500, abs=20)


@pytest.mark.parametrize("room_db", [-100, -70, -50, -40])
def test_a_steady_room_is_not_a_voice(room_db: float) -> None:
    assert segments_ms(noise(20, room_db)) == []


def test_digital_silence_is_not_a_voice() -> None:
    assert segments_ms(np.zeros(RATE, np.float32)) == []


def test_a_click_is_neither_a_voice_nor_an_onset() -> None:
    sound = noise(2.5, -70)
    sound[RATE // 2 : RATE // 2 + 80] += noise(0.005, -20)
    sound[RATE - 1600 : RATE - 1520] += noise(0.005, -20)  # 100 ms before the voice
    sound[RATE : RATE + RATE // 2] += tone(0.5, -20)
    ((onset, _),) = segments_ms(sound)
    assert onset == pytest.approx(1000, abs=10)


def test_weak_friction_before_the_vowel_belongs_to_it() -> None:
    sound = noise(2.5, -75)
    sound[RATE - 1920 : RATE] += noise(0.120, -50, seed=2)  # 30 dB under the vowel
    sound[RATE : RATE + RATE // 2] += tone(0.5, -20)
    ((onset, _),) = segments_ms(sound)
    assert onset == pytest.approx(880, abs=10)


def test_two_words_with_a_pause_are_two_segments() -> None:
    sound = noise(3, -70)
    sound[RATE : RATE + 8000] += tone(0.5, -20)
    sound[RATE + 12800 : RATE + 20800] += tone(0.5, -20)
    (first, second) = segments_ms(sound)
    assert first == pytest.approx((1000, 1500), abs=20)
    assert second == pytest.approx((1800, 2300), abs=20)


def test_a_voice_from_the_first_sample_on() -> None:
    sound = np.concatenate([tone(0.5, -20), noise(1, -70)])
    sound[:8000] += noise(0.5, -70)
    ((onset, offset),) = segments_ms(sound)
    assert onset <= 100
    assert offset == pytest.approx(500, abs=20)


def test_while_it_goes_on() -> None:
    detector = VoiceDetector(RATE)
    detector.feed(noise(1, -70))
    assert not detector.speaking
    assert detector.quiet_since is None
    detector.feed(tone(0.3, -20))
    assert detector.speaking
    assert detector.quiet_since is None
    ((onset, offset),) = [(s.onset, s.offset) for s in detector.segments]
    assert onset == pytest.approx(RATE, abs=160)
    assert offset is None
    detector.feed(noise(0.2, -70))
    assert not detector.speaking
    assert detector.quiet_since == pytest.approx(1.3 * RATE, abs=320)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 4000), min_size=1, max_size=20))
def test_blocks_do_not_matter(sizes: list[int]) -> None:
    sound = noise(2, -60)
    sound[9000:15000] += tone(0.375, -25)
    sound[20000:26000] += tone(0.375, -30)
    whole, cut = VoiceDetector(RATE), VoiceDetector(RATE)
    whole.feed(sound)
    at = 0
    while at < len(sound):
        size = sizes[at % len(sizes)]
        cut.feed(sound[at : at + size])
        at += size
    assert cut.segments == whole.segments
    assert len(whole.segments) == 2
