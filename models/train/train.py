"""Trains the network: first guesses, alignment by expectation maximisation, then lattice-free MMI.

``python train.py --pack pack/ --out run/`` on a GPU or a CPU. Three phases, shares of ``--steps``:

1. cross-entropy against an even split of each word's units over its loud span (3 %),
2. cross-entropy against the network's own full-sum alignment of the transcript (9 %), with half
   the augmentation,
3. MMI: the transcript's paths against those of the free word loop, plus 0.2 cross-entropy.

The saved weights are an exponential average over the last steps with batch-norm statistics
measured afresh. ``--hold-out`` keeps whole speakers away from training and measures on them at the
end only: no checkpoint is ever chosen by them.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import os
import time
from dataclasses import asdict
from pathlib import Path

import corpus
import fullsum
import objective
import torch
import units
from augment import Planner, Renderer, Store
from network import Network, Shape, pad

#: shares of the run at whose end the first and the second phase close
GUESSED, ALIGNED = 0.03, 0.12


#: of the augmentation in turn: most answers are spoken plainly, some from the back of a full class
STRENGTHS = (0.3, 1.0, 0.6)


def learning_rate(progress: float, peak: float) -> float:
    warm = 0.03
    if progress < warm:
        return peak * progress / warm
    x = (progress - warm) / (1 - warm)
    return peak * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(x, 1.0))))


@torch.no_grad()
def word_accuracy(
    network: Network, store: Store, members: list[int], device: torch.device
) -> dict[str, tuple[int, int]]:
    """Single-word clips as they are, each against every single word: (right, all) by speaker."""
    network.eval()
    choices = [(w,) for w in units.PRONUNCIATIONS]
    machines = [fullsum.shared(objective.transcript(w), device) for w in choices]
    planner = Planner(store, 1, strength=0.0)
    renderer = Renderer(store, device, 1, strength=0.0)
    result: dict[str, tuple[int, int]] = {}
    members = [i for i in members if len(store.clips[i].words) == 1 and store.length[i] < 24000]
    for at in range(0, len(members), 256):
        group = members[at : at + 256]
        plan = planner.plan([[i] for i in group], 170)
        scores, _ = network(pad(renderer.plain(plan), network.shape))
        sums = torch.stack([fullsum.posteriors(scores, m)[0] for m in machines], dim=1)
        best = sums.argmax(dim=1).tolist()
        for i, choice in zip(group, best, strict=True):
            clip = store.clips[i]
            name = clip.speaker if clip.source in corpus.HUMAN_SOURCES else clip.source
            name = f"{name} {clip.kind}"
            right, total = result.get(name, (0, 0))
            ok = choices[choice] == clip.words
            result[name] = (right + ok, total + 1)
    return result


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pack", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=6000)
    parser.add_argument("--max-seconds", type=float, default=1e9)
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--peak", type=float, default=2e-3)
    parser.add_argument("--human-share", type=float, default=0.35)
    parser.add_argument("--hold-out", default="", help="speakers, separated by commas")
    parser.add_argument("--start", type=Path, help="a network.pt to go on from, with MMI only")
    parser.add_argument("--drop", type=Path, help="alignments.tsv of the same packs")
    parser.add_argument("--doubt", type=float, default=-8.0)
    parser.add_argument("--keep-dev", action="store_true", help="train on split dev too")
    parser.add_argument("--width", type=int, default=256)
    parser.add_argument("--bottleneck", type=int, default=128)
    parser.add_argument("--filters", default="32,64,96")
    parser.add_argument("--dropout", type=float, default=0.1)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 2))
    parser.add_argument("--seed", type=int, default=7)
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    began = time.monotonic()
    args.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    clips, waves = corpus.unpack(args.pack, os.cpu_count() or 2)
    if args.drop:
        rows = [r.split("\t") for r in args.drop.read_text().splitlines()[1:]]
        doubted = {int(r[0]) for r in rows if float(r[3]) < args.doubt}
        print(f"{len(doubted)} doubtful clips left out")
        clips, waves = ([x for i, x in enumerate(xs) if i not in doubted] for xs in (clips, waves))
    held = set(args.hold_out.split(",")) - {""}
    train_at = [
        i for i, c in enumerate(clips)
        if c.speaker not in held and (args.keep_dev or c.split != "dev")
    ]  # fmt: skip
    chosen = set(train_at)
    dev_at = [i for i in range(len(clips)) if i not in chosen]
    store = Store.build([clips[i] for i in train_at], [waves[i] for i in train_at], device)
    print(
        f"{len(train_at)} clips of {len({clips[i].speaker for i in train_at})} speakers, "
        f"{len(dev_at)} held out, read in {time.monotonic() - began:.0f} s",
        flush=True,
    )
    shape = Shape(
        filters=tuple(int(f) for f in args.filters.split(",")),  # type: ignore[arg-type]
        width=args.width, bottleneck=args.bottleneck,
    )  # fmt: skip
    network = Network(len(units.UNITS), shape, args.dropout)
    print(f"{sum(p.numel() for p in network.parameters())} parameters", flush=True)
    network = network.to(device)
    average = copy.deepcopy(network)
    decayed = [p for p in network.parameters() if p.ndim > 1]
    others = [p for p in network.parameters() if p.ndim <= 1]
    optimizer = torch.optim.AdamW(
        [{"params": decayed, "weight_decay": 0.02}, {"params": others, "weight_decay": 0.0}],
        lr=args.peak, betas=(0.9, 0.98), fused=device.type == "cuda",
    )  # fmt: skip
    loop = fullsum.shared(fullsum.loop_acceptor(), device)
    renderer = Renderer(store, device, args.seed)
    source = objective.batches(store, args.batch, args.human_share, 1.0, args.seed, args.workers)
    if args.start:
        network.load_state_dict(torch.load(args.start, weights_only=True)["state"])
        average.load_state_dict(network.state_dict())
    else:
        plan, _ = next(source)
        log_mel, _ = renderer.render(plan)
        network.mean.copy_(log_mel.mean(dim=(0, 1)))
        network.scale.copy_(1.0 / log_mel.std(dim=(0, 1)))
    torch.backends.cudnn.benchmark = True
    prior = torch.zeros(len(units.UNITS), device=device)
    began = time.monotonic()
    step, running = 0, {k: torch.zeros((), device=device) for k in ("mmi", "ce")}
    trained = 0
    while True:
        progress = max(step / args.steps, (time.monotonic() - began) / args.max_seconds)
        if progress >= 1.0:
            break
        for group in optimizer.param_groups:
            group["lr"] = learning_rate(progress, args.peak)
        phase = 1.0 if args.start else progress
        plan, acceptor = next(source)
        renderer.strength = 0.5 if phase < ALIGNED else STRENGTHS[step % len(STRENGTHS)]
        log_mel, loudness = renderer.render(plan)
        loudness = objective.subsampled(loudness)
        network.train()
        with torch.autocast(device.type, dtype=torch.bfloat16):
            scores, scores_ce = network(pad(log_mel, shape))
        log_p = scores_ce.log_softmax(dim=2)
        frames = scores.shape[1]
        said = fullsum.batched(acceptor, device)
        if phase < GUESSED:
            target = objective.linear_targets(loudness, plan.words, len(units.UNITS))
            loss = -(target * log_p).sum(dim=2).mean()
            running["ce"] += loss.detach()
        elif phase < ALIGNED:
            aligned = objective.guided(log_p.detach() - 0.7 * prior, loudness)
            _, target = fullsum.posteriors(aligned, said)
            loss = -(target * log_p).sum(dim=2).mean()
            running["ce"] += loss.detach()
        else:
            fixed = scores.detach()
            path, target = fullsum.posteriors(objective.guided(fixed, loudness), said)
            rivals, competing = fullsum.posteriors(fixed, loop)
            # the gradient of MMI is the difference of the two posteriors
            mmi = (scores * (competing - target)).sum(dim=2).mean()
            ce = -(target * log_p).sum(dim=2).mean()
            loss = mmi + 0.2 * ce + 2e-4 * scores.square().mean()
            running["mmi"] += (rivals - path).mean() / frames
            running["ce"] += ce.detach()
        if phase < ALIGNED:
            prior_now = log_p.detach().exp().mean(dim=(0, 1))
            prior = (0.98 * prior.exp() + 0.02 * prior_now).log() if step else prior_now.log()
            # the MMI output starts as the aligned posteriors over the prior
            warm = scores - (log_p.detach() - 0.7 * prior)
            loss = loss + 0.02 * warm.square().mean()
        optimizer.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        optimizer.step()
        trained += len(plan.words)
        decay = min(0.999, (1 + step) / (10 + step))
        with torch.no_grad():
            torch._foreach_lerp_(list(average.parameters()), list(network.parameters()), 1 - decay)
        step += 1
        if step % 100 == 0:
            done = ", ".join(f"{k} {v.item() / 100:.4f}" for k, v in running.items())
            print(
                f"step {step} ({100 * progress:.0f} %): {done}; {trained} utterances, "
                f"{time.monotonic() - began:.0f} s",
                flush=True,
            )
            running = {k: torch.zeros((), device=device) for k in running}
    average.mean.copy_(network.mean)
    average.scale.copy_(network.scale)
    average.train()
    for module in average.modules():
        if isinstance(module, torch.nn.modules.batchnorm._BatchNorm):
            module.reset_running_stats()
            module.momentum = None
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    with torch.no_grad():
        for _ in range(60 if device.type == "cuda" else 12):
            plan, _ = next(source)
            average(pad(renderer.render(plan)[0], shape))
    average.eval()
    torch.save(
        {"state": average.cpu().state_dict(), "shape": asdict(shape), "units": units.UNITS},
        args.out / "network.pt",
    )
    average.to(device)
    dev = Store.build([clips[i] for i in dev_at], [waves[i] for i in dev_at], device)
    report = word_accuracy(average, dev, list(range(len(dev_at))), device) if dev_at else {}
    for speaker, (right, total) in sorted(report.items()):
        print(f"held out {speaker}: {right}/{total} = {100 * right / total:.1f} %")
    right, total = (sum(v[k] for v in report.values()) for k in (0, 1))
    print(f"held out, all: {right}/{total}")
    (args.out / "train.json").write_text(
        json.dumps({"steps": step, "utterances": trained, "held_out": sorted(held)}, indent=1)
    )


if __name__ == "__main__":
    main()
