"""The voices that can read a sum, by name.

A voice is named ``KIND:ID``: ``engine:gmw/en-us`` is a voice of this computer's speech engine,
``neural:NAME`` one of a neural network (an optional extra), ``own:NAME`` one that a teacher
recorded.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from weakref import WeakValueDictionary

from oralquiz.errors import AudioError, BadInput
from oralquiz.sound import Clip
from oralquiz.speak.clip_cache import kept
from oralquiz.speak.engine import Engine, bundled_engine, engine_version
from oralquiz.speak.last_said import LastSaid
from oralquiz.speak.measured_voices import UNDERSTOOD, WELL
from oralquiz.speak.neural import NeuralVoice, neural_voices
from oralquiz.speak.own_voice import OwnVoice, own_voices
from oralquiz.speak.phrase_book import languages, phrases
from oralquiz.speak.trim import trim
from oralquiz.speak.voice import Voice

CLEAR_RATE = 150
"""Words a minute, as the engine counts them, when there is time: as audio books are read, and where
an independent recogniser understands the default voice best (tests/benchmarks/bench_dictation.py).
"""

QUICKEST_RATE = 240
"""Faster than this, shortening a clip keeps it clearer than hurrying the engine."""

PUPILS = ("en+f2", "en+m3", "en-us+f4", "en+m7", "en-gb-scotland+f5", "en-us+m1")
"""Formant variants of the bundled engine that differ clearly in pitch and timbre."""


class EngineVoice:
    """A voice of this computer's speech engine."""

    def __init__(self, voice_id: str | None, rate: int = CLEAR_RATE) -> None:
        """``voice_id`` as the engine names it (None: its default), ``rate`` in words a minute."""
        self._id = voice_id
        self._rate = rate
        self._engine = Engine(voice_id, rate)
        self._last = LastSaid()

    @property
    def name(self) -> str:
        return f"engine:{self._id or 'default'}"

    @property
    def sample_rate(self) -> int:
        return self.say("one").sample_rate

    def say(self, text: str) -> Clip:
        """``text`` trimmed to its voice. Raises AudioError when the engine cannot say it."""
        return self._last.said(text, lambda: self._say(text))

    def _say(self, text: str) -> Clip:
        key = (engine_version(), self._id or "", str(self._rate), text)
        try:
            return trim(kept(key, lambda: self._engine.render(text)))
        except AudioError as error:
            raise AudioError(f"voice {self.name} cannot say '{text}': {error}") from error


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
    for; a recorded voice has its own rate. Raises BadInput when there is no such voice.
    """
    if rate is None:
        rate = CLEAR_RATE if pace is None else rate_for(pace)
    if name is None:
        usual = phrases(language).engine if bundled_engine() else None
        return _engine_voice(usual, rate)
    kind, _, voice_id = name.partition(":")
    if kind == "engine" and voice_id:
        return _engine_voice(None if voice_id == "default" else voice_id, rate)
    if kind == "neural" and voice_id:
        return NeuralVoice(voice_id, rate)
    if kind == "own" and voice_id:
        return OwnVoice(voice_id)
    raise BadInput(f"'{name}' is not a voice: see the names in `oralquiz voice list`")


_speaking: WeakValueDictionary[tuple[str | None, int], EngineVoice] = WeakValueDictionary()


def _engine_voice(voice_id: str | None, rate: int) -> EngineVoice:
    """The voice that somebody speaks with already, else a new one: pupils who practise at the same
    time are read the same phrases."""
    return _speaking.setdefault((voice_id, rate), EngineVoice(voice_id, rate))


def language_of(name: str | None) -> str:
    """The language of the phrase table that the voice called ``name`` speaks (else English)."""
    kind, _, voice_id = (name or "").partition(":")
    if kind == "own" and voice_id:
        return OwnVoice(voice_id).language
    base = voice_id.split("+")[0]
    for language in languages():
        if phrases(language).engine.split("+")[0] == base:
            return language
    tag = base.rsplit("/", 1)[-1].replace("_", "-").split("-")[0]
    return tag if tag in languages() else "en"


@dataclass(frozen=True)
class VoiceEntry:
    """One line of the list of voices: ``languages`` as its kind writes them.

    ``usual`` is the voice that a language has when none is chosen; ``understood`` the share of
    terms that are understood when it dictates, None where that was not measured.
    """

    name: str
    about: str
    languages: tuple[str, ...]
    usual: bool = False
    understood: float | None = None

    @property
    def suggested(self) -> bool:
        """Whether it is among the first to try: measured to dictate well, put here by somebody's
        own choice, or the usual one of its language."""
        if self.understood is not None:
            return self.understood >= WELL
        return self.usual or not self.name.startswith("engine:")


def list_voices() -> list[VoiceEntry]:
    """Every voice that is there: recorded ones, neural ones, the engine's. Raises AudioError.

    Of the engine's, the usual ones of the languages that can be dictated come first.
    """
    found = []
    for voice_id in own_voices():
        voice = OwnVoice(voice_id)
        missing = len(voice.missing())
        about = f"recorded, {len(voice.words)} words" + (f", {missing} missing" if missing else "")
        found.append(VoiceEntry(voice.name, about, (voice.language,)))
    for voice_id in neural_voices():
        language = voice_id.split("-")[0]
        name = f"neural:{voice_id}"
        measured = UNDERSTOOD.get(name)
        found.append(VoiceEntry(name, "neural network", (language,), understood=measured))
    engine = _engine_voices()
    usual = [entry for code in languages() if (entry := _usual_voice(code, engine)) is not None]
    named = {entry.name for entry in usual}
    return [*found, *usual, *(entry for entry in engine.values() if entry.name not in named)]


def _engine_voices() -> dict[str, VoiceEntry]:
    """What the engine itself lists, by the engine's own names."""
    found = {}
    for known in Engine(None, CLEAR_RATE).voices():
        # the bundled engine writes a priority before the tag, as a control character
        tags = tuple(tag.strip("".join(map(chr, range(32)))) for tag in known["languages"])
        name = f"engine:{known['id']}"
        entry = VoiceEntry(name, str(known["name"]), tags, understood=UNDERSTOOD.get(name))
        found[str(known["id"])] = entry
    return found


def _usual_voice(language: str, engine: Mapping[str, VoiceEntry]) -> VoiceEntry | None:
    """The usual voice of ``language``, which may be a variant that the engine does not list."""
    base, _, variant = phrases(language).engine.partition("+")
    if base not in engine or not bundled_engine():
        return None
    entry = replace(engine[base], usual=True)
    if not variant:
        return entry
    name = f"{entry.name}+{variant}"
    about = f"{entry.about}, variant {variant}"
    return replace(entry, name=name, about=about, understood=UNDERSTOOD.get(name))


def pupil_voices() -> tuple[Voice, ...]:
    """Several clearly different synthetic voices, for pupils who exist only in a demonstration."""
    if bundled_engine():
        return tuple(EngineVoice(voice_id, rate=150) for voice_id in PUPILS)
    ids = [voice["id"] for voice in Engine(None, 150).voices()]
    return tuple(EngineVoice(voice_id, rate=150) for voice_id in ids[:6]) or (EngineVoice(None),)
