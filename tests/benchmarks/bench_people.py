"""Models side by side on the people whom the twin of our training never heard, in one table.

The split is by person: 15 of 100 of each set, by a hash of the name, and a few more
(`models/train/people.py`). Every clip is heard as `oralquiz hear` hears it, 0..99, and judged by
the practice policy as the answer of a sum. Rows marked * hold people that models before 0.3 were
trained on.

* right: exactly the value; for other words: no number at all
* 0.9: other words taken for a number with a confidence of 0.9 or more
* asked, wronged: of right answers, those that the judge asks about, and those it marks wrong
* passed: of answers that are wrong by a near slip (one off, ten off, digits swapped), those that
  the judge takes for right

Conditions beside the clips as they are: a child, simulated by resampling (15 to 35 % faster), a
telephone (8 kHz, 300 to 3,400 Hz, 8 bits), six other voices 10 dB below.

Run: python -m tests.benchmarks.bench_people [FOLDER] [--model NAME|FOLDER ...]
     [--every N [--first K]] [--saytime FOLDER]   (the talking clock of Debian's `saytime`)
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path

import numpy as np
from scipy import signal

from oralquiz.judge import Next, Verdict, decide, judge
from oralquiz.listen import Hearing, open_recognizer
from oralquiz.sound import Samples, read_recording, resample

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "models" / "train"))
people, values = import_module("people"), import_module("values")

RATE = 16_000
SURE = 0.9
JOINT_S = 0.04
Change = Callable[[Samples, np.random.Generator], Samples]


@dataclass(frozen=True)
class Item:
    """What is heard: ``files`` one after another, saying ``value`` (None: no number)."""

    row: str
    speaker: str
    files: tuple[Path, ...]
    value: int | None


NUMBER_ROWS = {
    "commands_digits": "strangers at home microphones, digits",
    "duke_digits": "students, digits",
    "audiomnist_zero": "another data set, zero",
    "fsdd": "* three people of fsdd, digits",
    "sailing_numbers": "one man, 0 to 19 and tens",
    "numbers_woman": "* one woman, 0 to 20 and tens",
}
OTHER_ROWS = {
    "commands_words": "strangers, other words",
    "student_words": "a student, other words",
    "numbers_woman": "* one woman, other words",
    "sailing_words": "one man, other words",
    "librispeech": "* a reader, sentences",
}
CLOCK = "* talking clock, 0 to 20 and tens"
JOINED = {"sailing_numbers": "one man, joined 21 to 99", "numbers_woman": "* one woman, joined"}
DISTURBED = ("commands_digits", "duke_digits", "sailing_numbers")
"""Sets that are heard in every condition."""


def items(folder: Path) -> Iterator[Item]:
    """The clips of people held out, and 21 to 99 joined from those who say the tens."""
    said: dict[str, dict[int, Path]] = defaultdict(dict)
    for clip in people.recordings(folder):
        if not people.held_out(clip.speaker):
            continue
        value = values.value_of(clip.words)
        rows = OTHER_ROWS if value is None else NUMBER_ROWS
        if clip.source == "fsdd" and int(clip.path.stem.split("_")[2]) % 5:
            continue
        if clip.source in rows:
            yield Item(rows[clip.source], clip.speaker, (clip.path,), value)
        if value is not None:
            said[clip.source][value] = clip.path
    for source, row in JOINED.items():
        for tens in range(20, 100, 10):
            for ones in range(1, 10):
                if tens in said[source] and ones in said[source]:
                    files = said[source][tens], said[source][ones]
                    yield Item(row, source, files, tens + ones)


def clock(folder: Path) -> Iterator[Item]:
    """The talking clock's numbers, one file each."""
    words = {" ".join(people.spell(value)): value for value in range(100)}
    for path in sorted(folder.glob("*.au")):
        name = path.stem
        value = int(name) if name.isdigit() else words.get(name)
        if value is not None:
            yield Item(CLOCK, "saytime:speaker", (path,), value)


def sound_of(item: Item) -> Samples:
    """The clip, or its clips joined as one number."""
    if len(item.files) == 1:
        return read_recording(item.files[0], RATE)
    parts = [voice_of(read_recording(path, RATE)) for path in item.files]
    gap = np.zeros(round(JOINT_S * RATE), np.float32)
    return np.concatenate([parts[0], gap, *parts[1:]])


def voice_of(samples: Samples) -> Samples:
    """The clip from its first to its last 20 ms within 30 dB of its loudest, at full level."""
    frame = RATE // 50
    power = np.square(samples[: len(samples) // frame * frame].reshape(-1, frame)).mean(axis=1)
    loud = np.flatnonzero(power > power.max() / 1000)
    part = samples[loud[0] * frame : (loud[-1] + 1) * frame]
    return part * np.float32(0.5 / max(1e-6, float(np.abs(part).max())))


def as_it_is(samples: Samples, rng: np.random.Generator) -> Samples:
    return samples


def as_child(samples: Samples, rng: np.random.Generator) -> Samples:
    return resample(samples, RATE, round(RATE / rng.uniform(1.15, 1.35)))


def by_telephone(samples: Samples, rng: np.random.Generator) -> Samples:
    narrow = resample(samples, RATE, 8000)
    band = signal.butter(4, [300, 3400], "bandpass", fs=8000, output="sos")
    narrow = signal.sosfilt(band, narrow)
    narrow = narrow / max(1e-9, float(np.abs(narrow).max())) * 0.5
    law = np.sign(narrow) * np.log1p(255 * np.abs(narrow)) / np.log(256)
    law = np.round(law * 127) / 127
    narrow = np.sign(law) * (256 ** np.abs(law) - 1) / 255
    return resample(narrow.astype(np.float32), 8000, RATE)


def among(others: Sequence[Path], samples: Samples, rng: np.random.Generator) -> Samples:
    """Six voices at once, 10 dB below, and a room before and after."""
    around = [rng.normal(0, 3e-4, int(rng.uniform(0.2, 0.6) * RATE)) for _ in range(2)]
    whole = np.concatenate([around[0], samples, around[1]])
    noise = np.zeros(len(whole))
    for _ in range(6):
        other = read_recording(others[int(rng.integers(len(others)))], RATE)
        other = np.tile(other / max(1e-9, float(other.std())), 1 + len(whole) // len(other))
        start = int(rng.integers(len(other) - len(whole) + 1))
        noise += other[start : start + len(whole)]
    active = np.square(samples)
    power = active[active > active.max() * 1e-3].mean()
    noise *= np.sqrt(power / np.square(noise).mean() / 10)
    mixed = whole + noise
    return np.asarray(mixed / max(1.0, float(np.abs(mixed).max())), np.float32)


def conditions(everything: Sequence[Item]) -> dict[str, Change]:
    words = [item.files[0] for item in everything if item.value is None]
    return {
        "": as_it_is,
        "as a child": as_child,
        "by telephone": by_telephone,
        "six voices, -10 dB": partial(among, words),
    }


Job = tuple[Item, Change, int, str | None]


def hear(job: Job) -> tuple[Hearing, float]:
    """The hearing of one clip, and the seconds of computing it took."""
    item, change, seed, model = job
    samples = change(sound_of(item), np.random.default_rng(seed))
    recognizer = open_recognizer(model)
    recognizer.load(0, 99)
    began = time.process_time()
    return recognizer.hear(samples, 0, 99), time.process_time() - began


def slips(value: int) -> list[int]:
    """Answers of sums for which ``value`` would be a near slip."""
    swapped = value % 10 * 10 + value // 10
    near = {value - 1, value + 1, value - 10, value + 10, swapped} - {value}
    return sorted(answer for answer in near if 0 <= answer <= 99)


@dataclass
class Tally:
    """Counts of one row."""

    clips: int = 0
    right: int = 0
    sure: int = 0
    asked: int = 0
    wronged: int = 0
    slipped: int = 0
    passed: int = 0

    def add(self, item: Item, heard: Hearing) -> None:
        self.clips += 1
        self.right += heard.value == item.value
        if item.value is None:
            self.sure += heard.value is not None and heard.confidence >= SURE
            return
        decision = decide([heard], item.value)
        self.asked += decision.next is Next.ASK_AGAIN
        self.wronged += decision.verdict is Verdict.WRONG
        for answer in slips(item.value):
            self.slipped += 1
            self.passed += judge(heard, answer) is Verdict.RIGHT

    def text(self) -> str:
        share = f"{100 * self.right / self.clips:6.1f}"
        if self.slipped == 0:
            return f"{share}  0.9: {self.sure:3}          "
        asked = f"{100 * self.asked / self.clips:5.1f}"
        return f"{share} {asked} {self.wronged:4} {self.passed:3}/{self.slipped:<5}"


def table(names: Sequence[str], found: dict[str, dict[str, Tally]]) -> Iterator[str]:
    heads = "".join(f"{name[:24]:>26}" for name in names)
    yield f"{'':46}clips{heads}"
    yield f"{'':54}" + "right asked wronged passed   " * len(names)
    for row, tallies in found.items():
        clips = next(iter(tallies.values())).clips
        cells = "   ".join(tallies[name].text() for name in names)
        yield f"{row:46}{clips:5}   {cells}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, nargs="?", default=Path("../shared/data"))
    parser.add_argument(
        "--model", action="append", help="a model's name or folder; may be repeated"
    )
    parser.add_argument("--saytime", type=Path, default=Path("/usr/share/saytime"))
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--first", type=int, default=0, help="begin with this clip, from 0")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--misses", action="store_true")
    wanted = parser.parse_args()
    models: list[str | None] = wanted.model or [None]
    everything = [*items(wanted.folder), *clock(wanted.saytime)][wanted.first :: wanted.every]
    rows = {row for source, row in NUMBER_ROWS.items() if source in DISTURBED}
    jobs: list[tuple[str, Item, Change, int]] = []
    for condition, change in conditions(everything).items():
        for seed, item in enumerate(everything):
            if not condition or item.row in rows or item.row in JOINED.values():
                name = f"{item.row}, {condition}" if condition else item.row
                jobs.append((name, item, change, seed))
    found: dict[str, dict[str, Tally]] = {}
    names = []
    with ProcessPoolExecutor(wanted.processes) as pool:
        for model in models:
            name = open_recognizer(model).name
            name = f"{name} ({Path(model).name})" if model else name
            names.append(name)
            spent = 0.0
            heard = pool.map(hear, [(i, c, s, model) for _, i, c, s in jobs], chunksize=16)
            for (row, item, _, _), (hearing, took) in zip(jobs, heard, strict=True):
                found.setdefault(row, {}).setdefault(name, Tally()).add(item, hearing)
                spent += took
                if wanted.misses and hearing.value != item.value:
                    print(
                        f"  {name} {row} {item.files[0].stem}: {item.value} heard as "
                        f"{hearing.value} {hearing.confidence:.2f} ({hearing.words})"
                    )
            print(f"{name}: {1000 * spent / len(jobs):.1f} ms of computing a clip", flush=True)
    for line in table(names, found):
        print(line)


if __name__ == "__main__":
    main()
