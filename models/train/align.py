"""Aligns every clip with its transcript and says how far a trained network believes it.

``python align.py --network run/network.pt --pack pack/ --out alignments.tsv``

One line for each clip: the frames (10 ms) at which each word begins, and the log probability of the
transcript among everything the word loop allows. Clips far below zero are mislabelled, empty or
unintelligible; ``train.py --drop alignments.tsv`` leaves out those under its ``--doubt``. (Training
finds its own alignments as it goes; this stage is for looking at them and for cleaning the corpus.)
"""

from __future__ import annotations

import argparse
import os
from pathlib import Path

import corpus
import export
import fullsum
import mdl
import objective
import torch
import units
from augment import Planner, Renderer, Store
from network import SUBSAMPLING, pad

MOST_FRAMES = 300
BATCH = 256


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--network", type=Path, required=True, help="network.pt, or a model folder")
    parser.add_argument("--pack", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    clips, waves = corpus.unpack(args.pack, os.cpu_count() or 1)
    store = Store.build(clips, waves, device)
    network = mdl.read(args.network) if args.network.is_dir() else export.load(args.network)
    network = network.to(device)
    planner, renderer = Planner(store, 1, strength=0.0), Renderer(store, device)
    chains = units.chains(network.output.out_channels)
    loop = fullsum.shared(fullsum.loop_acceptor(chains), device)
    order = sorted(range(len(clips)), key=lambda i: int(store.length[i]))
    with args.out.open("w") as out, torch.no_grad():
        print("clip\tspeaker\twords\tlog_probability\tstarts", file=out)
        for at in range(0, len(order), BATCH):
            group = order[at : at + BATCH]
            frames = min(MOST_FRAMES, int(store.length[group[-1]]) // 160 + 15)
            plan = planner.plan([[i] for i in group], frames)
            scores, _ = network(pad(renderer.plain(plan), network.shape))
            said = fullsum.batched(
                fullsum.stack([objective.transcript(w, chains) for w in plan.words]), device
            )
            path, occupancy = fullsum.posteriors(scores, said)
            rivals, _ = fullsum.posteriors(scores, loop)
            best = occupancy.argmax(dim=2).tolist()
            for i, words, p, row in zip(
                group, plan.words, (path - rivals).tolist(), best, strict=True
            ):
                starts = word_starts(words, row)
                print(
                    i,
                    clips[i].speaker,
                    " ".join(words),
                    f"{p:.2f}",
                    " ".join(str(s * SUBSAMPLING) for s in starts),
                    sep="\t",
                    file=out,
                )


def word_starts(words: tuple[str, ...], row: list[int]) -> list[int]:
    """First output frame of each word's first unit, in order."""
    starts, here = [], 0
    for word in words:
        chains = (units.PRONUNCIATIONS[word],) if word in units.NUMBER_WORDS else units.UNK_CHAINS
        firsts = {units.PDF[chain[0]] for chain in chains}
        while here < len(row) and row[here] not in firsts:
            here += 1
        starts.append(here)
        here += 1
    return starts


if __name__ == "__main__":
    main()
