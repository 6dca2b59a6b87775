"""Sound files of every kind are read and written; what is wrong with one is told in one line."""

from __future__ import annotations

import io
from pathlib import Path
from random import Random

import numpy as np
import pytest
import soundfile

from oralquiz.errors import BadInput
from oralquiz.sound.pcm import quantise, to_pcm16
from oralquiz.sound.sound_files import LONGEST_S, flac_bytes, read_clip, read_recording, wav_bytes

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


def bad_files(folder: Path) -> dict[str, Path]:
    files = {name: folder / f"{name}.wav" for name in ("empty", "text", "short", "silent", "long")}
    files["empty"].write_bytes(b"")
    files["text"].write_text("forty two\n")
    soundfile.write(files["short"], np.zeros(0), RATE)
    soundfile.write(files["silent"], np.zeros(8000), RATE)
    soundfile.write(files["long"], np.full((LONGEST_S + 1) * 8000, 0.1), 8000)
    files["nan"] = folder / "nan.wav"
    soundfile.write(files["nan"], np.array([0.1, np.nan, 0.2]), RATE, subtype="FLOAT")
    files["huge"] = folder / "huge.wav"
    soundfile.write(files["huge"], np.array([0.1, 1e38, 0.2]), RATE, subtype="FLOAT")
    files["larger"] = folder / "larger.wav"
    soundfile.write(files["larger"], np.array([0.1, 1e300, 0.2]), RATE, subtype="DOUBLE")
    files["headless"] = folder / "headless.raw"
    files["headless"].write_bytes(bytes(1000))
    files["slow"] = folder / "slow.wav"
    soundfile.write(files["slow"], sine(RATE), 1)
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
        ("nan", "holds samples that are not numbers"),
        ("huge", "holds samples of 1e+38, where full scale is 1"),
        ("larger", "holds samples that are not numbers"),
        ("headless", "cannot be read as sound"),
        ("slow", "cannot be read as sound: 1 samples a second"),
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


def test_a_kind_of_file_without_seeking_is_heard(tmp_path: Path) -> None:
    # a sampler's instrument; libsndfile can only read it from end to end
    file = tmp_path / "tone.xi"
    soundfile.write(file, sine(44_100), 44_100, subtype="DPCM_16", format="XI")
    assert len(read_recording(file, RATE)) == pytest.approx(RATE / 2, abs=1)


def test_floats_a_little_over_full_scale_are_sound(tmp_path: Path) -> None:
    file = tmp_path / "loud.wav"
    soundfile.write(file, 3 * sine(RATE), RATE, subtype="FLOAT")
    assert np.abs(read_recording(file, RATE)).max() == pytest.approx(1.5, abs=0.01)


def damaged(whole: bytes, random: Random) -> bytes:
    """``whole`` with some of its first bytes, where the header is, and a few others changed."""
    data = bytearray(whole)
    for _ in range(random.randint(1, 8)):
        reach = len(data) if random.random() < 0.3 else min(len(data), 120)
        data[random.randrange(reach)] = random.choice(
            (0, 1, 0x7F, 0x80, 0xFF, random.randrange(256))
        )
    return bytes(data[: random.randint(1, len(data))] if random.random() < 0.2 else data)


@pytest.mark.parametrize(
    ("format", "subtype"),
    [("WAV", "PCM_16"), ("WAV", "FLOAT"), ("WAV", "DOUBLE"), ("FLAC", "PCM_16"), ("XI", "DPCM_16")],
)
def test_a_damaged_file_is_sound_or_one_clear_line(
    tmp_path: Path, format: str, subtype: str
) -> None:
    whole = io.BytesIO()
    soundfile.write(whole, sine(RATE, 0.2), RATE, subtype=subtype, format=format)
    random = Random(13)
    file = tmp_path / "damaged.aud"
    heard = refused = 0
    for _ in range(300):
        file.write_bytes(damaged(whole.getvalue(), random))
        try:
            samples = read_recording(file, RATE)
        except BadInput as error:
            refused += 1
            assert "\n" not in str(error) and str(file) not in str(error)
        else:
            heard += 1
            assert np.isfinite(samples.astype(np.float64) ** 2).all()
    assert heard and refused


def test_what_is_written_comes_back_to_the_last_bit(tmp_path: Path) -> None:
    samples = quantise(sine(RATE).astype(np.float32))
    for data in (wav_bytes(samples, RATE), flac_bytes(samples, RATE)):
        clip = read_clip(data)
        assert clip.sample_rate == RATE
        assert clip.samples.tolist() == samples.tolist()
    assert wav_bytes(to_pcm16(samples), RATE) == wav_bytes(samples, RATE)


def test_a_clip_is_the_mean_of_its_channels(tmp_path: Path) -> None:
    file = tmp_path / "two.wav"
    soundfile.write(file, np.stack([sine(RATE), np.zeros(8000)], axis=1), RATE)
    assert np.abs(read_clip(file).samples).max() == pytest.approx(0.25, abs=0.01)


def test_what_is_not_sound_is_not_a_clip() -> None:
    with pytest.raises(BadInput, match="cannot be read as sound"):
        read_clip(b"forty two")
