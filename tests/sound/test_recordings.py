"""Recordings of every kind are read, and what is wrong with a file is said in one line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from oralquiz.errors import BadInput
from oralquiz.sound.recordings import LONGEST_S, read_recording, resampled

RATE = 16_000


def sine(rate: int, seconds: float = 0.5, hertz: float = 440.0) -> np.ndarray:
    return 0.5 * np.sin(2 * np.pi * hertz * np.arange(round(rate * seconds)) / rate)


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 44100, 48000, 96000])
@pytest.mark.parametrize(
    ("suffix", "subtype"),
    [("wav", "PCM_16"), ("wav", "PCM_24"), ("wav", "FLOAT"), ("wav", "ULAW"), ("flac", "PCM_16")],
)
def test_any_rate_and_format(tmp_path: Path, rate: int, suffix: str, subtype: str) -> None:
    file = tmp_path / f"tone.{suffix}"
    soundfile.write(file, sine(rate), rate, subtype=subtype)
    samples = read_recording(file, RATE)
    assert samples.dtype == np.float32
    assert len(samples) == pytest.approx(RATE / 2, abs=1)
    middle = samples[1600:-1600]
    expected = sine(RATE)[1600 : 1600 + len(middle)]
    assert np.abs(middle - expected).max() < 0.02


@pytest.mark.parametrize("channels", [1, 2, 6])
def test_the_loudest_channel_is_taken(tmp_path: Path, channels: int) -> None:
    file = tmp_path / "many.wav"
    sound = np.zeros((8000, channels))
    sound[:, channels - 1] = sine(RATE)
    soundfile.write(file, sound, RATE)
    assert np.abs(read_recording(file, RATE)).max() == pytest.approx(0.5, abs=0.01)


def test_channels_that_would_cancel(tmp_path: Path) -> None:
    file = tmp_path / "opposed.wav"
    soundfile.write(file, np.stack([sine(RATE), -sine(RATE)], axis=1), RATE)
    assert np.abs(read_recording(file, RATE)).max() == pytest.approx(0.5, abs=0.01)


def test_resampling_leaves_out_what_the_new_rate_cannot_hold() -> None:
    high = resampled(sine(48_000, 1.0, 12_000.0).astype(np.float32), 48_000, RATE)
    assert np.abs(high[1600:-1600]).max() < 0.001


def bad_files(folder: Path) -> dict[str, Path]:
    files = {name: folder / f"{name}.wav" for name in ("empty", "text", "short", "silent", "long")}
    files["empty"].write_bytes(b"")
    files["text"].write_text("forty two\n")
    soundfile.write(files["short"], np.zeros(0), RATE)
    soundfile.write(files["silent"], np.zeros(8000), RATE)
    soundfile.write(files["long"], np.full((LONGEST_S + 1) * 8000, 0.1), 8000)
    files["nan"] = folder / "nan.wav"
    soundfile.write(files["nan"], np.array([0.1, np.nan, 0.2]), RATE, subtype="FLOAT")
    files["header"] = folder / "header.wav"
    files["header"].write_bytes(files["silent"].read_bytes()[:20])
    files["folder"] = folder
    files["nowhere"] = folder / "nowhere.wav"
    return files


@pytest.mark.parametrize(
    ("name", "line"),
    [
        ("empty", "empty file"),
        ("text", "cannot be read as sound: Format not recognised"),
        ("short", "holds no sound: 0 samples"),
        ("silent", "silent: every sample is zero"),
        ("long", f"lasts {LONGEST_S + 1} s; at most {LONGEST_S} s are heard"),
        ("nan", "holds samples that are no numbers"),
        ("header", "cannot be read as sound"),
        ("folder", "a folder, not a recording"),
        ("nowhere", "no such file"),
    ],
)
def test_one_clear_line(tmp_path: Path, name: str, line: str) -> None:
    with pytest.raises(BadInput) as error:
        read_recording(bad_files(tmp_path)[name], RATE)
    assert str(error.value).startswith(line)
    assert "\n" not in str(error.value)


def test_a_file_cut_off_in_the_middle_is_heard_as_far_as_it_goes(tmp_path: Path) -> None:
    file = tmp_path / "cut.wav"
    soundfile.write(file, sine(RATE, 1.0), RATE)
    file.write_bytes(file.read_bytes()[:16_044])
    assert len(read_recording(file, RATE)) == 8000
