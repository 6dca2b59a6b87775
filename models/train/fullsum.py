"""Sums over all paths of small acceptors: the numerator and denominator of MMI training.

An acceptor is dense: S states that each emit one network output a frame, a matrix of log transition
weights, log weights to start and to end. Tens to a few hundred states, so a batch is one small
matrix product a frame; in float64 with a scale a frame nothing under- or overflows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import torch
import units

NEVER = -1e30


@dataclass(frozen=True)
class Acceptor:
    """Log weights: arcs (S, S) from row to column, start (S,), end (S,); pdf (S,) int64."""

    arcs: np.ndarray
    start: np.ndarray
    end: np.ndarray
    pdf: np.ndarray

    @cached_property
    def sparse(self) -> tuple[tuple[np.ndarray, ...], ...]:
        """Only what exists: (from, to, log weight) of arcs, (state, log weight) of starts and
        ends."""
        source, target = np.nonzero(self.arcs > NEVER)
        (first,), (last,) = np.nonzero(self.start > NEVER), np.nonzero(self.end > NEVER)
        return (
            (source, target, self.arcs[source, target]),
            (first, self.start[first]),
            (last, self.end[last]),
        )


class _Builder:
    def __init__(self) -> None:
        self.pdf: list[int] = []
        self.arcs: list[tuple[int, int, float]] = []
        self.starts: list[tuple[int, float]] = []
        self.ends: list[tuple[int, float]] = []

    def state(self, unit: str) -> int:
        self.pdf.append(units.PDF[unit])
        index = len(self.pdf) - 1
        self.arcs.append((index, index, 0.0))
        return index

    def chain(self, chain_units: tuple[str, ...]) -> tuple[int, int]:
        states = [self.state(u) for u in chain_units]
        for a, b in pairwise(states):
            self.arcs.append((a, b, 0.0))
        return states[0], states[-1]

    def build(self) -> Acceptor:
        size = len(self.pdf)
        arcs = np.full((size, size), NEVER)
        start = np.full(size, NEVER)
        end = np.full(size, NEVER)
        for a, b, w in self.arcs:
            arcs[a, b] = np.logaddexp(arcs[a, b], w)
        for s, w in self.starts:
            start[s] = np.logaddexp(start[s], w)
        for s, w in self.ends:
            end[s] = np.logaddexp(end[s], w)
        return Acceptor(arcs, start, end, np.array(self.pdf, dtype=np.int64))


#: natural-log costs of a word and of a stretch of other speech, the same in both acceptors, so that
#: a transcript can never be more likely than all that could have been said
WORD_COST = 3.6
UNK_COST = 2.0
#: extra where no number continues like this, only in the loop of all words
ODD_COST = 3.0


def transcript_acceptor(words: tuple[str, ...], unk_chains: int = 1) -> Acceptor:
    """All ways to say these words: silence may stand before, between and after them.

    ``[unk]`` is one or more stretches of other speech, ``[noise]`` silence or other speech; other
    speech is any of the first ``unk_chains`` chains of units.
    """
    b = _Builder()
    # ``open_ends`` are states from which the next piece may follow; None stands for the start
    silence = b.state(units.SIL)
    b.starts.append((silence, 0.0))
    open_ends: list[int | None] = [None, silence]
    for word in words:
        unknown = word in (units.UNK, "[noise]")
        chains = units.UNK_CHAINS[:unk_chains] if unknown else [units.PRONUNCIATIONS[word]]
        cost = UNK_COST + math.log(len(chains)) if unknown else WORD_COST
        spans = [b.chain(chain) for chain in chains]
        silence = b.state(units.SIL)
        for first, last in spans:
            for source in open_ends:
                if source is None:
                    b.starts.append((first, -cost))
                else:
                    b.arcs.append((source, first, -cost))
            b.arcs.append((last, silence, 0.0))
            if unknown:
                b.arcs.append((silence, first, -cost))
        skipped = open_ends if word == "[noise]" else []
        for source in skipped:
            if source is None:
                b.starts.append((silence, 0.0))
            else:
                b.arcs.append((source, silence, 0.0))
        open_ends = [*(last for _, last in spans), silence]
    for source in open_ends:
        if source is not None:
            b.ends.append((source, 0.0))
    return b.build()


def _may_follow(first: str, second: str) -> bool:
    digits = {*units.DIGITS, "oh", "nought"}
    if second in ("hundred", "thousand"):
        return first in digits or first == "a"
    if first in ("hundred", "thousand"):
        return second not in ("hundred", "thousand", "a", "minus")
    if first in units.TENS:
        return second in digits
    return first in digits and second in digits


def loop_acceptor(unk_chains: int = 1) -> Acceptor:
    """Any sequence of words, the competition of MMI training.

    Other speech follows itself only after silence.
    """
    b = _Builder()
    silence = b.state(units.SIL)
    b.starts.append((silence, 0.0))
    b.ends.append((silence, 0.0))
    unk_cost = UNK_COST + math.log(unk_chains)
    spans = [(w, b.chain(p)) for w, p in units.PRONUNCIATIONS.items() if w != units.UNK]
    spans += [(units.UNK, b.chain(chain)) for chain in units.UNK_CHAINS[:unk_chains]]
    for word, (first, last) in spans:
        cost = unk_cost if word == units.UNK else WORD_COST
        b.starts.append((first, -cost))
        b.arcs.append((silence, first, -cost))
        b.arcs.append((last, silence, 0.0))
        b.ends.append((last, 0.0))
        for other, (other_first, _) in spans:
            if word == other == units.UNK:
                continue
            entry = unk_cost if other == units.UNK else WORD_COST
            odd = 0.0 if units.UNK in (word, other) or _may_follow(word, other) else ODD_COST
            b.arcs.append((last, other_first, -entry - odd))
    return b.build()


@dataclass(frozen=True)
class Sparse:
    """Transcripts of a batch as positions and probabilities of what exists.

    Positions of ``arcs`` index a flat (B, S, S), those of ``start`` and ``end`` a flat (B, S);
    ``pdf`` is (B, S). Small enough to travel from a planning process to the device.
    """

    arcs: tuple[torch.Tensor, torch.Tensor]
    start: tuple[torch.Tensor, torch.Tensor]
    end: tuple[torch.Tensor, torch.Tensor]
    pdf: torch.Tensor


def stack(acceptors: list[Acceptor], size: int | None = None) -> Sparse:
    """A batch of acceptors with room for ``size`` states each, or for the largest."""
    size = size or -(-max(len(a.pdf) for a in acceptors) // 16) * 16
    pdf = np.zeros((len(acceptors), size), dtype=np.int64)
    arcs, start, end = [], [], []
    for b, a in enumerate(acceptors):
        pdf[b, : len(a.pdf)] = a.pdf
        (source, target, weights), starts, ends = a.sparse
        arcs.append(((b * size + source) * size + target, weights))
        for rows, (states, weights) in ((start, starts), (end, ends)):
            rows.append((b * size + states, weights))

    def flat(rows: list[tuple[np.ndarray, np.ndarray]]) -> tuple[torch.Tensor, torch.Tensor]:
        where, weights = (np.concatenate(column) for column in zip(*rows, strict=True))
        return torch.from_numpy(where), torch.from_numpy(np.exp(weights))

    return Sparse(flat(arcs), flat(start), flat(end), torch.from_numpy(pdf))


@dataclass(frozen=True)
class Machine:
    """An acceptor as tensors of probabilities; without a batch dimension it is shared by all."""

    arcs: torch.Tensor
    start: torch.Tensor
    end: torch.Tensor
    pdf: torch.Tensor


def shared(acceptor: Acceptor, device: torch.device) -> Machine:
    def tensor(x: np.ndarray) -> torch.Tensor:
        return torch.as_tensor(np.exp(x), device=device, dtype=torch.float64)

    return Machine(
        tensor(acceptor.arcs), tensor(acceptor.start), tensor(acceptor.end),
        torch.as_tensor(acceptor.pdf, device=device),
    )  # fmt: skip


def empty(count: int, size: int, device: torch.device) -> Machine:
    """Room for ``count`` acceptors of ``size`` states, for ``fill``."""
    return Machine(
        torch.zeros(count, size, size, device=device, dtype=torch.float64),
        torch.zeros(count, size, device=device, dtype=torch.float64),
        torch.zeros(count, size, device=device, dtype=torch.float64),
        torch.zeros(count, size, device=device, dtype=torch.int64),
    )


def fill(machine: Machine, sparse: Sparse) -> None:
    """Puts the transcripts of a batch of the same shape into ``machine``, in place."""
    machine.pdf.copy_(sparse.pdf, non_blocking=True)
    for dense, rows in (
        (machine.arcs, sparse.arcs), (machine.start, sparse.start), (machine.end, sparse.end),
    ):  # fmt: skip
        where, weights = (x.to(dense.device, non_blocking=True) for x in rows)
        dense.zero_().view(-1)[where] = weights


def batched(sparse: Sparse, device: torch.device) -> Machine:
    count, size = sparse.pdf.shape
    machine = empty(count, size, device)
    fill(machine, sparse)
    return machine


#: frames between rescalings; float64 spans e^-700, so 87 nats a frame may be lost
RESCALE = 8


@torch.no_grad()
def posteriors(scores: torch.Tensor, machine: Machine) -> tuple[torch.Tensor, torch.Tensor]:
    """Log of the sum over paths (B,), and the posterior of each output a frame (B, T, P)."""
    batch, frames, outputs = scores.shape
    size = machine.pdf.shape[-1]
    pdf = machine.pdf.expand(batch, size)
    index = pdf[:, None, :].expand(batch, frames, size)
    own = scores.gather(2, index).double()
    peak = own.amax(dim=2, keepdim=True)
    emit = (own - peak).clamp_min(-80.0).exp_().transpose(0, 1).contiguous()  # (T, B, S)
    alone = machine.arcs.ndim == 2
    backward_arcs = machine.arcs.transpose(-1, -2).contiguous()

    def step(vector: torch.Tensor, arcs: torch.Tensor, out: torch.Tensor) -> None:
        if alone:
            torch.mm(vector, arcs, out=out)
        else:
            torch.bmm(vector[:, None], arcs, out=out[:, None])

    total = peak[:, :, 0].sum(dim=1)
    forward = torch.empty_like(emit)
    torch.mul(machine.start.expand(batch, size), emit[0], out=forward[0])
    for t in range(1, frames):
        if t % RESCALE == 0:
            scale = forward[t - 1].sum(dim=1, keepdim=True).clamp_min_(1e-290)
            forward[t - 1].div_(scale)
            total = total + scale[:, 0].log()
        step(forward[t - 1], machine.arcs, forward[t])
        forward[t].mul_(emit[t])
    backward = torch.empty_like(emit)
    backward[-1] = machine.end
    for t in range(frames - 2, -1, -1):
        if t % RESCALE == 0:
            scale = backward[t + 1].sum(dim=1, keepdim=True).clamp_min_(1e-290)
            backward[t + 1].div_(scale)
        step(backward[t + 1] * emit[t + 1], backward_arcs, backward[t])
    total = total + (forward[-1] * machine.end).sum(dim=1).clamp_min(1e-290).log()
    gamma = forward.mul_(backward)
    gamma = gamma.div_(gamma.sum(dim=2, keepdim=True).clamp_min_(1e-290))
    out = torch.zeros(batch, frames, outputs, device=scores.device)
    out.scatter_add_(2, index, gamma.transpose(0, 1).float())
    return total, out
