"""Trains the twin and the model that ships side by side on one machine, call after call.

``python together.py --pack PACK... --out RUNS --seconds 540 --total-seconds 1500``

``RUNS/twin`` never hears the people of ``people.held_out`` nor the corpus's development voices and
is there to be measured; ``RUNS/final`` hears everybody, by the same recipe. Each takes a GPU of its
own where there are two. Where a machine is lent for some minutes at a time, the same command goes
on where the last call stopped, until the schedule of ``--total-seconds`` is over; then both are
exported. ``--keep FOLDER`` copies what the next machine needs to go on, or the results, in few
files; ``--from FOLDER`` begins with such a copy. With other packs than in the call before, remove
``RUNS/cache`` first.
``--after FOLDER`` trains finished networks further, with MMI alone, by a schedule of its own;
``--models FOLDER`` does so with exported models.
Anything after ``--`` goes to ``train.py``.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import corpus
import torch

HERE = Path(__file__).resolve().parent
RUNS = ("twin", "final")
FILES = ("weights.pt", "moments.pt", "network.pt")


def begin_with(kept: Path, out: Path) -> None:
    for run in RUNS:
        for file in FILES:
            source = kept / f"{run}-{file}"
            if source.is_file() and not (out / run / file).is_file():
                shutil.copy(source, out / run / file)


def keep(out: Path, kept: Path) -> None:
    kept.mkdir(parents=True, exist_ok=True)
    for run in RUNS:
        done = (out / run / "network.pt").is_file()
        for file in ("network.pt",) if done else FILES[:2]:
            if (out / run / file).is_file():
                shutil.copy(out / run / file, kept / f"{run}-{file}")
        shutil.copy(out / f"{run}.log", kept / f"{run}.log")


def export(out: Path, run: str) -> None:
    model = out / run / "model"
    model.mkdir(exist_ok=True)
    network = str(out / run / "network.pt")
    for script in (["export.py", "--network", network], ["graph.py"]):
        command = [sys.executable, str(HERE / script[0]), *script[1:], "--out", str(model)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            print(f"{run}: {script[0]} failed: {done.stderr.strip().splitlines()[-1]}")
            return
    print(f"{run}: {model}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pack", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--seconds", type=float, required=True, help="of this call")
    parser.add_argument("--total-seconds", type=float, required=True, help="of the schedule")
    parser.add_argument("--drop", type=Path)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--from", dest="start", type=Path)
    parser.add_argument("--after", type=Path, help="folder of twin- and final-network.pt to refine")
    parser.add_argument("--models", type=Path, help="likewise: folder of the models twin, final")
    parser.add_argument("--teachers", type=Path, help="folder of the models twin, final, their own")
    parser.add_argument("--workers", type=int, default=max(1, (os.cpu_count() or 2) // 2 - 1))
    parser.add_argument("rest", nargs="*", help="after --: for train.py")
    args = parser.parse_args()
    began = time.monotonic()
    for run in RUNS:
        (args.out / run).mkdir(parents=True, exist_ok=True)
    if args.start:
        begin_with(args.start, args.out)
    cache = args.out / "cache"
    corpus.unpack(args.pack, os.cpu_count() or 2, cache)
    left = args.seconds - (time.monotonic() - began) - 5
    common = [
        *("--pack", *map(str, args.pack)), "--cache", str(cache), "--max-seconds", f"{left:.0f}",
        "--total-seconds", str(args.total_seconds), "--workers", str(args.workers),
        *(["--drop", str(args.drop)] if args.drop else []), *args.rest,
    ]  # fmt: skip
    apart: dict[str, list[str]] = {"twin": [], "final": ["--keep-dev"]}
    for run in RUNS:
        if args.after:
            apart[run] += ["--start", str(args.after / f"{run}-network.pt")]
        elif args.models:
            apart[run] += ["--model", str(args.models / run)]
        if args.teachers:
            apart[run] += ["--teacher", str(args.teachers / run)]
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "PYTHONUNBUFFERED": "1"}
    running = {}
    devices = torch.cuda.device_count()
    for number, run in enumerate(RUNS):
        if devices > 1:
            environment["CUDA_VISIBLE_DEVICES"] = str(number)
        command = [sys.executable, str(HERE / "train.py"), "--out", str(args.out / run)]
        with (args.out / f"{run}.log").open("a") as log:
            running[run] = subprocess.Popen(
                [*command, *common, *apart[run]], stdout=log, stderr=log, env=environment
            )
    failed = [run for run, process in running.items() if process.wait()]
    for run in RUNS:
        lines = (args.out / f"{run}.log").read_text().splitlines()
        print(f"--- {run}", *lines[-25:], sep="\n")
        if run not in failed and (args.out / run / "network.pt").is_file():
            export(args.out, run)
    if args.keep:
        keep(args.out, args.keep)
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
