"""Where the training sound comes from, and a pack of it that travels and loads fast.

``python corpus.py --humans ../../../shared/data --voices CORPUS --out pack/`` reads every clip
named below, trims the silence around it, and writes shards of small FLAC files with an index. The
pack fits a training machine's memory as 16-bit samples.

Human folders (sources and licences: MODEL_CARD.md): ``fsdd``, ``digits_in``, ``numbers_woman``,
``librispeech``. Synthetic voices: a folder with ``manifest.tsv`` written by the synthesise stage.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
import re
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile
import soxr
import units
from features import FRAME_LENGTH, SAMPLE_RATE

#: number words that a transcript may contain without being a spoken number
_NUMBER_LIKE = re.compile(
    r"\b(zero|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|\w+teen|twenty|thirty|"
    r"forty|fifty|sixty|seventy|eighty|ninety|hundred|thousand)\b"
)


HUMAN_SOURCES = ("fsdd", "digits_in", "numbers_woman", "librispeech")
#: whole speakers that the twin, which is measured, never hears, beside the corpus's dev voices
KEPT_OUT = (
    "fsdd-theo", "fsdd-george", "fsdd-yweweler", "numbers_woman", "libri-237", "saytime:speaker",
)  # fmt: skip
#: packages with recordings of people; the names of these begin like the source
RECORDED = ("asterisk", "saytime", "csmash", "scid", "stamps")
#: how the names of people begin
PEOPLE = ("fsdd", "digits_in", "numbers_woman", "libri", "ktuberling", "klettres", *RECORDED)
#: sources whose clips are drawn as those of people
PEOPLE_SOURCES = (*HUMAN_SOURCES, "spokennumbers", "toys", *RECORDED)


@dataclass(frozen=True)
class Clip:
    """One recording: ``words`` as said, ``split`` train or dev (whole speakers)."""

    path: str
    words: tuple[str, ...]
    speaker: str
    source: str
    kind: str
    split: str


def human_clips(root: Path) -> Iterator[Clip]:
    for path in sorted((root / "fsdd").glob("*.wav")):
        digit, speaker, _ = path.stem.split("_")
        words = (units.DIGITS[int(digit)],)
        yield Clip(str(path), words, f"fsdd-{speaker}", "fsdd", "number", "train")
    for path in sorted((root / "digits_in").glob("*.flac")):
        words = (units.DIGITS[int(path.stem.split("_")[0])],)
        yield Clip(str(path), words, "digits_in", "digits_in", "number", "train")
    woman = root / "numbers_woman"
    for path in sorted(woman.glob("*.flac")):
        value = int(path.stem)
        words = units.spell(value) if value != 100 else ("hundred",)
        if value == 100:
            continue  # said as "one hundred" or "hundred": not known
        yield Clip(str(path), words, "numbers_woman", "numbers_woman", "number", "train")
    for path in sorted((woman / "other").glob("*.flac")):
        if path.stem not in ("minus", "o", "and", "a", "equals", "not"):
            yield Clip(str(path), (units.UNK,), "numbers_woman", "numbers_woman", "other", "train")
    transcripts = {}
    for path in sorted((root / "librispeech").glob("*.t*xt")):
        for line in path.read_text().splitlines():
            name, _, text = line.partition(" ")
            transcripts[name] = text.lower()
    for path in sorted((root / "librispeech").glob("*.flac")):
        text = transcripts.get(path.stem, "")
        if not _NUMBER_LIKE.search(text):
            speaker = "libri-" + path.stem.split("-")[0]
            yield Clip(str(path), (units.UNK,), speaker, "librispeech", "other", "train")


def voice_clips(root: Path) -> Iterator[Clip]:
    """Clips of the synthesise stage, from its ``manifest.tsv``."""
    with (root / "manifest.tsv").open(newline="") as stream:
        for row in csv.DictReader(stream, delimiter="\t", quoting=csv.QUOTE_NONE):
            kind = row["kind"]
            words = tuple(row["words"].split())
            if kind == "other" and not words:
                words = (units.UNK,)
            if kind == "noise":
                words = ("[noise]",)
            if row["engine"] in HUMAN_SOURCES:
                continue  # read from where they lie, once
            if not words or not all(w in units.PRONUNCIATIONS or w == "[noise]" for w in words):
                continue
            yield Clip(
                str(root / row["path"]), words, row["speaker"], row["engine"], kind, row["split"]
            )


def read(path: str | Path | io.BytesIO) -> np.ndarray:
    """Mono float32 at SAMPLE_RATE."""
    samples, rate = soundfile.read(path, dtype="float32", always_2d=True)
    mono = samples.mean(axis=1)
    if rate != SAMPLE_RATE:
        mono = soxr.resample(mono, rate, SAMPLE_RATE, quality="HQ")
    return mono.astype(np.float32)


def trim(samples: np.ndarray, keep_s: float = 0.08) -> np.ndarray:
    """Cuts leading and trailing parts 40 dB under the loudest 25 ms, keeping a margin."""
    if len(samples) < 2 * FRAME_LENGTH:
        return samples
    count = len(samples) // FRAME_LENGTH
    power = np.square(samples[: count * FRAME_LENGTH].reshape(count, FRAME_LENGTH)).mean(axis=1)
    loud = np.flatnonzero(power > power.max() * 1e-4)
    keep = int(keep_s * SAMPLE_RATE)
    return samples[max(0, loud[0] * FRAME_LENGTH - keep) : (loud[-1] + 1) * FRAME_LENGTH + keep]


def pack(clips: list[Clip], out: Path, shard_bytes: int, max_s: float, opus: bool = False) -> None:
    """Writes ``out/NNN.bin`` shards of concatenated sound files and ``out/NNN.json`` indexes;
    with ``opus``, machines' voices go in that lossy coding, a third of the size."""
    out.mkdir(parents=True, exist_ok=True)
    for old in out.glob("*"):
        old.unlink()
    number, blob, index = 0, bytearray(), []

    def flush() -> None:
        nonlocal number, blob, index
        (out / f"{number:03d}.bin").write_bytes(blob)
        (out / f"{number:03d}.json").write_text(json.dumps(index))
        number, blob, index = number + 1, bytearray(), []

    with ProcessPoolExecutor() as pool:
        jobs = [(c.path, max_s, opus and not c.speaker.startswith(PEOPLE)) for c in clips]
        encoded = pool.map(_encode, jobs, chunksize=50)
        for clip, data in zip(clips, encoded, strict=True):
            if not data:
                continue
            entry = asdict(clip)
            del entry["path"]
            index.append([entry, len(blob), len(data)])
            blob += data
            if len(blob) > shard_bytes:
                flush()
    if blob:
        flush()


#: the loudest of 16-bit samples
_PEAK = 29_000
#: steps of the packed 16-bit samples; 60 dB under full scale, far under the noise added later
_STEP = 32


def _encode(args: tuple[str, float, bool]) -> bytes:
    """The clip trimmed, at full scale and in coarse steps, as FLAC (or Opus); empty for silence."""
    path, max_s, opus = args
    samples = trim(read(path))[: int(max_s * SAMPLE_RATE)]
    peak = float(np.abs(samples).max(initial=0.0))
    if len(samples) < 1600 or peak < 1e-3:
        return b""
    stream = io.BytesIO()
    if opus:
        soundfile.write(stream, samples / peak * 0.885, SAMPLE_RATE, format="OGG", subtype="OPUS")
    else:
        coarse = (np.round(samples / peak * _PEAK / _STEP) * _STEP).astype(np.int16)
        soundfile.write(stream, coarse, SAMPLE_RATE, format="FLAC", subtype="PCM_16")
    return stream.getvalue()


def _decode(args: tuple[Path, list[tuple[int, int]]]) -> list[np.ndarray]:
    path, spans = args
    blob = path.read_bytes()
    out = []
    for at, size in spans:
        samples = trim(read(io.BytesIO(blob[at : at + size])))
        peak = max(float(np.abs(samples).max(initial=0.0)), 1e-4)
        out.append(np.round(samples / peak * _PEAK).clip(-32768, 32767).astype(np.int16))
    return out


def unpack(
    folders: list[Path], processes: int, cache: Path | None = None
) -> tuple[list[Clip], list[np.ndarray]]:
    """All clips of packs, decoded to int16; once only with a ``cache`` folder of these packs."""
    clips: list[Clip] = []
    jobs = []
    for folder in folders:
        for path in sorted(folder.glob("*.json")):
            index = json.loads(path.read_text())
            for entry, _, _ in index:
                entry["words"] = tuple(entry["words"])
                clips.append(Clip(path="", **entry))
            spans = [(at, size) for _, at, size in index]
            for i in range(0, len(spans), 500):
                jobs.append((path.with_suffix(".bin"), spans[i : i + 500]))
    if cache and (cache / "waves.npy").is_file():
        ends = np.load(cache / "ends.npy")
        return clips, np.split(np.load(cache / "waves.npy"), ends[:-1])
    with ProcessPoolExecutor(processes) as pool:
        waves = [w for part in pool.map(_decode, jobs) for w in part]
    if cache:
        cache.mkdir(parents=True, exist_ok=True)
        np.save(cache / "ends.npy", np.cumsum([len(w) for w in waves]))
        part = cache / f"waves.{os.getpid()}.npy"
        np.save(part, np.concatenate(waves))
        part.rename(cache / "waves.npy")
    return clips, waves


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--humans", type=Path)
    parser.add_argument("--voices", type=Path)
    parser.add_argument("--engines", default="", help="only these engines of the voices")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--max-seconds", type=float, default=6.0)
    parser.add_argument("--opus", action="store_true", help="machines' voices in a third the size")
    args = parser.parse_args()
    clips: list[Clip] = []
    if args.humans:
        clips += human_clips(args.humans)
    if args.voices:
        engines = set(args.engines.split(",")) - {""}
        clips += (c for c in voice_clips(args.voices) if not engines or c.source in engines)
    pack(clips, args.out, 30 << 20, args.max_seconds, args.opus)
    size = sum(p.stat().st_size for p in args.out.glob("*.bin"))
    print(f"{len(clips)} clips, {size / 2**20:.1f} MiB in {args.out}")


if __name__ == "__main__":
    main()
