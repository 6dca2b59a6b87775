"""Where the training sound comes from, and a pack of it that travels and loads fast.

``python corpus.py --humans ../../../shared/data --voices CORPUS --out pack/`` reads every clip
listed below, trims the silence around it, and writes shards of small FLAC files with an index. The
pack fits a training machine's memory as 16-bit samples.

People: ``people.py``. Synthetic voices: a folder with ``manifest.tsv`` written by the synthesise
stage.
"""

from __future__ import annotations

import argparse
import csv
import io
import json
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import people
import soundfile
import soxr
import units
from features import FRAME_LENGTH, SAMPLE_RATE

#: packages with recordings of people; the names of these begin like the source
RECORDED = ("asterisk", "saytime", "csmash", "scid", "stamps")
#: how the names of people begin
PEOPLE = (
    "fsdd", "digits_in", "numbers_woman", "libri", "ktuberling", "klettres",
    *(f"{name}-" for name in people.SETS.values()), *RECORDED,
)  # fmt: skip
#: words by one person with the ending of another or of a machine
SPLICED = "splice"


@dataclass(frozen=True)
class Clip:
    """One recording: ``words`` as said, ``split`` train or dev (whole speakers).

    ``text``: what other speech says, as far as known.
    """

    path: str
    words: tuple[str, ...]
    speaker: str
    source: str
    kind: str
    split: str
    text: str = ""

    @property
    def group(self) -> str:
        """Who speaks: ``people``, ``spliced`` or ``machine``."""
        if self.source == SPLICED:
            return "spliced"
        human = self.speaker.startswith(PEOPLE) or self.source == "spokennumbers"
        return "people" if human else "machine"


def human_clips(root: Path) -> Iterator[Clip]:
    for clip in people.recordings(root):
        split = "dev" if people.held_out(clip.speaker) else "train"
        yield Clip(
            str(clip.path), clip.words, clip.speaker, clip.source, clip.kind, split, clip.text
        )


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
            if row["engine"] in people.SOURCES:
                continue  # read from where they are, once
            if not words or not all(w in units.PRONUNCIATIONS or w == "[noise]" for w in words):
                continue
            split = "dev" if people.held_out(row["speaker"]) else row["split"]
            yield Clip(
                str(root / row["path"]), words, row["speaker"], row["engine"], kind, split,
                row["text"],
            )  # fmt: skip


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


SHARD_BYTES = 30 << 20


def pack(clips: list[Clip], out: Path, shard_bytes: int, max_s: float, small: bool = False) -> None:
    """Writes ``out/NNN.bin`` shards of concatenated sound files and ``out/NNN.json`` indexes;
    with ``small`` in coarser steps, so that they travel."""
    with ProcessPoolExecutor() as pool:
        jobs = [(c.path, max_s, _step(c) if small else FINE) for c in clips]
        encoded_clips = pool.map(_encode, jobs, chunksize=50)
        write_pack(out, zip(clips, encoded_clips, strict=True), shard_bytes)


def write_pack(
    out: Path, clips: Iterable[tuple[Clip, bytes]], shard_bytes: int = SHARD_BYTES
) -> None:
    """Writes clips and their encoded sound, without those whose sound is empty."""
    out.mkdir(parents=True, exist_ok=True)
    for old in out.glob("*"):
        old.unlink()
    number, blob, index = 0, bytearray(), []

    def flush() -> None:
        nonlocal number, blob, index
        (out / f"{number:03d}.bin").write_bytes(blob)
        (out / f"{number:03d}.json").write_text(json.dumps(index))
        number, blob, index = number + 1, bytearray(), []

    for clip, data in clips:
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


#: steps of packed 16-bit samples: their noise is 70, 64 and 52 dB under a voice's peak
FINE, MIDDLE, COARSE = 32, 64, 256


def _step(clip: Clip) -> int:
    """Finer for people's numbers."""
    return MIDDLE if clip.group == "people" and clip.kind == "number" else COARSE


#: the loudest of 16-bit samples
_PEAK = 29_000


def _encode(args: tuple[str, float, int]) -> bytes:
    path, max_s, step = args
    return encoded(read(path), max_s, step)


def encoded(samples: np.ndarray, max_s: float = 6.0, step: int = MIDDLE) -> bytes:
    """The clip (n,) trimmed, at full scale and in steps, as FLAC; empty for silence."""
    samples = trim(samples)[: int(max_s * SAMPLE_RATE)]
    peak = float(np.abs(samples).max(initial=0.0))
    if len(samples) < 1600 or peak < 1e-3:
        return b""
    stream = io.BytesIO()
    stepped = (np.round(samples / peak * _PEAK / step) * step).astype(np.int16)
    soundfile.write(stream, stepped, SAMPLE_RATE, format="FLAC", subtype="PCM_16")
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
    parser.add_argument("--part", default="1/1", help="K/N: only every Nth clip, from the Kth")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--max-seconds", type=float, default=6.0)
    parser.add_argument("--small", action="store_true", help="in coarser steps, to travel")
    args = parser.parse_args()
    clips: list[Clip] = []
    if args.humans:
        clips += human_clips(args.humans)
    if args.voices:
        engines = set(args.engines.split(",")) - {""}
        clips += (c for c in voice_clips(args.voices) if not engines or c.source in engines)
    part, parts = (int(x) for x in args.part.split("/"))
    clips = clips[part - 1 :: parts]
    pack(clips, args.out, SHARD_BYTES, args.max_seconds, args.small)
    size = sum(p.stat().st_size for p in args.out.glob("*.bin"))
    print(f"{len(clips)} clips, {size / 2**20:.1f} MiB in {args.out}")


if __name__ == "__main__":
    main()
