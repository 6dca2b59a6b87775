"""Recordings of people in ../shared/data: who says what, and who is kept for the dev set."""

import re
from pathlib import Path

import numpy as np
import soundfile as sf

from synthesise import corpus, phrases

FSDD_DEV = ("theo", "yweweler")
# File names of numbers_woman/other that are number words, or no clear word.
NUMBER_NAMES = {"minus": "minus", "o": "oh", "and": "and", "a": ""}
UNCLEAR_NAMES = {"picture1", "picture2", "picture3"}


def spliced(parts: list[tuple[np.ndarray, int]], gap_s: float = 0.0) -> np.ndarray:
    """Words recorded one by one, put in a row: the voiced spans, `gap_s` seconds between."""
    cut = []
    for samples, rate in parts:
        clip = corpus.mono_16k(samples, rate)
        start, end = corpus.voiced_span(clip)
        cut += [clip[start:end], np.zeros(int(gap_s * corpus.RATE), np.float32)]
    return np.concatenate(cut[:-1])


def add_all(root: Path, data: Path) -> None:
    """Every folder of `data` that says something about numbers, as sources of the corpus."""
    fsdd(root, data / "fsdd")
    digits_in(root, data / "digits_in")
    numbers_woman(root, data / "numbers_woman")
    librispeech(root, data / "librispeech")


def fsdd(root: Path, folder: Path) -> None:
    """Free Spoken Digit Dataset: DIGIT_SPEAKER_INDEX.wav."""
    source = corpus.Source(root, "fsdd")
    for path in sorted(folder.glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        word = phrases.DIGITS[int(digit)]
        samples, rate = sf.read(path)
        source.add(
            samples,
            rate,
            words=word,
            speaker=f"fsdd:{speaker}",
            kind="number",
            text=word,
            split="dev" if speaker in FSDD_DEV else "train",
            trim=False,
        )
    source.close()


def digits_in(root: Path, folder: Path) -> None:
    """One Indian man's digits: DIGIT_INDEX.flac."""
    source = corpus.Source(root, "digits_in")
    for path in sorted(folder.glob("*.flac")):
        word = phrases.DIGITS[int(path.stem.split("_")[0])]
        samples, rate = sf.read(path)
        source.add(
            samples, rate, words=word, speaker="digits_in:man", kind="number", text=word, trim=False
        )
    source.close()


def numbers_woman(root: Path, folder: Path) -> None:
    """One woman's numbers, her other words, and 21..99 spliced from them: all dev."""
    source = corpus.Source(root, "numbers_woman")
    said = {int(path.stem): sf.read(path) for path in sorted(folder.glob("[0-9]*.flac"))}
    her = {"speaker": "numbers_woman:woman", "split": "dev"}
    for value, (samples, rate) in said.items():
        words = "one hundred" if value == 100 else phrases.below_hundred(value)
        source.add(samples, rate, words=words, kind="number", text=words, **her)
    for tens in range(20, 100, 10):
        for ones in range(1, 10):
            words = phrases.below_hundred(tens + ones)
            source.add(
                spliced([said[tens], said[ones]], 0.02),
                corpus.RATE,
                words=words,
                kind="number",
                text=f"{words} (spliced)",
                **her,
            )
    for path in sorted((folder / "other").glob("*.flac")):
        if path.stem in UNCLEAR_NAMES:
            continue
        words = NUMBER_NAMES.get(path.stem, "")
        samples, rate = sf.read(path)
        source.add(
            samples, rate, words=words, kind="number" if words else "other", text=path.stem, **her
        )
    source.close()


def librispeech(root: Path, folder: Path) -> None:
    """Read sentences, cut to stretches of at most 6 s; those with number words are left out."""
    source = corpus.Source(root, "librispeech")
    number = re.compile(
        r"\b(" + "|".join(phrases.NUMBER_WORDS - {"a", "and"}) + r")(s|ty)?\b", re.IGNORECASE
    )
    for transcript in sorted(folder.glob("*.txt")):
        for line in transcript.read_text().splitlines():
            name, _, text = line.partition(" ")
            path = folder / f"{name}.flac"
            if not path.exists() or number.search(text):
                continue
            samples, rate = sf.read(path)
            reader = name.split("-")[0]
            for start in range(0, max(samples.size - rate, 1), 6 * rate):
                source.add(
                    samples[start : start + 6 * rate],
                    rate,
                    words="",
                    kind="other",
                    speaker=f"librispeech:{reader}",
                    text=text.lower(),
                )
    source.close()
