"""Teens and tens whose stems people said: *six* of one voice with the *-teen* or *-ty* of another.

Hundreds of people say digits and hardly anyone *sixteen*. So the digit of a person, a little
shortened, is joined to the ending of somebody who does say such words, brought to the person's
pitch. A number model (any version of ours) says where a word's ending begins.
"""

from __future__ import annotations

from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import corpus as packing
import features
import fullsum
import mdl
import numpy as np
import objective
import people
import torch
import units
from network import SUBSAMPLING, Network, pad

from synthesise import corpus
from synthesise.child import as_child

RATE = corpus.RATE
#: stem -> the words that begin with it
STEMS = {
    "four": ("fourteen", "forty"),
    "six": ("sixteen", "sixty"),
    "seven": ("seventeen", "seventy"),
    "eight": ("eighteen", "eighty"),
    "nine": ("nineteen", "ninety"),
}
ENDINGS = {"teen": "teen_t", "ty": "ty_t"}
#: the share of its time alone that a stem takes inside a word
SHORTER = (0.55, 0.95)
FADE = 128  # samples
#: nats: a word believed less than this is cut badly, and is left out. At -9 a quarter of them said
#: another number than their label, and a network trained on them took teens for tens.
DOUBT = -1.0
#: frames before a word's edge where Kaldi's outputs place it late
EARLY = 1


@dataclass(frozen=True)
class Piece:
    """Part of a clip: ``samples`` (n,), of a stem or an ending."""

    speaker: str
    samples: np.ndarray
    pitch_hz: float


class Cutter:
    """Finds where the units of a known word begin in a clip."""

    def __init__(self, model: Path) -> None:
        self.network: Network = mdl.read(model)
        self.chains = units.chains(self.network.output.out_channels)

    @torch.no_grad()
    def believes(self, samples: np.ndarray, word: str) -> float:
        """Log probability of ``word`` in ``samples`` (n,), among everything that may be said."""
        rows = features.log_mel_of_wave(np.pad(samples, 2400))[None]
        scores, _ = self.network(pad(rows, self.network.shape))
        device = torch.device("cpu")
        said = fullsum.batched(fullsum.stack([objective.transcript((word,), self.chains)]), device)
        path, _ = fullsum.posteriors(scores, said)
        rivals, _ = fullsum.posteriors(
            scores, fullsum.shared(fullsum.loop_acceptor(self.chains), device)
        )
        return float(path - rivals)

    @torch.no_grad()
    def starts(self, samples: np.ndarray, word: str) -> dict[str, int]:
        """First sample of each unit of ``word`` in ``samples`` (n,), and ``end`` of the word;
        empty where the network finds no such word."""
        rows = features.log_mel_of_wave(samples)[None]
        scores, _ = self.network(pad(rows, self.network.shape))
        said = fullsum.batched(
            fullsum.stack([objective.transcript((word,), self.chains)]), torch.device("cpu")
        )
        _, occupancy = fullsum.posteriors(scores, said)
        best = occupancy[0].argmax(dim=1).numpy()
        step = SUBSAMPLING * features.FRAME_SHIFT
        found = {}
        for unit in units.PRONUNCIATIONS[word]:
            here = np.flatnonzero(best == units.PDF[unit])
            if not len(here):
                return {}
            found[unit] = int(here[0]) * step
            found["end"] = int(here[-1] + 1) * step
        return found


def pitch_of(samples: np.ndarray) -> float:
    """Median pitch of the voiced part in hertz; 0 if there is none."""
    import pyworld

    track, _ = pyworld.dio(samples.astype(np.float64), RATE, f0_floor=60, f0_ceil=600)
    voiced = track[track > 0]
    return float(np.median(voiced)) if len(voiced) else 0.0


def shortened(samples: np.ndarray, factor: float) -> np.ndarray:
    """``samples`` (n,) in ``factor`` of the time at the same pitch: frames of 25 ms, each taken
    where it fits the one before best, overlapped and added."""
    size, hop, slack = 400, 200, 100
    window = np.hanning(size)
    padded = np.pad(samples, (slack, size + slack))
    count = max(1, int(len(samples) * factor) // hop)
    out = np.zeros((count + 1) * hop + size)
    goes_on = padded[slack : slack + size]
    for k in range(count):
        at = slack + int(k * hop / factor)
        lags = range(max(0, at - slack), min(len(padded) - size, at + slack), 8)
        best = max(lags, key=lambda lag: float(padded[lag : lag + size] @ goes_on), default=at)
        out[k * hop : k * hop + size] += window * padded[best : best + size]
        goes_on = padded[best + hop : best + hop + size]
        goes_on = np.pad(goes_on, (0, size - len(goes_on)))
    return out[: int(len(samples) * factor)].astype(np.float32)


def stem(wave: np.ndarray, word: str, cutter: Cutter) -> np.ndarray | None:
    """The part of a digit (n,) that words begin with."""
    found = cutter.starts(wave, word)
    if not found:
        return None
    start = max(0, found[units.PRONUNCIATIONS[word][0]] - 3 * features.FRAME_SHIFT)
    part = wave[start : found["end"]]
    return part[: _vowel_end(part)] if word == "eight" else part


def _vowel_end(part: np.ndarray) -> int:
    """Where the voice of *eight* (n,) falls 12 dB under its loudest: its *t* is the ending's."""
    frame = features.FRAME_SHIFT
    power = np.square(part[: len(part) // frame * frame].reshape(-1, frame)).mean(axis=1)
    return (int(np.flatnonzero(power > power.max(initial=0.0) / 16)[-1]) + 1) * frame


def ending(wave: np.ndarray, word: str, cutter: Cutter) -> np.ndarray | None:
    """The *-teen* or *-ty* of a word (n,)."""
    found = cutter.starts(wave, word)
    if not found:
        return None
    return wave[max(0, found[ENDINGS[_name(word)]] - EARLY * features.FRAME_SHIFT) :]


def _name(word: str) -> str:
    return "teen" if word.endswith("teen") else "ty"


def joined(first: Piece, second: Piece, rng: np.random.Generator) -> np.ndarray:
    """One word of a stem and an ending."""
    front = shortened(first.samples, float(rng.uniform(*SHORTER)))
    back = second.samples
    if first.pitch_hz and second.pitch_hz:
        ratio = np.clip(first.pitch_hz / second.pitch_hz * rng.uniform(0.85, 1.05), 0.5, 2.0)
        throat = np.clip(ratio**0.25, 0.88, 1.15)
        back = as_child(back, float(throat), float(ratio)).astype(np.float32)
    loud = float(np.abs(front).max()) * rng.uniform(0.5, 1.1)
    back = back * (loud / max(1e-6, float(np.abs(back).max())))
    fade = min(FADE, len(front), len(back))
    slope = np.linspace(0, 1, fade, dtype=np.float32)
    middle = front[len(front) - fade :] * (1 - slope) + back[:fade] * slope
    return np.concatenate([front[: len(front) - fade], middle, back[fade:]])


def _rare_first(clips: list[packing.Clip], count: int, rng: np.random.Generator) -> list[int]:
    """Indexes of ``count`` clips, drawn so that no speaker leads."""
    speakers = Counter(c.speaker for c in clips)
    weight = np.array([speakers[c.speaker] ** -0.8 for c in clips])
    count = min(count, len(clips))
    return [int(i) for i in rng.choice(len(clips), count, replace=False, p=weight / weight.sum())]


_cutter: Cutter | None = None


def _open(model: Path) -> None:
    global _cutter
    torch.set_num_threads(1)
    _cutter = Cutter(model)


def _cut(job: tuple[str, np.ndarray, str]) -> Piece | None:
    speaker, wave, word = job
    assert _cutter is not None
    samples = wave.astype(np.float32) / 32768
    part = (stem if word in STEMS else ending)(samples, word, _cutter)
    if part is None or len(part) < 0.08 * RATE:
        return None
    return Piece(speaker, part, pitch_of(part))


def _join(job: tuple[Piece, Piece, str, int]) -> bytes:
    first, second, word, seed = job
    assert _cutter is not None
    sound = joined(first, second, np.random.default_rng(seed))
    if _cutter.believes(sound, word) < DOUBT:
        return b""
    return packing.encoded(sound)


def add_pack(
    packs: list[Path], out: Path, model: Path, count: int, processes: int, seed: int = 61
) -> None:
    """``count`` words of the clips of ``packs``, as a pack of their own."""
    rng = np.random.default_rng(seed)
    clips, waves = packing.unpack(packs, processes)
    single = [
        (clip, wave) for clip, wave in zip(clips, waves, strict=True)
        if len(clip.words) == 1 and clip.source not in ("child", packing.SPLICED)
    ]  # fmt: skip
    with ProcessPoolExecutor(processes, initializer=_open, initargs=(model,)) as pool:

        def pieces(words: set[str], group: str, most: int) -> list[Piece]:
            said = [(c, w) for c, w in single if c.words[0] in words and c.group == group]
            chosen = [said[i] for i in _rare_first([c for c, _ in said], most, rng)] if said else []
            jobs = [(c.speaker, w, c.words[0]) for c, w in chosen]
            return [piece for piece in pool.map(_cut, jobs, chunksize=4) if piece is not None]

        jobs: list[tuple[Piece, Piece, str, int]] = []
        endings = {
            name: [pieces(_ending_words(name), group, 250) for group in ("people", "machine")]
            for name in ENDINGS
        }
        for digit, words in STEMS.items():
            stems = pieces({digit}, "people", 300)
            for number in range(count // len(STEMS)):
                word = words[number % 2]
                pools = [pool for pool in endings[_name(word)] if pool]
                second = pools[int(rng.integers(len(pools)))]
                jobs.append(
                    (
                        stems[int(rng.integers(len(stems)))],
                        second[int(rng.integers(len(second)))], word, int(rng.integers(2**31)),
                    )
                )  # fmt: skip
        made = pool.map(_join, jobs, chunksize=8)
        packing.write_pack(out, zip(map(_described, jobs), made, strict=True))


def _described(job: tuple[Piece, Piece, str, int]) -> packing.Clip:
    first, second, word, _ = job
    speaker = f"{first.speaker}|{second.speaker}"
    split = "dev" if people.held_out(speaker) else "train"
    return packing.Clip("", (word,), speaker, packing.SPLICED, "number", split, word)


def _ending_words(name: str) -> set[str]:
    return {
        w for w in (*units.TEENS, *units.TENS) if w.endswith(name) and w not in ("ten", "twenty")
    }
