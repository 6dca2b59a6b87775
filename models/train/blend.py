"""Averages the weights of two models of one shape, of which one was trained on from the other.

``python blend.py --model OLD NEW --share 0.2 --out FOLDER`` writes ``FOLDER/am/final.mdl`` with 0.2
of OLD and 0.8 of NEW; everything else in FOLDER stays. What the old one knew and the new one has
half forgotten comes back, for a part of what it has learned.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import export
import mdl
import torch
from network import Network


@torch.no_grad()
def blended(old: Network, new: Network, share: float) -> Network:
    """``new`` with ``share`` (0 to 1) of the weights of ``old``, as they stand in their models."""
    before, after = old.state_dict(), new.state_dict()
    mixed = {
        name: torch.lerp(after[name], before[name], share)
        if after[name].is_floating_point()
        else after[name]
        for name in after
    }
    new.load_state_dict(mixed)
    return new


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--model", type=Path, nargs=2, required=True, metavar=("OLD", "NEW"))
    parser.add_argument("--share", type=float, required=True, help="of OLD")
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    old, new = (mdl.read(folder) for folder in args.model)
    (args.out / "am").mkdir(parents=True, exist_ok=True)
    (args.out / "am" / "final.mdl").write_bytes(export.final_mdl(blended(old, new, args.share), 16))


if __name__ == "__main__":
    main()
