"""Writes one source's clips (16 kHz mono FLAC) and its manifest.jsonl."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

RATE = 16_000
FRAME = 160  # samples, 10 ms
SHORTEST_S, LONGEST_S = 0.12, 12.0


@dataclass(frozen=True)
class Line:
    """One manifest line; `words` are number words, "[unk]" for other speech between them."""

    file: str
    words: str
    speaker: str
    source: str
    kind: str  # number, hesitation or other
    text: str
    split: str  # train or dev
    seconds: float


def mono_16k(samples: np.ndarray, rate: int) -> np.ndarray:
    """Float mono samples at 16 kHz."""
    samples = np.asarray(samples, dtype=np.float32)
    if samples.ndim == 2:
        samples = samples.mean(axis=1)
    samples = samples - samples.mean() if samples.size else samples
    return soxr.resample(samples, rate, RATE) if rate != RATE else samples


def voiced_span(samples: np.ndarray, below_peak_db: float = 40.0) -> tuple[int, int]:
    """First and last sample of the frames within `below_peak_db` of the loudest 10 ms frame."""
    frames = samples[: samples.size // FRAME * FRAME].reshape(-1, FRAME)
    if not frames.size:
        return 0, 0
    level = 10 * np.log10((frames**2).mean(axis=1) + 1e-12)
    loud = np.flatnonzero(level > max(level.max() - below_peak_db, -70.0))
    return (int(loud[0]) * FRAME, int(loud[-1] + 1) * FRAME) if loud.size else (0, 0)


def trimmed(samples: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The speech with 20..250 ms of what was around it (silence if there was less)."""
    start, end = voiced_span(samples)
    before, after = (rng.uniform(0.02, 0.25, 2) * RATE).astype(int)
    padded = np.pad(samples, (int(before), int(after)))
    return padded[start : end + int(before) + int(after)]


class Source:
    """Collects the clips of one source under `root/name`."""

    def __init__(self, root: Path, name: str, seed: int = 0) -> None:
        self.folder, self.name = root / name, name
        self.folder.mkdir(parents=True, exist_ok=True)
        self.lines: list[Line] = []
        self.refused: list[str] = []
        self.rng = np.random.default_rng(seed)

    def add(
        self,
        samples: np.ndarray,
        rate: int,
        *,
        words: str,
        speaker: str,
        kind: str,
        text: str,
        split: str = "train",
        trim: bool = True,
    ) -> bool:
        """Keep one clip, peak-normalised to 0.7; empty or absurdly long ones are counted only."""
        clip = mono_16k(samples, rate)
        start, end = voiced_span(clip)
        peak = float(np.abs(clip).max()) if clip.size else 0.0
        if peak < 1e-3 or not SHORTEST_S <= (end - start) / RATE <= LONGEST_S:
            self.refused.append(text)
            return False
        clip = (trimmed(clip, self.rng) if trim else clip) * (0.7 / peak)
        name = f"{len(self.lines) // 1000:03d}/{len(self.lines):06d}.flac"
        (self.folder / name).parent.mkdir(exist_ok=True)
        sf.write(self.folder / name, clip, RATE, subtype="PCM_16")
        seconds = round(clip.size / RATE, 3)
        self.lines.append(Line(name, words, speaker, self.name, kind, text, split, seconds))
        return True

    def close(self) -> None:
        """Write the manifest and print what was made."""
        write_manifest(self.folder / "manifest.jsonl", self.lines)
        hours = sum(line.seconds for line in self.lines) / 3600
        speakers = len({line.speaker for line in self.lines})
        print(
            f"{self.name}: {len(self.lines)} clips, {speakers} speakers, {hours:.2f} h, "
            f"{len(self.refused)} refused"
        )


def write_manifest(path: Path, lines: list[Line]) -> None:
    """Replace the manifest in one step, so that a reader never sees half of it."""
    fresh = path.with_suffix(".new")
    fresh.write_text("".join(json.dumps(asdict(line)) + "\n" for line in lines))
    fresh.replace(path)
