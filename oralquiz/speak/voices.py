"""The voices that can read a sum: where they come from, and the cache of what they said.

A voice is named ``KIND:ID``. ``engine:gmw/en`` is a voice of this computer's speech engine.
"""

from __future__ import annotations

import hashlib
import io
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from oralquiz.errors import AudioError, BadInput
from oralquiz.folders import cache_folder
from oralquiz.speak.clip import Clip, Voice
from oralquiz.speak.engine import Engine, bundled_engine, engine_version
from oralquiz.speak.phrases import phrases
from oralquiz.speak.trim import trim

CLEAR_RATE = 145
"""Words a minute, as the engine counts them, when there is time: between the 100 to 125 of a
presentation and the 150 to 160 of an audio book."""

QUICKEST_RATE = 240
"""Faster than this, shortening a clip keeps it clearer than hurrying the engine."""

PUPILS = ("en+f2", "en+m3", "en-us+f4", "en+m7", "en-gb-scotland+f5", "en-us+m1")
"""Formant variants of the bundled engine that differ clearly in pitch and timbre."""


def clip_cache() -> Path:
    """The folder in which clips are kept from one run to the next."""
    return cache_folder() / "clips"


class EngineVoice:
    """A voice of this computer's speech engine."""

    def __init__(self, voice_id: str | None, rate: int = CLEAR_RATE) -> None:
        """``voice_id`` as the engine names it (None: its default), ``rate`` in words a minute."""
        self._id = voice_id
        self._rate = rate
        self._engine = Engine(voice_id, rate)
        self._clips: dict[str, Clip] = {}

    @property
    def name(self) -> str:
        return f"engine:{self._id or 'default'}"

    @property
    def sample_rate(self) -> int:
        return self.say("one").sample_rate

    def say(self, text: str) -> Clip:
        """``text`` trimmed to its voice. Raises AudioError when the engine cannot say it."""
        if text not in self._clips:
            try:
                self._clips[text] = trim(self._untrimmed(text))
            except AudioError as error:
                raise AudioError(f"voice {self.name} cannot say '{text}': {error}") from error
        return self._clips[text]

    def _untrimmed(self, text: str) -> Clip:
        key = "\n".join([engine_version(), self._id or "", str(self._rate), text])
        path = clip_cache() / (hashlib.sha256(key.encode()).hexdigest() + ".wav")
        try:
            return _read_clip(path.read_bytes())
        except (OSError, soundfile.SoundFileError):
            data = self._engine.render(text)  # not said before, or the kept file is damaged
        try:
            clip = _read_clip(data)
        except soundfile.SoundFileError as error:
            raise AudioError("the engine wrote a broken sound file") from error
        _keep(path, data)
        return clip


def _read_clip(data: bytes) -> Clip:
    samples, sample_rate = soundfile.read(io.BytesIO(data), dtype="float32", always_2d=True)
    return Clip(np.ascontiguousarray(samples.mean(axis=1), dtype=np.float32), int(sample_rate))


def _keep(path: Path, data: bytes) -> None:
    """Write the whole file or none of it. A full disk costs time next run, never the dictation."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as part:
            part.write(data)
        Path(part.name).replace(path)
    except OSError:
        return


def rate_for(pace: float) -> int:
    """The clearest rate, in words a minute, at which two-digit terms fit ``pace`` seconds."""
    # "minus seventy-seven" takes about 210 / rate seconds, and a gap follows it
    needed = round(210 / max(pace - 0.15, 0.1))
    return min(max(needed, CLEAR_RATE), QUICKEST_RATE)


def open_voice(
    name: str | None = None,
    *,
    rate: int | None = None,
    pace: float | None = None,
    language: str = "en",
) -> Voice:
    """The voice called ``name`` (None: the default of ``language``), at ``rate`` words a minute.

    Without a ``rate`` it speaks as clearly as ``pace`` (seconds from term to term) leaves time
    for. Raises BadInput when there is no such voice.
    """
    if rate is None:
        rate = CLEAR_RATE if pace is None else rate_for(pace)
    if name is None:
        return EngineVoice(phrases(language).engine if bundled_engine() else None, rate)
    kind, _, voice_id = name.partition(":")
    if kind == "engine" and voice_id:
        return EngineVoice(None if voice_id == "default" else voice_id, rate)
    raise BadInput(f"'{name}' is no voice: see the names in `oralquiz voice list`")


def pupil_voices() -> tuple[Voice, ...]:
    """Several clearly different synthetic voices, for pupils who exist only in a demonstration."""
    if bundled_engine():
        return tuple(EngineVoice(voice_id, rate=150) for voice_id in PUPILS)
    ids = [voice["id"] for voice in Engine(None, 150).voices()]
    return tuple(EngineVoice(voice_id, rate=150) for voice_id in ids[:6]) or (EngineVoice(None),)
