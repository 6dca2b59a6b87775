"""How much does a second attempt at an answer add? Measures the weight of `judge.attempts`.

Each clip of a speaker of fsdd is a first attempt, the next clip of the same digit is the second, as
when a child is asked again. For each weight: the mean negative log-probability (nats) of the digit
that was said, over the pairs in which at least one attempt is unclear on its own. Smaller is
better; "alone" is the second attempt without the first. The weight was chosen on yweweler; the
others show whether it suits them too.

Give --model a model that was trained without these speakers (see bench_judge).

Run: python -m tests.benchmarks.bench_attempts [FOLDER OF RECORDINGS] [--model TWIN]
"""

from __future__ import annotations

import argparse
import math
from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from random import Random

from oralquiz.judge.attempts import WEIGHT, combine_hearings
from oralquiz.judge.verdict import Verdict, judge
from oralquiz.listen.hearing import Hearing, Recognizer
from oralquiz.listen.recognizer import open_recognizer
from oralquiz.sound.sound_files import read_recording
from tests.benchmarks.bench_judge import RATE, Disturb, hear, in_a_room, noise

SPEAKERS = ("yweweler", "george", "theo")
WEIGHTS = (0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
NEVER = 1e-5
"""The probability of a number that is not among the candidates."""

Pair = tuple[Hearing, Hearing, int]


def pairs(recognizer: Recognizer, folder: Path, speaker: str, disturb: Disturb) -> list[Pair]:
    random = Random(3)
    heard: dict[int, list[Hearing]] = defaultdict(list)
    for path in sorted((folder / "fsdd").glob(f"*_{speaker}_*.wav")):
        digit = int(path.stem.split("_")[0])
        sound = disturb(read_recording(path, RATE), random)
        heard[digit].append(hear(recognizer, sound, 99)[0])
    return [
        (first, second, digit)
        for digit, attempts in heard.items()
        for first, second in pairwise([*attempts, attempts[0]])
        if first.candidates and second.candidates
        if Verdict.UNCLEAR in (judge(first, digit), judge(second, digit))
    ]


def loss(hearings: list[tuple[Hearing, int]]) -> float:
    logs = [-math.log(max(NEVER, hearing.probability(said))) for hearing, said in hearings]
    return math.fsum(logs) / max(1, len(logs))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", nargs="?", type=Path, default=Path("../shared/data"))
    parser.add_argument("--model", help="a model's name or folder")
    wanted = parser.parse_args()
    recognizer = open_recognizer(wanted.model)
    print(f"{recognizer.name}; the weight in use is {WEIGHT}")
    print(f"{'':24} pairs  alone " + " ".join(f"{weight:6.1f}" for weight in WEIGHTS))
    for condition, disturb in {"quiet room": in_a_room, "noise, 20 dB": noise(20)}.items():
        for speaker in SPEAKERS:
            found = pairs(recognizer, wanted.folder, speaker, disturb)
            row = [loss([(second, said) for _, second, said in found])]
            for weight in WEIGHTS:
                row.append(
                    loss([(combine_hearings([a, b], 100, weight), said) for a, b, said in found])
                )
            losses = " ".join(f"{one:6.3f}" for one in row)
            print(f"{f'{condition}, {speaker}':24} {len(found):5} {losses}")


if __name__ == "__main__":
    main()
