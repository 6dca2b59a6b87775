"""A teacher's own recorded voice: which words it needs, what a good take is, how it dictates.

A voice is a folder with one FLAC file a word and ``voice.json``, which names the file of each word.
A phrase is said by joining its words; the longest ones recorded are taken first, so that "take
away" recorded in one piece stays in one piece.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from oralquiz.errors import AudioError, BadInput
from oralquiz.folders import data_folder, private_file, private_folder, write_private
from oralquiz.sound import Clip, Samples, at_rate, faded, flac_bytes, read_clip
from oralquiz.speak.loudness import LOUDNESS_LUFS, level
from oralquiz.speak.phrase_book import phrases
from oralquiz.speak.reading import number_words
from oralquiz.speak.trim import trim, voice_bounds

SCHEMA = 1
JOIN_S = 0.03
"""Quiet between two joined words: the closure of a /t/ or /p/ is about as long."""

FADE_S = 0.004
LONGEST_S = 2.5
QUIETEST_PEAK = 10 ** (-30 / 20)
LEAST_SNR_DB = 15.0
EDGE_S = 0.01

_NAME = re.compile(r"[\w-]{1,40}")
_BREAK = re.compile(r"[\s\-]+")


def own_folder() -> Path:
    """Where recorded voices are kept, a folder each."""
    return data_folder() / "voices" / "own"


def own_voices() -> tuple[str, ...]:
    """The names of the recorded voices that are there."""
    return tuple(sorted(path.parent.name for path in own_folder().glob("*/voice.json")))


def words_of(text: str) -> tuple[str, ...]:
    """The words of a phrase: "plus thirty-four" is plus, thirty, four."""
    return tuple(word for word in _BREAK.split(text.lower()) if word)


def needed_words(language: str = "en", highest: int = 99) -> tuple[str, ...]:
    """The words that dictate every sum up to ``highest``: number words first, then signs.

    In languages that write a number as one word, that is every number.
    """
    table = phrases(language)
    needed: dict[str, None] = {}
    for number in range(highest + 1):
        needed.update(dict.fromkeys(words_of(number_words(number, table.numbers))))
    for template in (*table.plus_minus, *table.add_take):
        sign = " ".join(words_of(template.replace("{n}", " ")))
        if sign:
            needed.setdefault(sign)
    return tuple(needed)


def complaint(samples: Samples, sample_rate: int) -> str | None:
    """What is wrong with one take (n,), in words for the speaker; None if it is good."""
    bounds = voice_bounds(samples, sample_rate)
    if bounds is None:
        return "nothing was heard: is the microphone muted?"
    onset, offset = bounds
    peak = float(np.abs(samples).max())
    if peak < QUIETEST_PEAK:
        return "too quiet: come closer or turn the microphone up"
    full = np.abs(samples) >= 0.985
    if np.any(full[:-2] & full[1:-1] & full[2:]):
        return "overloaded: move away or turn the microphone down"
    edge = round(EDGE_S * sample_rate)
    if onset < edge or offset > len(samples) - edge:
        return "cut off: wait for the prompt, and finish before it ends"
    if offset - onset > LONGEST_S * sample_rate:
        return "too long for one word: say only the word, in a quiet moment"
    voice = float(np.mean(np.square(samples[onset:offset], dtype=np.float64)))
    around = np.concatenate([samples[:onset], samples[offset:]]).astype(np.float64)
    noise = float(np.mean(np.square(around))) + 1e-12
    if 10 * np.log10(voice / noise) < LEAST_SNR_DB:
        return "too much noise around the word: find a quieter moment"
    return None


class OwnVoice:
    """A recorded voice that dictates."""

    def __init__(self, voice_id: str) -> None:
        """``voice_id`` is the name of its folder. Raises BadInput when there is none, or broken."""
        self._id = _checked_name(voice_id)
        self._folder = own_folder() / self._id
        self._language, self._files = _read_index(self._folder)
        self._words: dict[str, Clip] = {}
        self._sample_rate = 0

    @property
    def name(self) -> str:
        return f"own:{self._id}"

    @property
    def language(self) -> str:
        return self._language

    @property
    def sample_rate(self) -> int:
        self._load()
        return self._sample_rate

    @property
    def words(self) -> tuple[str, ...]:
        """The words that are recorded."""
        return tuple(self._files)

    def missing(self, highest: int = 99) -> tuple[str, ...]:
        """The words it still needs to dictate every sum up to ``highest``."""
        return tuple(w for w in needed_words(self._language, highest) if w not in self._files)

    def say(self, text: str) -> Clip:
        """``text`` joined from its words. Raises AudioError, naming a word that is missing."""
        self._load()
        rate = self._sample_rate
        quiet = np.zeros(round(JOIN_S * rate), np.float32)
        pieces: list[Samples] = []
        left = list(words_of(text))
        while left:
            for count in range(len(left), 0, -1):
                phrase = " ".join(left[:count])
                if phrase in self._words:
                    pieces += [*([quiet] if pieces else []), self._words[phrase].samples]
                    del left[:count]
                    break
            else:
                raise AudioError(
                    f"voice {self.name} has not recorded '{left[0]}': "
                    f"`oralquiz voice record {self._id}` asks for what is missing"
                )
        return Clip(np.concatenate(pieces), rate)

    def _load(self) -> None:
        """Read all words once, at one rate and one loudness."""
        if self._words:
            return
        clips = [_read_word(self._folder / file) for file in self._files.values()]
        rate = max(clip.sample_rate for clip in clips)
        clips = [at_rate(clip, rate) for clip in clips]
        levelled = [faded(clip, FADE_S) for clip in level(clips, LOUDNESS_LUFS)]
        self._sample_rate = rate
        self._words = dict(zip(self._files, levelled, strict=True))


def keep_word(voice_id: str, language: str, word: str, clip: Clip) -> None:
    """Add ``word`` to the voice, or replace it; the folder is made when it is the first.

    ``clip`` is trimmed. Raises BadInput for a bad name, AudioError for silence or a full disk.
    """
    folder = own_folder() / _checked_name(voice_id)
    word = " ".join(words_of(word))
    trimmed = trim(clip)
    try:
        private_folder(folder)
        index = folder / "voice.json"
        files: dict[str, str] = {}
        if index.exists():
            known, files = _read_index(folder)
            if known != language:
                raise BadInput(f"voice own:{voice_id} speaks {known}, not {language}")
        file = files.get(word, f"{len(files):03d}.flac")
        private_file(folder / file).write_bytes(flac_bytes(trimmed.samples, trimmed.sample_rate))
        files[word] = file
        content = {"schema": SCHEMA, "language": language, "words": files}
        write_private(index, json.dumps(content, ensure_ascii=False, indent=1).encode())
    except OSError as error:
        raise AudioError(f"{folder}: '{word}' cannot be kept: {error}") from error


def _checked_name(voice_id: str) -> str:
    if not _NAME.fullmatch(voice_id):
        raise BadInput(f"'{voice_id}' cannot be the name of a voice: use letters, digits, - and _")
    return voice_id


def _read_index(folder: Path) -> tuple[str, dict[str, str]]:
    """The language and the files of the words. Raises BadInput, naming what is wrong."""
    index = folder / "voice.json"
    if not index.exists():
        there = ", ".join(own_voices()) or "none yet: see `oralquiz voice record`"
        raise BadInput(f"no recorded voice '{folder.name}': there are {there}")
    try:
        content = json.loads(index.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise BadInput(f"{index}: not the index of a voice: {error}") from error
    if not isinstance(content, Mapping) or content.get("schema") != SCHEMA:
        raise BadInput(f"{index}: not the index of a voice that this version can read")
    language, words = content.get("language"), content.get("words")
    if not isinstance(language, str) or not isinstance(words, Mapping) or not words:
        raise BadInput(f"{index}: must have language and words")
    for word, file in words.items():
        # only files in this folder, whatever the index says
        if not isinstance(file, str) or Path(file).name != file:
            raise BadInput(f"{index}: '{word}' has no file in this folder")
    return language, dict(words)


def _read_word(path: Path) -> Clip:
    try:
        return trim(read_clip(path))
    except BadInput as error:
        raise AudioError(f"{path}: {error}") from error
