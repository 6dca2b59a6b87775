"""Children made of grown-ups: clips already in the corpus, through the WORLD vocoder.

Formants up 10-42 %, pitch up 20-110 %, drawn apart for every clip. Training changes throats on
power spectra as well (augment.py); a vocoder also changes what a spectrum of 25 ms cannot hold: the
pulses of the voice, its breath, and the errors that a pitch tracker makes on a creaky one.
"""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import corpus as packing
import numpy as np

from synthesise import corpus

RATE = corpus.RATE
#: clips of people at most, of all that are made
PEOPLE_SHARE = 0.25


def as_child(
    samples: np.ndarray, formants: float, pitch: float, careful: bool = False
) -> np.ndarray:
    """``samples`` (n,) at 16 kHz with formants and pitch times so much; ``careful``: by the slower
    and better pitch tracker (harvest), else dio."""
    import pyworld

    x = samples.astype(np.float64)
    if careful:
        track, times = pyworld.harvest(x, RATE, f0_floor=60, f0_ceil=600)
    else:
        track, times = pyworld.dio(x, RATE, f0_floor=60, f0_ceil=600)
        track = pyworld.stonemask(x, track, times, RATE)
    envelope = pyworld.cheaptrick(x, track, times, RATE)
    breath = pyworld.d4c(x, track, times, RATE)
    bins = np.arange(envelope.shape[1])
    low = (bins / formants).astype(int).clip(0, len(bins) - 2)
    part = bins / formants - low

    def moved(rows: np.ndarray) -> np.ndarray:
        return np.ascontiguousarray(rows[:, low] * (1 - part) + rows[:, low + 1] * part)

    return pyworld.synthesize(track * pitch, moved(envelope), moved(breath), RATE)


def chosen(
    clips: list[packing.Clip], count: int, rng: np.random.Generator
) -> Iterator[packing.Clip]:
    """About ``count`` clips with speech, of voices to train on; few of them said by people."""
    spoken = [c for c in clips if c.split == "train" and c.kind in ("number", "phrase", "other")]
    people = [c for c in spoken if c.speaker.startswith(packing.PEOPLE)]
    voices = [c for c in spoken if not c.speaker.startswith(packing.PEOPLE)]
    most = min(len(people), round(count * PEOPLE_SHARE))
    for pool, size in ((people, most), (voices, min(len(voices), count - most))):
        for index in sorted(rng.choice(len(pool), size, replace=False)):
            yield pool[index]


def _made(job: tuple[str, float, float, bool]) -> np.ndarray:
    path, formants, pitch, careful = job
    return as_child(packing.read(path), formants, pitch, careful).astype(np.float32)


def add_all(root: Path, data: Path, count: int, seed: int = 21) -> None:
    """A source ``child`` of the corpus; run ``merge`` before and after. Speakers keep their names,
    so that who is held out from training is held out as a child too."""
    rng = np.random.default_rng(seed)
    clips = [c for c in packing.voice_clips(root) if c.source != "child"]
    picked = list(chosen([*packing.human_clips(data), *clips], count, rng))
    jobs = [
        (
            c.path,
            float(np.exp(rng.uniform(np.log(1.10), np.log(1.42)))),
            float(np.exp(rng.uniform(np.log(1.2), np.log(2.1)))),
            bool(rng.random() < 0.3),
        )
        for c in picked
    ]
    source = corpus.Source(root, "child")
    kinds = {"number": "number", "phrase": "hesitation", "other": "other"}
    with ProcessPoolExecutor() as pool:
        for clip, samples in zip(picked, pool.map(_made, jobs, chunksize=20), strict=True):
            words = " ".join(clip.words)
            source.add(
                samples,
                RATE,
                words="" if words == "[unk]" else words,
                speaker=clip.speaker,
                kind=kinds[clip.kind],
                text=words,
                split=clip.split,
            )
    source.close()
