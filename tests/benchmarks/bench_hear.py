"""What `oralquiz hear` gets right, how sure it is, how fast it is, in one run.

Exact values per speaker of the human recordings, through the command itself; numbers heard where
none was said, at any confidence and at the judge's own; expected calibration error; time, memory;
then the listener on streams (each clip in a room at -60 dBFS): from the end of the voice to the
final guess. The end of the voice is the last 10 ms within 30 dB of the clip's loudest.

The model that ships was trained on every one of these speakers; ``--model`` takes its twin, from
the same recipe without those that are not marked "trained on": only the twin says anything about
strangers. Run: python -m tests.benchmarks.bench_hear [FOLDER OF RECORDINGS] [--range 0..99]
[--model NAME|PATH] [--every N]
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from oralquiz.listen.recognizer import open_recognizer
from oralquiz.sound.sound_files import read_recording

RATE = 16_000
JUDGE = 0.99
TRAINED = (
    "fsdd jackson",
    "fsdd lucas",
    "fsdd nicolas",
    "digits_in",
)


@dataclass(frozen=True)
class Clip:
    group: str
    file: Path
    value: int | None


def clips(folder: Path) -> Iterator[Clip]:
    for file in sorted((folder / "fsdd").glob("*.wav")):
        digit, speaker, _ = file.stem.split("_")
        yield Clip(f"fsdd {speaker}", file, int(digit))
    for file in sorted((folder / "digits_in").glob("*.flac")):
        yield Clip("digits_in", file, int(file.stem[0]))
    for file in sorted((folder / "numbers_woman").glob("*.flac")):
        yield Clip("numbers_woman", file, int(file.stem))
    for file in sorted((folder / "numbers_woman" / "other").glob("*.flac")):
        if file.stem not in ("o", "minus"):  # the letter o is how "oh" sounds
            yield Clip("numbers_woman other", file, None)
    for file in sorted((folder / "librispeech").glob("*.flac")):
        yield Clip("librispeech", file, None)


def command(
    files: list[Clip], limits: str | None, model: str | None
) -> tuple[list[dict[str, Any]], float]:
    options = [] if limits is None else ["--range", limits]
    options += [] if model is None else ["--model", model]
    started = time.perf_counter()
    oralquiz = [sys.executable, "-c", "from oralquiz.cli import main; main()"]
    run = [*oralquiz, "hear", *options, *(str(c.file) for c in files)]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    took = time.perf_counter() - started
    return [json.loads(line) for line in done.stdout.splitlines()], took


def calibration_error(pairs: list[tuple[float, bool]]) -> float:
    """Expected calibration error over ten bins of equal size."""
    pairs.sort()
    bins = [pairs[len(pairs) * k // 10 : len(pairs) * (k + 1) // 10] for k in range(10)]
    gaps = [abs(sum(sure for sure, _ in b) - sum(right for _, right in b)) for b in bins]
    return sum(gaps) / max(1, len(pairs))


def to_final(
    files: list[Clip], lowest: int, highest: int, model: str | None
) -> tuple[list[float], int]:
    """Seconds from the end of the voice to the final guess, for clips heard right; and the
    others."""
    recognizer = open_recognizer(model)
    rng = np.random.default_rng(1)
    waits, missed = [], 0
    for clip in files:
        samples = read_recording(clip.file, RATE)
        frames = samples[: len(samples) // 160 * 160].reshape(-1, 160)
        level = 10 * np.log10((frames**2).mean(axis=1) + 1e-12)
        end = RATE + 160 * (int(np.flatnonzero(level > level.max() - 30)[-1]) + 1)
        stream = np.concatenate([np.zeros(RATE), samples, np.zeros(3 * RATE)])
        stream = (stream + rng.normal(0, 0.001, len(stream))).astype(np.float32)
        listener = recognizer.listen(lowest, highest)
        for at in range(0, len(stream), 320):
            began = time.process_time()
            final = listener.feed(stream[at : at + 320])
            if final is not None:
                late = time.process_time() - began
                if final.value == clip.value:
                    waits.append((at + 320 - end) / RATE + late)
                else:
                    missed += 1
                break
        else:
            missed += 1
    return waits, missed


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path, nargs="?", default=Path("../shared/data"))
    parser.add_argument("--range", default=None)
    parser.add_argument("--model", default=None)
    parser.add_argument("--every", type=int, default=1)
    arguments = parser.parse_args()
    files = list(clips(arguments.folder))[:: arguments.every]
    lines, took = command(files, arguments.range, arguments.model)
    groups = dict.fromkeys(clip.group for clip in files)
    pairs: list[tuple[float, bool]] = []
    print(f"range {arguments.range or 'default'}")
    for group in groups:
        mine = [(c, line) for c, line in zip(files, lines, strict=True) if c.group == group]
        right = [line["value"] == clip.value for clip, line in mine]
        note = "  (trained on)" if group in TRAINED else ""
        print(f"{group:20s} {sum(right):5d} of {len(mine):5d}  {np.mean(right):7.2%}{note}", end="")
        if mine[0][0].value is None:
            heard = [line["confidence"] for _, line in mine if line["value"] is not None]
            print(f"  numbers heard {len(heard)}, surely {sum(c >= JUDGE for c in heard)}", end="")
        elif group not in TRAINED:
            pairs += [
                (line["confidence"], line["value"] == clip.value)
                for clip, line in mine
                if line["value"] is not None
            ]
        print()
    sure = [right for confidence, right in pairs if confidence >= JUDGE]
    print(f"expected calibration error (voices kept out) {calibration_error(pairs):.4f}")
    print(f"at {JUDGE} or more: {len(sure)} of {len(pairs)}, wrong {sum(not r for r in sure)}")
    seconds = sum(len(read_recording(clip.file, RATE)) / RATE for clip in files)
    decoding = sum(line["decode_s"] for line in lines)
    memory = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    print(f"{len(files)} files in {took:.1f} s; decoding {decoding / seconds:.4f} of real time")
    print(f"memory of the process at most {memory:.0f} MB")
    numbers = [clip for clip in files if clip.value is not None and clip.group not in TRAINED]
    for lowest, highest in ((0, 9), (0, 99)):
        waits, missed = to_final(
            [c for c in numbers if (c.value or 0) <= highest], lowest, highest, arguments.model
        )
        print(
            f"end of the voice to the final guess, {lowest}..{highest}: median "
            f"{np.median(waits):.3f} s, nine tenths {np.quantile(waits, 0.9):.3f} s "
            f"({len(waits)} right, {missed} not)"
        )


if __name__ == "__main__":
    main()
