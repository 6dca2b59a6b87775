"""Where does the voice begin: our detector, a fixed threshold, the recogniser's word times.

All hear the same streams, the labelled clips of people (tests/listen/data/onsets.json says who
labelled them and how) after a second of their own room, in one run. Bias and SD of the onset
against the hand-set label in ms, per first sound; the share within 20 ms; clips without any onset.

The detector's levels were chosen on the labels with an even index; the odd ones are the test set
and are listed separately. The fixed threshold is given its best case: the one level for all clips
that puts the most onsets within 20 ms. Run: python -m tests.benchmarks.bench_onset [FOLDER OF
RECORDINGS]
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from oralquiz.listen.recognizer import open_recognizer
from oralquiz.listen.voice_detector import VoiceDetector
from oralquiz.sound.sound_files import read_recording
from tests.listen.rooms import RATE, Samples, in_its_room, loudest_at, noise, peak_db

LABELS = Path(__file__).parent.parent / "listen" / "data" / "onsets.json"
LEAD_MS = 1000.0
SOUNDS = "z w t th f s ei n i o".split()
Onset = Callable[[Samples], float | None]


def detector(samples: Samples) -> float | None:
    """The onset of the stretch with the loudest sound, heard in blocks of 20 ms, in ms."""
    heard = VoiceDetector(RATE)
    for at in range(0, len(samples), 320):
        heard.feed(samples[at : at + 320])
    heard.close()
    loudest = loudest_at(samples)
    for segment in heard.segments:
        if segment.onset <= loudest <= (segment.offset or loudest) + 320:
            return segment.onset / RATE * 1000
    return None


def threshold(level_db: float) -> Onset:
    """The first of two 10 ms frames in a row above a fixed level."""

    def onset(samples: Samples) -> float | None:
        frames = samples[: len(samples) // 160 * 160].reshape(-1, 160)
        loud = 10 * np.log10((frames**2).mean(axis=1) + 1e-12) > level_db
        both = np.flatnonzero(loud[:-1] & loud[1:])
        return None if len(both) == 0 else float(both[0]) * 10

    return onset


def word_times() -> Onset:
    """The start of the first number word that our model finds, in Vosk's steps of 30 ms."""
    recognizer = open_recognizer()

    def onset(samples: Samples) -> float | None:
        for hypothesis in recognizer.decoder.decode(samples, 0, 99):
            for word in hypothesis.words:
                if word.text not in recognizer.decoder.unknown:
                    return word.start_s * 1000
        return None

    return onset


def errors(onset: Onset, streams: Sequence[tuple[Samples, float]]) -> np.ndarray:
    found = [onset(samples) for samples, _ in streams]
    return np.array(
        [
            np.nan if at is None else at - label
            for at, (_, label) in zip(found, streams, strict=True)
        ]
    )


def row(name: str, error: np.ndarray) -> str:
    heard = error[~np.isnan(error)]
    within = np.mean(np.abs(np.nan_to_num(error, nan=1e9)) <= 20)
    return (
        f"{name:18s} n {len(error):3d}  bias {heard.mean():7.1f}  SD {heard.std():6.1f}"
        f"  median {np.median(heard):6.1f}  within 20 ms {within:5.0%}"
        f"  none {len(error) - len(heard)}"
    )


def main(folder: Path) -> None:
    labels = json.loads(LABELS.read_text())["labels"]
    clips = [read_recording(folder / label["file"], RATE) for label in labels]
    sounds = np.array([label["first_sound"] for label in labels])
    odd = np.arange(len(labels)) % 2 == 1
    times = word_times()
    for room_db in (None, -50, -40, -30):
        streams = []
        for index, (clip, label) in enumerate(zip(clips, labels, strict=True)):
            stream = in_its_room(clip, label["onset_ms"], LEAD_MS / 1000, seed=index)
            if room_db is not None:
                stream = stream + noise(len(stream) / RATE, peak_db(stream) + room_db, index)
            streams.append((stream, LEAD_MS + label["onset_ms"]))
        room = (
            "its own room" if room_db is None else f"white noise {room_db} dB re the loudest 20 ms"
        )
        print(f"\n== {room}")
        best_db = max(
            np.arange(-70, -20, 2.0),
            key=lambda db: np.sum(np.abs(errors(threshold(db), streams)) <= 20),
        )
        methods: dict[str, Onset] = {
            "detector": detector,
            f"fixed {best_db:.0f} dBFS": threshold(best_db),
            "word times": times,
        }
        for name, method in methods.items():
            error = errors(method, streams)
            print(row(name, error))
            if method is detector:
                print(row("  (labels kept out)", error[odd]))
            if room_db is None:
                for sound in SOUNDS:
                    print("   " + row(f"/{sound}/", error[sounds == sound]))


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "../shared/data"))
