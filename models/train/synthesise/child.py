"""Children's voices made from adults': clips already in the corpus, through the WORLD vocoder.

Formants up 10-42 %, pitch up 20-110 %, drawn independently for every clip. Training changes throats
on power spectra as well (augment.py); a vocoder also changes what a spectrum of 25 ms cannot hold:
the pulses of the voice, its breath, and the errors that a pitch tracker makes on a creaky one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import corpus as packing
import numpy as np

RATE = 16_000
#: the share of people's clips among all that are made
PEOPLE_SHARE = 0.65


def as_child(
    samples: np.ndarray, formants: float, pitch: float, careful: bool = False
) -> np.ndarray:
    """``samples`` (n,) at 16 kHz with formants and pitch multiplied by these factors; ``careful``:
    by the slower and better pitch tracker (harvest), else dio."""
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
    """About ``count`` clips with speech, of voices to train on; from people, rare words and
    speakers rather than those with many clips."""
    spoken = [c for c in clips if c.split == "train" and c.kind in ("number", "phrase", "other")]
    people = [c for c in spoken if c.group == "people"]
    voices = [c for c in spoken if c.group == "machine"]
    most = min(len(people), round(count * PEOPLE_SHARE))
    for pool, size in ((people, most), (voices, min(len(voices), count - most))):
        if not pool:
            continue
        words, speakers = Counter(c.words for c in pool), Counter(c.speaker for c in pool)
        weight = np.array([(words[c.words] * speakers[c.speaker]) ** -0.5 for c in pool])
        for index in sorted(rng.choice(len(pool), size, replace=False, p=weight / weight.sum())):
            yield pool[index]


def drawn(rng: np.random.Generator) -> tuple[float, float, bool]:
    """The factors of formants and pitch, and whether by the better pitch tracker."""
    return (
        float(np.exp(rng.uniform(np.log(1.10), np.log(1.42)))),
        float(np.exp(rng.uniform(np.log(1.2), np.log(2.1)))),
        bool(rng.random() < 0.3),
    )


def _packed(job: tuple[np.ndarray, tuple[float, float, bool]]) -> bytes:
    wave, how = job
    made = as_child(wave.astype(np.float32) / 32768, *how).astype(np.float32)
    return packing.encoded(made)


def add_pack(packs: list[Path], out: Path, count: int, processes: int, seed: int = 21) -> None:
    """Children's versions of the clips of ``packs`` as a pack of their own; uses many cores."""
    rng = np.random.default_rng(seed)
    clips, waves = packing.unpack(packs, processes)
    at = {id(clip): i for i, clip in enumerate(clips)}
    picked = list(chosen(clips, count, rng))
    jobs = [(waves[at[id(clip)]], drawn(rng)) for clip in picked]
    with ProcessPoolExecutor(processes) as pool:
        made = pool.map(_packed, jobs, chunksize=10)
        children = (replace(clip, source="child") for clip in picked)
        packing.write_pack(out, zip(children, made, strict=True))
