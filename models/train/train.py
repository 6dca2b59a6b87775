"""Trains the network: first guesses, alignment by expectation maximisation, then lattice-free MMI.

``python train.py --pack pack/ --out run/`` on a GPU or a CPU. Three phases, shares of the run:

1. cross-entropy against an even split of each word's units over its loud span (1 %),
2. cross-entropy against the network's own full-sum alignment of the transcript (7 %), with half
   the augmentation,
3. MMI: the transcript's paths against those of the free word loop, plus 0.2 cross-entropy.

The saved weights are an exponential average over the last steps with batch-norm statistics
measured afresh. ``--hold-out`` keeps whole speakers away from training and measures on them at the
end only: no checkpoint is ever chosen by them.

With ``--teacher``, a model folder, what is trained also learns to score each frame as that network
does, which hears the same sound (`TAUGHT`); a narrower one (`narrow.py`) learns so what a wider one
knows.

``--total-seconds`` is the length of the whole run and ``--max-seconds`` that of this call: a run of
several calls goes on where the last one stopped, from the checkpoint in ``--out``; the call that
reaches the end saves the network. On a GPU each training step is recorded once for each size of
batch and replayed (``--no-record`` does without); ``--profile`` says where the time goes.
"""

from __future__ import annotations

import argparse
import copy
import json
import math
import os
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path

import corpus
import fullsum
import mdl
import numpy as np
import objective
import sounds
import torch
import units
from augment import Planner, Renderer, Store
from network import Network, Shape, pad
from objective import Batch, Size

#: shares of the run at whose end the first and the second phase close
GUESSED, ALIGNED = 0.01, 0.08
GUESS, ALIGN, MMI = "guess", "align", "mmi"
#: sounds made from parameters, beside the clips
MADE = 1400
#: of the average over steps
DECAY = 0.9995
#: weight of learning from a teacher, and what scores are divided by before they are compared, so
#: that outputs other than the likeliest count as well
TAUGHT, SOFTENED = 1.0, 2.0
#: from which the norms of a network read back are measured
NORM_BATCHES = 12


def learning_rate(progress: float, peak: float) -> float:
    warm = 0.02
    if progress < warm:
        return peak * max(progress, 1e-4) / warm
    x = (progress - warm) / (1 - warm)
    return peak * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(x, 1.0))))


def phase_at(progress: float) -> str:
    return GUESS if progress < GUESSED else ALIGN if progress < ALIGNED else MMI


class Stopwatch:
    """Seconds spent between marks, by name, waiting for the device at each; or nothing at all."""

    def __init__(self, device: torch.device, on: bool) -> None:
        self.device, self.on = device, on
        self.spent: dict[str, float] = {}
        self.last = time.perf_counter()

    def mark(self, name: str) -> None:
        if not self.on:
            return
        if self.device.type == "cuda":
            torch.cuda.synchronize()
        now = time.perf_counter()
        self.spent[name] = self.spent.get(name, 0.0) + now - self.last
        self.last = now

    def report(self, steps: int) -> str:
        whole = sum(self.spent.values())
        rows = (f"{k} {1000 * v / steps:.1f} ms" for k, v in self.spent.items())
        return f"{1000 * whole / steps:.1f} ms a step: " + ", ".join(rows)


class Inputs:
    """A batch on the device, always in the same place."""

    def __init__(self, size: Size, device: torch.device) -> None:
        def whole(*shape: int) -> torch.Tensor:
            return torch.zeros(*shape, dtype=torch.int64, device=device)

        self.position = whole(size.count, size.frames)
        self.low, self.high = torch.zeros_like(self.position), torch.zeros_like(self.position)
        self.throat = torch.zeros(size.count, device=device)
        self.units, self.lengths = whole(size.count, size.states), whole(size.count)
        self.said = fullsum.empty(size.count, size.states, device)

    def load(self, batch: Batch) -> None:
        for own, new in (
            (self.position, batch.plan.position), (self.low, batch.plan.low),
            (self.high, batch.plan.high), (self.throat, batch.plan.throat),
            (self.units, batch.units), (self.lengths, batch.lengths),
        ):  # fmt: skip
            own.copy_(new, non_blocking=True)
        fullsum.fill(self.said, batch.said)


class Trainer:
    """The network in training. Nothing in ``step`` waits for the device or looks at a value."""

    def __init__(
        self, network: Network, renderer: Renderer, device: torch.device, peak: float,
        teacher: Network | None = None,
    ) -> None:  # fmt: skip
        self.network, self.renderer, self.device = network, renderer, device
        self.teacher = teacher
        self.average = copy.deepcopy(network)
        self.outputs = network.output.out_channels
        chains = units.chains(self.outputs)
        self.loop = fullsum.shared(fullsum.loop_acceptor(chains), device)
        self.inputs: dict[Size, Inputs] = {}
        cuda = device.type == "cuda"
        decayed = [p for p in network.parameters() if p.ndim > 1]
        others = [p for p in network.parameters() if p.ndim <= 1]
        self.rate = torch.tensor(peak, device=device)
        self.optimizer = torch.optim.AdamW(
            [{"params": decayed, "weight_decay": 0.02}, {"params": others, "weight_decay": 0.0}],
            lr=self.rate if cuda else peak, betas=(0.9, 0.98), fused=cuda, capturable=cuda,
        )  # fmt: skip
        self.prior = torch.full((self.outputs,), -math.log(self.outputs), device=device)
        self.keep = torch.ones((), device=device)
        self.mmi, self.ce, self.gap = (torch.zeros((), device=device) for _ in range(3))
        self.watch = Stopwatch(device, on=False)
        self.recorded: dict[tuple[str, Size], torch.cuda.CUDAGraph] = {}
        self.runs: dict[tuple[str, Size], int] = {}

    def set(self, rate: float, keep: float, share: float) -> None:
        """Learning rate, what is kept of the average, share of the augmentation's strength."""
        self.rate.fill_(rate)
        if self.device.type != "cuda":
            for group in self.optimizer.param_groups:
                group["lr"] = rate
        self.keep.fill_(keep)
        self.renderer.share.fill_(share)

    def train(self, batch: Batch, phase: str, record: bool) -> None:
        """One step on a batch; recorded once it has run a few times, if so wanted."""
        if batch.size not in self.inputs:
            self.inputs[batch.size] = Inputs(batch.size, self.device)
        inputs = self.inputs[batch.size]
        inputs.load(batch)
        self.watch.mark("to the device")
        key = (phase, batch.size)
        if key in self.recorded:
            self.recorded[key].replay()
            self.watch.mark("replay")
            return
        runs = self.runs[key] = self.runs.get(key, 0) + 1
        if not record or runs <= 3:
            self.apart(lambda: self.step(inputs, phase), record)
            return
        recording = torch.cuda.CUDAGraph()
        pool = next(iter(self.recorded.values())).pool() if self.recorded else None
        torch.cuda.synchronize()
        # other threads of this process go on meanwhile: they pin the batches to come
        with torch.cuda.graph(recording, pool=pool, capture_error_mode="thread_local"):
            self.step(inputs, phase)
        self.recorded[key] = recording
        recording.replay()

    def apart(self, work: Callable[[], None], record: bool) -> None:
        """What is to be recorded later must first run beside the stream that records it."""
        if not record:
            work()
            return
        side = torch.cuda.Stream()
        side.wait_stream(torch.cuda.current_stream())
        with torch.cuda.stream(side):
            work()
        torch.cuda.current_stream().wait_stream(side)

    def step(self, inputs: Inputs, phase: str) -> None:
        watch, network = self.watch, self.network
        log_mel, loudness = self.renderer.render(
            inputs.position, inputs.low, inputs.high, inputs.throat
        )
        watch.mark("augmentation")
        loudness = objective.subsampled(loudness)
        network.train()
        with torch.autocast(self.device.type, dtype=torch.bfloat16, cache_enabled=False):
            scores, scores_ce = network(pad(log_mel, network.shape))
            taught = self._taught(log_mel, scores)
        log_p = scores_ce.log_softmax(dim=2)
        watch.mark("network")
        if phase == MMI:
            loss = self._mmi(scores, log_p, loudness, inputs) + TAUGHT * taught
        else:
            loss = self._cross_entropy(scores, log_p, loudness, inputs, phase)
        watch.mark("sums over paths")
        self.optimizer.zero_grad(set_to_none=True)
        loss.backward()
        watch.mark("backward")
        torch.nn.utils.clip_grad_norm_(network.parameters(), 1.0)
        self.optimizer.step()
        with torch.no_grad():
            average = list(self.average.parameters())
            ahead = torch._foreach_sub(list(network.parameters()), average)
            torch._foreach_mul_(ahead, 1 - self.keep)  # by a tensor: a number would be fixed
            torch._foreach_add_(average, ahead)
        watch.mark("update")

    def _taught(self, log_mel: torch.Tensor, scores: torch.Tensor) -> torch.Tensor:
        """How far the frames' scores are from the teacher's: divergence, mean over frames."""
        if self.teacher is None:
            return torch.zeros((), device=self.device)
        with torch.no_grad():
            wanted, _ = self.teacher(pad(log_mel, self.teacher.shape))
        known = (wanted / SOFTENED).log_softmax(dim=2)
        own = (scores / SOFTENED).log_softmax(dim=2)
        gap = (known.exp() * (known - own)).sum(dim=2).mean()
        self.gap += gap.detach()
        return gap

    def _cross_entropy(
        self, scores: torch.Tensor, log_p: torch.Tensor, loudness: torch.Tensor,
        inputs: Inputs, phase: str,
    ) -> torch.Tensor:  # fmt: skip
        known = log_p.detach()
        if phase == GUESS:
            target = objective.linear_targets(loudness, inputs.units, inputs.lengths, self.outputs)
        else:
            aligned = objective.guided(known - 0.7 * self.prior, loudness)
            _, target = fullsum.posteriors(aligned, inputs.said)
        loss = -(target * log_p).sum(dim=2).mean()
        self.ce += loss.detach()
        now = known.exp().mean(dim=(0, 1))
        self.prior.copy_((0.98 * self.prior.exp() + 0.02 * now).log())
        # the MMI output starts as the aligned posteriors over the prior
        warm = scores - (known - 0.7 * self.prior)
        return loss + 0.02 * warm.square().mean()

    def _mmi(
        self, scores: torch.Tensor, log_p: torch.Tensor, loudness: torch.Tensor, inputs: Inputs
    ) -> torch.Tensor:
        fixed = scores.detach()
        path, target = fullsum.posteriors(objective.guided(fixed, loudness), inputs.said)
        rivals, competing = fullsum.posteriors(fixed, self.loop)
        # a transcript too long for its utterance has no path, and teaches nothing
        possible = (target.sum(dim=(1, 2)) > 0.5).float()
        # the gradient of MMI is the difference of the two posteriors
        mmi = (scores * (competing - target)).sum(dim=2).mean(dim=1) * possible
        ce = -(target * log_p).sum(dim=2).mean()
        self.mmi += ((rivals - path) * possible).mean() / scores.shape[1]
        self.ce += ce.detach()
        return mmi.mean() + 0.2 * ce + 2e-4 * scores.square().mean()

    # ---- checkpoints: weights in full, their average and the optimiser's moments in half

    def save(self, folder: Path, where: dict[str, float]) -> None:
        """Two files of at most 6 bytes a weight, so that they pass narrow doors."""
        state = self.network.state_dict()
        average = dict(self.average.named_parameters())
        moments = {}
        for name, weight in self.network.named_parameters():
            kept = self.optimizer.state[weight]
            moments[name] = (
                (average[name] - weight).detach().bfloat16().cpu(),
                kept["exp_avg"].bfloat16().cpu(),
                kept["exp_avg_sq"].bfloat16().cpu(),
                float(kept["step"]),
            )
        torch.save(
            {"state": {k: v.cpu() for k, v in state.items()}, "prior": self.prior.cpu(), **where},
            folder / "weights.pt",
        )
        torch.save(moments, folder / "moments.pt")

    def resume(self, folder: Path) -> dict[str, float]:
        """Goes on from ``folder``; returns where the run was."""
        saved = torch.load(folder / "weights.pt", map_location=self.device, weights_only=True)
        moments = torch.load(folder / "moments.pt", map_location=self.device, weights_only=True)
        self.network.load_state_dict(saved["state"])
        self.average.load_state_dict(saved["state"])
        self.prior.copy_(saved["prior"])
        average = dict(self.average.named_parameters())
        for name, weight in self.network.named_parameters():
            ahead, first, second, steps = moments[name]
            with torch.no_grad():
                average[name].add_(ahead.float())
            at = self.device if self.device.type == "cuda" else torch.device("cpu")
            self.optimizer.state[weight] = {
                "step": torch.tensor(steps, device=at),
                "exp_avg": first.float(),
                "exp_avg_sq": second.float(),
            }
        return {k: saved[k] for k in ("step", "seconds", "trained")}


@torch.no_grad()
def word_accuracy(
    network: Network, store: Store, members: list[int], device: torch.device
) -> dict[str, tuple[int, int]]:
    """Single-word clips as they are, each against every single word: (right, all) by speaker."""
    network.eval()
    chains = units.chains(network.output.out_channels)
    choices = [(w,) for w in units.PRONUNCIATIONS]
    machines = [fullsum.shared(objective.transcript(w, chains), device) for w in choices]
    planner = Planner(store, 1, strength=0.0)
    renderer = Renderer(store, device)
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
            name = clip.speaker.split("-")[0] if clip.group == "people" else clip.source
            name = f"{name} {clip.kind}"
            right, total = result.get(name, (0, 0))
            ok = choices[choice] == clip.words
            result[name] = (right + ok, total + 1)
    return result


def rendered(trainer: Trainer, batch: Batch) -> torch.Tensor:
    """Log-mel (B, T, NUM_MEL) of a batch as training hears it."""
    plan = batch.plan
    places = (x.to(trainer.device) for x in (plan.position, plan.low, plan.high, plan.throat))
    return trainer.renderer.render(*places)[0]


@torch.no_grad()
def measure_norms(average: Network, trainer: Trainer, source: Iterator[Batch], count: int) -> None:
    """Batch-norm statistics of the averaged weights, over ``count`` fresh batches."""
    average.train()
    for module in average.modules():
        if isinstance(module, torch.nn.modules.batchnorm._BatchNorm):
            module.reset_running_stats()
            module.momentum = None
        if isinstance(module, torch.nn.Dropout):
            module.p = 0.0
    for _ in range(count):
        average(pad(rendered(trainer, next(source)), average.shape))
    average.eval()


def doubted(listing: Path, doubt: float, share: float) -> set[int]:
    """Clips that ``align.py`` believes too little: under ``doubt``, at most ``share`` of all.

    Those said by people are kept: they were checked, and are hard rather than wrong.
    """
    rows = [row.split("\t") for row in listing.read_text().splitlines()[1:]]
    machines = (row for row in rows if not row[1].startswith(corpus.PEOPLE))
    scored = sorted((float(row[3]), int(row[0])) for row in machines)
    return {clip for score, clip in scored[: int(share * len(rows))] if score < doubt}


def read(args: argparse.Namespace) -> tuple[Sequence[corpus.Clip], Sequence[np.ndarray]]:
    """The clips of the packs without those dropped, and the sounds made here."""
    clips, waves = corpus.unpack(args.pack, os.cpu_count() or 2, args.cache)
    drop = doubted(args.drop, args.doubt, args.drop_share) if args.drop else set()
    print(f"{len(drop)} doubtful clips left out")
    kept = [i for i in range(len(clips)) if i not in drop]
    made, made_waves = sounds.clips(MADE, args.seed)
    return [*(clips[i] for i in kept), *made], [*(waves[i] for i in kept), *made_waves]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pack", type=Path, nargs="+", required=True)
    parser.add_argument("--cache", type=Path, help="folder for the unpacked clips")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--steps", type=int, default=10**9)
    parser.add_argument("--max-seconds", type=float, default=1e9, help="of this call, with all")
    parser.add_argument("--total-seconds", type=float, help="of the whole run, over all calls")
    parser.add_argument("--batch", type=int, default=512)
    parser.add_argument("--peak", type=float, default=2e-3)
    parser.add_argument("--hold-out", default="", help="speakers, separated by commas")
    parser.add_argument("--start", type=Path, help="a network.pt to go on from, with MMI only")
    parser.add_argument("--model", type=Path, help="likewise, a model folder that export.py wrote")
    parser.add_argument("--teacher", type=Path, help="a model folder to learn from")
    parser.add_argument("--drop", type=Path, help="alignments.tsv of the same packs")
    parser.add_argument("--doubt", type=float, default=-2.5)
    parser.add_argument("--drop-share", type=float, default=0.04)
    parser.add_argument("--keep-dev", action="store_true", help="train on split dev too")
    parser.add_argument("--width", type=int, default=384)
    parser.add_argument("--bottleneck", type=int, default=160)
    parser.add_argument("--filters", default="32,64,96")
    parser.add_argument("--chains", type=int, default=len(units.UNK_CHAINS))
    parser.add_argument("--dropout", type=float, default=0.1)
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) - 2))
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--no-record", action="store_true", help="run every step piece by piece")
    parser.add_argument("--profile", type=int, default=0, help="only time so many steps of a kind")
    args = parser.parse_args()
    torch.manual_seed(args.seed)
    began = time.monotonic()
    args.out.mkdir(parents=True, exist_ok=True)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cudnn.benchmark = True
    torch.backends.cuda.matmul.allow_tf32 = False
    clips, waves = read(args)
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
    read_back = mdl.read(args.model).to(device) if args.model else None
    if read_back:
        shape = read_back.shape
    outputs = len(units.UNITS) - sum(len(chain) for chain in units.UNK_CHAINS[args.chains :])
    network = Network(outputs, shape, args.dropout).to(device)
    print(f"{sum(p.numel() for p in network.parameters())} parameters", flush=True)
    teacher = mdl.read(args.teacher).to(device) if args.teacher else None
    trainer = Trainer(network, Renderer(store, device), device, args.peak, teacher)
    where: dict[str, float] = {"step": 0, "seconds": 0.0, "trained": 0}
    if (args.out / "weights.pt").is_file():
        where = trainer.resume(args.out)
        print(f"goes on after {where['seconds']:.0f} s and {where['step']} steps", flush=True)
    seed = args.seed + 100 * int(where["step"])  # other utterances than in the calls before
    torch.manual_seed(seed)
    source = objective.batches(store, args.batch, args.chains, seed, args.workers)
    fresh = not where["step"]
    if fresh and args.start:
        network.load_state_dict(torch.load(args.start, weights_only=True)["state"])
        trainer.average.load_state_dict(network.state_dict())
    elif fresh and read_back:
        mdl.dress(read_back, (rendered(trainer, next(source)) for _ in range(NORM_BATCHES)))
        network.load_state_dict(read_back.state_dict())
        trainer.average.load_state_dict(network.state_dict())
    elif fresh:
        log_mel = rendered(trainer, next(source))
        for module in (network, trainer.average):
            module.mean.copy_(log_mel.mean(dim=(0, 1)))
            module.scale.copy_(1.0 / log_mel.std(dim=(0, 1)))
    if args.profile:
        profile(trainer, source, args.profile)
        return
    total = args.total_seconds or args.max_seconds
    record = device.type == "cuda" and not args.no_record
    step, trained, earlier = int(where["step"]), int(where["trained"]), float(where["seconds"])
    # the schedule's clock starts here: reading the corpus is not part of it
    started, shown = time.monotonic(), step
    progress = 0.0
    while True:
        now = time.monotonic()
        spent = now - started
        progress = max(step / args.steps, (earlier + spent) / total)
        if progress >= 1.0 or now - began >= args.max_seconds:
            break
        phase = MMI if args.start or args.model else phase_at(progress)
        decay = min(DECAY, (1 + step) / (10 + step))
        trainer.set(learning_rate(progress, args.peak), decay, 1.0 if phase == MMI else 0.5)
        batch = next(source)
        try:
            trainer.train(batch, phase, record)
        except RuntimeError as error:
            if not record:
                raise
            print(f"cannot be recorded, goes on piece by piece: {error}", file=sys.stderr)
            record = False
            trainer.recorded.clear()
            continue
        trained += batch.size.count
        step += 1
        if step % 100 == 0:
            sums = {"mmi": trainer.mmi, "ce": trainer.ce, "from the teacher": trainer.gap}
            losses = ", ".join(f"{name} {value.item() / 100:.4f}" for name, value in sums.items())
            for value in sums.values():
                value.zero_()
            if step % 500 == 0 or step - shown < 1000:
                print(
                    f"step {step} ({100 * progress:.1f} %, {phase}): {losses}; {trained} "
                    f"utterances, {earlier + spent:.0f} s",
                    flush=True,
                )
    if device.type == "cuda":
        torch.cuda.synchronize()
    where = {
        "step": step, "trained": trained, "seconds": earlier + time.monotonic() - started,
    }  # fmt: skip
    trainer.save(args.out, where)
    print(f"stopped at {100 * progress:.1f} %: {step} steps, {trained} utterances", flush=True)
    if progress < 1.0:
        return
    average = trainer.average
    measure_norms(average, trainer, source, 60 if device.type == "cuda" else 12)
    torch.save(
        {
            "state": {k: v.cpu() for k, v in average.state_dict().items()},
            "shape": asdict(shape),
            "units": units.UNITS[:outputs],
        },
        args.out / "network.pt",
    )
    if dev_at:
        dev = Store.build([clips[i] for i in dev_at], [waves[i] for i in dev_at], device)
        report = word_accuracy(average, dev, list(range(len(dev_at))), device)
        for speaker, (right, count) in sorted(report.items()):
            print(f"held out {speaker}: {right}/{count} = {100 * right / count:.1f} %")
        right, count = (sum(v[k] for v in report.values()) for k in (0, 1))
        print(f"held out, all: {right}/{count}")
    (args.out / "train.json").write_text(
        json.dumps({"steps": step, "utterances": trained, "held_out": sorted(held)}, indent=1)
    )


def profile(trainer: Trainer, source: Iterator[Batch], steps: int) -> None:
    """Prints the time of each part of a step, then of whole steps as training runs them."""
    trainer.set(1e-4, 0.99, 1.0)
    for _ in range(3):
        trainer.train(next(source), MMI, record=False)
    by_size: dict[Size, Stopwatch] = {}
    for _ in range(steps):
        batch = next(source)
        watch = by_size.setdefault(batch.size, Stopwatch(trainer.device, on=True))
        watch.last = time.perf_counter()
        trainer.watch = watch
        trainer.train(batch, MMI, record=False)
    trainer.watch = Stopwatch(trainer.device, on=False)
    for size, watch in by_size.items():
        runs = trainer.runs[MMI, size]
        print(f"{size.count} x {size.frames}: {watch.report(max(1, runs))}", flush=True)
    ways = (("piece by piece", False), ("recorded", True))
    for name, record in ways if trainer.device.type == "cuda" else ways[:1]:
        for _ in range(30 if record else 0):
            trainer.train(next(source), MMI, record)
        waited, trained, start = 0.0, 0, time.perf_counter()
        for _ in range(steps):
            before = time.perf_counter()
            batch = next(source)
            waited += time.perf_counter() - before
            trainer.train(batch, MMI, record)
            trained += batch.size.count
        if trainer.device.type == "cuda":
            torch.cuda.synchronize()
        took = time.perf_counter() - start
        print(
            f"{name}: {steps / took:.1f} steps a second, {trained / took:.0f} utterances a second, "
            f"waiting for plans {100 * waited / took:.0f} % of the time",
            flush=True,
        )
    if trainer.device.type == "cuda":
        print(f"memory at most {torch.cuda.max_memory_allocated() / 2**30:.1f} GiB")


if __name__ == "__main__":
    main()
