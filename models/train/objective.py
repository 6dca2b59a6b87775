"""Prefetched batches and the three objectives of training, shared by the align and train stages."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import fullsum
import numpy as np
import torch
import units
from augment import Plan, Planner, Sampler, Store
from features import FRAME_SHIFT
from network import SUBSAMPLING
from torch.utils.data import DataLoader, IterableDataset


@lru_cache(maxsize=20_000)
def transcript(words: tuple[str, ...]) -> fullsum.Acceptor:
    return fullsum.transcript_acceptor(words)


class _Plans(IterableDataset):
    """Plans with their stacked transcripts; batches of short, middle and long utterances."""

    #: batches gathered before they are sorted by length
    POOL = 8
    #: frames (10 ms) at most, and those added to the longest utterance of a batch
    MOST, SPARE = 260, (0, 2, 5, 10, 20, 40)

    def __init__(
        self, store: Store, batch: int, human_share: float, strength: float, seed: int
    ) -> None:
        # the wave itself stays behind: workers only plan
        self.store = Store(torch.empty(0), store.start, store.length, store.clips)
        self.batch, self.human_share, self.strength, self.seed = batch, human_share, strength, seed

    def __iter__(self) -> Iterator[tuple[Plan, fullsum.Sparse]]:
        info = torch.utils.data.get_worker_info()
        seed = self.seed * 1000 + (info.id if info else 0)
        rng = np.random.default_rng(seed)
        sampler = Sampler(self.store, self.human_share, rng)
        planner = Planner(self.store, seed + 500, self.strength)
        while True:
            rows = []
            for _ in range(self.batch * self.POOL):
                item, rate = sampler.item(), planner.rate()
                frames = sum(self.store.length[i] for i in item) / FRAME_SHIFT / rate
                frames += 14 * (len(item) - 1)
                if all(self.store.clips[i].words == (units.UNK,) for i in item):
                    # other speech is cut to fit, and noise alone may be of any length
                    frames = min(frames or self.MOST, rng.uniform(30, 150))
                rows.append((min(frames, self.MOST), item, rate))
            rows.sort(key=lambda row: row[0])
            groups = [rows[i : i + self.batch] for i in range(0, len(rows), self.batch)]
            for g in rng.permutation(len(groups)):
                lengths, items, rates = zip(*groups[g], strict=True)
                frames = int(min(max(lengths) + 2 + rng.choice(self.SPARE), self.MOST))
                plan = planner.plan(list(items), frames, rates)
                yield plan, fullsum.stack([transcript(w) for w in plan.words])


def batches(
    store: Store, batch: int, human_share: float, strength: float, seed: int, workers: int
) -> Iterator[tuple[Plan, fullsum.Sparse]]:
    plans = _Plans(store, batch, human_share, strength, seed)
    options = {"prefetch_factor": 4, "persistent_workers": True} if workers else {}
    return iter(DataLoader(plans, batch_size=None, num_workers=workers, **options))


def subsampled(loudness: torch.Tensor) -> torch.Tensor:
    """Loudness (B, T) at the network's output frames (B, ceil(T / 3))."""
    return loudness[:, ::SUBSAMPLING]


def linear_targets(
    loudness: torch.Tensor, words: list[tuple[str, ...]], outputs: int
) -> torch.Tensor:
    """First guess, (B, T, P): the units of the words share the loud span evenly."""
    count, frames = loudness.shape
    target = torch.zeros(count, frames, outputs)
    loud = (loudness > -6.0).cpu().numpy()
    for b, said in enumerate(words):
        pdfs = [units.PDF[u] for w in said if w != "[noise]" for u in units.PRONUNCIATIONS[w]]
        where = np.flatnonzero(loud[b])
        labels = np.full(frames, units.PDF[units.SIL])
        if len(where) and pdfs:
            first, last = where[0], where[-1] + 1
            spread = (np.arange(last - first) * len(pdfs)) // (last - first)
            labels[first:last] = np.array(pdfs)[spread]
        target[b, torch.arange(frames), torch.as_tensor(labels)] = 1.0
    return target.to(loudness.device)


def guided(scores: torch.Tensor, loudness: torch.Tensor) -> torch.Tensor:
    """Scores with silence made unlikely where the voice is loud, and speech where there is none.

    The augmenter knows where the clean voice sounds, so alignments may use it. Left alone, the sums
    over all paths soon let the first and last unit of a word swallow the silence around it.
    """
    _, frames, outputs = scores.shape
    silence = torch.zeros(outputs, device=scores.device)
    silence[units.PDF[units.SIL]] = 1.0
    voiced = loudness > -7.0  # nepers of power: 30 dB
    time = torch.arange(frames, device=scores.device)
    first = torch.where(voiced, time, frames).amin(dim=1, keepdim=True)
    last = torch.where(voiced, time, -1).amax(dim=1, keepdim=True)
    absent = (time < first - 1) | (time > last + 1) | (loudness < -40.0)
    loud = loudness > -2.5
    return (
        scores
        - 4.0 * loud.float()[..., None] * silence
        - 8.0 * absent.float()[..., None] * (1 - silence)
    )
