"""The neural voice with a stand-in for its network: what it is asked, how it is found, what it
reports.

How it sounds is measured by tests/benchmarks/bench_dictation.py, with the real extra installed.
"""

from __future__ import annotations

import sys
import wave
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

from oralquiz.errors import AudioError, BadInput
from oralquiz.speak import neural
from oralquiz.speak.neural import NeuralVoice, neural_folder, neural_voices
from oralquiz.speak.voices import open_voice
from tests.speak.sounds import tone


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    monkeypatch.setattr(neural, "PACKAGED", ())


def install_network(name: str = "en_GB-nobody-low") -> None:
    neural_folder().mkdir(parents=True, exist_ok=True)
    (neural_folder() / f"{name}.onnx").write_bytes(b"weights")
    (neural_folder() / f"{name}.onnx.json").write_text("{}")


class FakePiper:
    """Stands in for Piper's voice: a tone as long as the text, slower for a longer scale."""

    said: list[tuple[str, float]] = []  # noqa: RUF012

    @classmethod
    def load(cls, path: str) -> FakePiper:
        assert path.endswith(".onnx")
        return cls()

    def synthesize_wav(self, text: str, sound: wave.Wave_write, config: Any) -> None:
        self.said.append((text, config.length_scale))
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(22_050)
        samples = tone(0.1 * len(text) * config.length_scale, 22_050)
        quiet = np.zeros(3000, np.float32)
        both = np.concatenate([quiet, samples, quiet])
        sound.writeframes((both * 32767).astype("<i2").tobytes())


@pytest.fixture
def piper(monkeypatch: pytest.MonkeyPatch) -> type[FakePiper]:
    module = ModuleType("piper")
    module.PiperVoice = FakePiper  # type: ignore[attr-defined]
    module.SynthesisConfig = lambda length_scale: SimpleNamespace(  # type: ignore[attr-defined]
        length_scale=length_scale
    )
    monkeypatch.setitem(sys.modules, "piper", module)
    FakePiper.said.clear()
    return FakePiper


def test_a_network_in_the_folder_is_a_voice(piper: type[FakePiper]) -> None:
    install_network()
    voice = open_voice("neural:en_GB-nobody-low", rate=110)
    assert voice.name == "neural:en_GB-nobody-low"
    clip = voice.say("seven")
    assert clip.seconds == pytest.approx(0.1 * 5 * 165 / 110, abs=0.02)  # trimmed
    assert piper.said == [("seven", 1.5)]


def test_a_phrase_is_rendered_once(piper: type[FakePiper]) -> None:
    install_network()
    for _ in range(2):
        NeuralVoice("en_GB-nobody-low", 165).say("seven")
    NeuralVoice("en_GB-nobody-low", 200).say("seven")
    assert len(piper.said) == 2


def test_a_network_without_its_description_is_not_a_voice() -> None:
    neural_folder().mkdir(parents=True)
    (neural_folder() / "lonely.onnx").write_bytes(b"weights")
    assert neural_voices() == {}
    with pytest.raises(BadInput, match="no neural voice 'lonely': there are none; put others"):
        NeuralVoice("lonely", 165)


def test_without_the_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    install_network()
    monkeypatch.setitem(sys.modules, "piper", None)
    with pytest.raises(AudioError, match=r"cannot say 'one'.*pip install 'oralquiz\[neural\]'"):
        NeuralVoice("en_GB-nobody-low", 165).say("one")
