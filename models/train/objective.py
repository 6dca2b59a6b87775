"""Prefetched batches and the three objectives of training, shared by the align and train stages."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

import fullsum
import numpy as np
import torch
import units
from augment import Plan, Planner, Sampler, Store, Tempo
from features import FRAME_SHIFT
from network import SUBSAMPLING
from torch.utils.data import DataLoader, IterableDataset


@dataclass(frozen=True)
class Size:
    """The fixed shape of a batch: utterances, frames (10 ms), and states of a transcript at most.

    A few sizes serve all utterances, so that a training step can be recorded once for each.
    """

    count: int
    frames: int
    states: int


def sizes(batch: int) -> tuple[Size, ...]:
    """Short, middle and long utterances; ``batch``: of the middle size."""
    return (
        Size(batch * 3 // 2, 84, 48),
        Size(batch, 132, 80),
        Size(batch // 2, 240, 144),
    )


@dataclass(frozen=True)
class Batch:
    """Utterances of one size, in the compact form in which they go from a planning process to the
    device.

    ``units`` (B, states) holds the outputs that each utterance runs through, ``lengths`` (B,) how
    many; 0 where only silence is said.
    """

    size: Size
    plan: Plan
    said: fullsum.Sparse
    units: torch.Tensor
    lengths: torch.Tensor

    def pin_memory(self) -> Batch:
        """The same in memory that the device reads while the program goes on."""
        plan, said = self.plan, self.said
        return Batch(
            self.size,
            replace(
                plan,
                position=plan.position.pin_memory(),
                low=plan.low.pin_memory(),
                high=plan.high.pin_memory(),
                throat=plan.throat.pin_memory(),
            ),
            fullsum.Sparse(
                *(
                    tuple(x.pin_memory() for x in rows)
                    for rows in (said.arcs, said.start, said.end)
                ),
                said.pdf.pin_memory(),
            ),
            self.units.pin_memory(),
            self.lengths.pin_memory(),
        )


@lru_cache(maxsize=20_000)
def transcript(words: tuple[str, ...], chains: int) -> fullsum.Acceptor:
    return fullsum.transcript_acceptor(words, chains)


@lru_cache(maxsize=20_000)
def outputs(words: tuple[str, ...], chains: tuple[int, ...]) -> tuple[int, ...]:
    """The outputs of the words' units in order; other speech follows the chain given for it."""
    rows = (
        units.UNK_CHAINS[chain] if word == units.UNK else units.PRONUNCIATIONS[word]
        for word, chain in zip(words, chains, strict=True)
        if word != "[noise]"
    )
    return tuple(units.PDF[unit] for row in rows for unit in row)


class _Batches(IterableDataset):
    """Utterances are drawn one by one; as soon as a size has enough of them they are a batch."""

    #: frames added to an utterance, so that it has room to move
    SPARE = (0, 2, 5, 10, 20, 40)

    def __init__(self, store: Store, batch: int, chains: int, seed: int) -> None:
        # the wave itself stays behind: workers only plan
        bare = torch.empty(0)
        self.store = Store(bare, store.start, store.length, store.chain % chains, store.clips)
        self.sizes = sizes(batch)
        self.chains, self.seed = chains, seed

    def __iter__(self) -> Iterator[Batch]:
        info = torch.utils.data.get_worker_info()
        seed = self.seed * 1000 + (info.id if info else 0)
        rng = np.random.default_rng(seed)
        sampler = Sampler(self.store, rng)
        planner = Planner(self.store, seed + 500)
        waiting: dict[Size, list[tuple[list[int], Tempo]]] = {size: [] for size in self.sizes}
        while True:
            item, tempo = sampler.item(), planner.tempo()
            size = self._size(item, tempo.rate, rng)
            if size is None:
                continue
            waiting[size].append((item, tempo))
            if len(waiting[size]) == size.count:
                items, tempos = zip(*waiting[size], strict=True)
                waiting[size] = []
                yield self._batch(size, planner.plan(list(items), size.frames, tempos))

    def _size(self, item: list[int], rate: float, rng: np.random.Generator) -> Size | None:
        """The smallest size that holds the utterance; None: none does."""
        store = self.store
        words = tuple(word for i in item for word in store.clips[i].words)
        frames = sum(store.length[i] for i in item) / FRAME_SHIFT / rate
        frames += 14 * (len(item) - 1)
        longest = self.sizes[-1].frames
        if all(word == units.UNK for word in words):
            # other speech is cut to fit, and noise alone may be of any length
            frames = min(frames or longest, rng.uniform(30, 150))
        frames = min(frames + 2 + rng.choice(self.SPARE), longest)
        states = len(transcript(words, self.chains).pdf)
        fitting = (s for s in self.sizes if frames <= s.frames and states <= s.states)
        return next(fitting, None)

    def _batch(self, size: Size, plan: Plan) -> Batch:
        rows = [outputs(w, c) for w, c in zip(plan.words, plan.chains, strict=True)]
        padded = np.zeros((size.count, size.states), dtype=np.int64)
        for b, row in enumerate(rows):
            padded[b, : len(row)] = row
        said = fullsum.stack([transcript(w, self.chains) for w in plan.words], size.states)
        lengths = torch.tensor([len(row) for row in rows])
        return Batch(size, plan, said, torch.from_numpy(padded), lengths)


def batches(store: Store, batch: int, chains: int, seed: int, workers: int) -> Iterator[Batch]:
    source = _Batches(store, batch, chains, seed)
    options = {"prefetch_factor": 4, "persistent_workers": True} if workers else {}
    pinned = torch.cuda.is_available()
    return iter(
        DataLoader(source, batch_size=None, num_workers=workers, pin_memory=pinned, **options)
    )


def subsampled(loudness: torch.Tensor) -> torch.Tensor:
    """Loudness (B, T) at the network's output frames (B, ceil(T / 3))."""
    return loudness[:, ::SUBSAMPLING]


def linear_targets(
    loudness: torch.Tensor, said: torch.Tensor, lengths: torch.Tensor, outputs: int
) -> torch.Tensor:
    """First guess, (B, T, P): the outputs said share the loud span evenly.

    ``said`` (B, S) and ``lengths`` (B,): the outputs in order, as in a batch.
    """
    first, last = _span(loudness > -6.0)
    time = torch.arange(loudness.shape[1], device=loudness.device)
    place = (time - first) * lengths[:, None] // (last + 1 - first).clamp_min(1)
    label = said.gather(1, place.clamp(0, said.shape[1] - 1))
    inside = (time >= first) & (time <= last) & (lengths[:, None] > 0)
    label = torch.where(inside, label, units.PDF[units.SIL])
    count, frames = label.shape
    target = torch.zeros(count, frames, outputs, device=label.device)
    return target.scatter_(2, label[..., None], 1.0)


def _span(true: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """First and last place (B, 1) of each row (B, T) that is true; T and -1 for none."""
    frames = true.shape[1]
    time = torch.arange(frames, device=true.device)
    first = torch.where(true, time, frames).amin(dim=1, keepdim=True)
    last = torch.where(true, time, -1).amax(dim=1, keepdim=True)
    return first, last


def guided(scores: torch.Tensor, loudness: torch.Tensor) -> torch.Tensor:
    """Scores with silence made unlikely where the voice is loud, and speech where there is none.

    The augmenter knows where the clean voice sounds, so alignments may use it. Left alone, the sums
    over all paths soon let the first and last unit of a word swallow the silence around it.
    """
    _, frames, outputs = scores.shape
    time = torch.arange(frames, device=scores.device)
    silence = (torch.arange(outputs, device=scores.device) == units.PDF[units.SIL]).float()
    first, last = _span(loudness > -7.0)  # nepers of power: 30 dB
    absent = (time < first - 1) | (time > last + 1) | (loudness < -40.0)
    loud = loudness > -2.5
    return (
        scores
        - 4.0 * loud.float()[..., None] * silence
        - 8.0 * absent.float()[..., None] * (1 - silence)
    )
