"""What listening costs: a core's time for a one-second clip, and for each second of a stream.

The clips are those of people in tests/listen/data (or ``--folder``), each brought to one second by
adding a faint room around it or by cutting out its loudest part. In streams, sound comes in blocks
of 20 ms as in a round; quiet is a room at -60 dBFS, an answer is a clip with 1.5 s of quiet before
and after it, until the listener says that it is complete. Everything is included: finding the
voice, decoding, probabilities, the end of speech. Times are those of all threads of the process. A
busy machine still stretches them, so the shortest of ``--times`` passes over a clip is given too.
Needs nothing but the shipped model.

Run: python -m tests.benchmarks.bench_listen [--folder FOLDER] [--every N] [--times N]
"""

from __future__ import annotations

import argparse
import resource
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from oralquiz.listen import AnswerRecognizer, open_recognizer
from oralquiz.sound import BLOCK, SESSION_RATE, Samples, read_recording

CLIPS = Path(__file__).parent.parent / "listen" / "data" / "clips"
RANGE = (0, 99)


def one_second(samples: Samples) -> Samples:
    """``samples`` (n,) as one second (SESSION_RATE,) with its loudest part in it."""
    if len(samples) < SESSION_RATE:
        faint = np.random.default_rng(1).normal(0, 1e-3, SESSION_RATE).astype(np.float32)
        start = (SESSION_RATE - len(samples)) // 2
        faint[start : start + len(samples)] += samples
        return faint
    loudest = int(np.argmax(np.convolve(samples**2, np.ones(BLOCK), "same")))
    start = min(max(0, loudest - SESSION_RATE // 2), len(samples) - SESSION_RATE)
    return samples[start : start + SESSION_RATE]


def core_s(work: Callable[[], object]) -> float:
    """Seconds of a core that ``work`` takes."""
    began = time.process_time()
    work()
    return time.process_time() - began


def stream(recognizer: AnswerRecognizer, sound: Samples) -> None:
    """Hear ``sound`` (n,) in blocks until the answer is complete, as a round does."""
    listener = recognizer.listen(*RANGE)
    for at in range(0, len(sound), BLOCK):
        if listener.feed(sound[at : at + BLOCK]) is not None:
            return


def room(seconds: float) -> Samples:
    count = round(seconds * SESSION_RATE)
    return np.random.default_rng(2).normal(0, 1e-3, count).astype(np.float32)


def row(name: str, costs_s: Sequence[float], least_s: Sequence[float], per_s: float) -> None:
    every, least = 1000 * np.array(costs_s) / per_s, 1000 * np.array(least_s) / per_s
    print(
        f"{name:34s} median {np.median(every):7.2f}  nine tenths {np.quantile(every, 0.9):7.2f}"
        f"  least: median {np.median(least):7.2f}"
    )


def measure(name: str, works: Sequence[Callable[[], object]], times: int, per_s: float) -> None:
    costs = [[core_s(work) for _ in range(times)] for work in works]
    row(name, [cost for of in costs for cost in of], [min(of) for of in costs], per_s)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--folder", type=Path, default=CLIPS)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--times", type=int, default=5)
    arguments = parser.parse_args()
    files = [f for f in sorted(arguments.folder.iterdir()) if f.suffix in (".wav", ".flac")]
    clips = [one_second(read_recording(f, SESSION_RATE)) for f in files[:: arguments.every]]
    recognizer = open_recognizer()
    recognizer.load(*RANGE)
    recognizer.hear(clips[0], *RANGE)
    print(f"{len(clips)} clips, {arguments.times} times each; milliseconds of a core")
    hears = [lambda clip=clip: recognizer.hear(clip, *RANGE) for clip in clips]
    measure("one-second clip, whole", hears, arguments.times, 1)
    answers = [np.concatenate([room(1.5), clip, room(1.5)]) for clip in clips]
    streams = [lambda sound=sound: stream(recognizer, sound) for sound in answers]
    measure("stream, an answer of one second", streams, arguments.times, 1)
    for seconds in (3, 20):
        quiet = room(seconds)
        works = [lambda quiet=quiet: stream(recognizer, quiet)]
        measure(f"stream, a second of quiet, of {seconds}", works, 2 * arguments.times, seconds)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"memory of the process at most {memory:.0f} MB")


if __name__ == "__main__":
    main()
