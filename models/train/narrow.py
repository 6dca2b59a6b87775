"""Makes a narrower network of a trained one, to be trained on with the trained one as its teacher.

``python narrow.py --model OLD --filters 16,48,64 --width 288 --bottleneck 112 --out FOLDER`` writes
``FOLDER/am/final.mdl``; everything else in FOLDER stays. It hears badly until
``train.py --model FOLDER --teacher OLD`` has mended it. Filters and channels with the largest
weights before and after them are kept; a bottleneck keeps the largest singular values of what goes
through it.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import export
import mdl
import torch
from network import Network, Shape
from torch import nn

Conv = nn.Conv1d | nn.Conv2d


def _rows(layers: list[Conv]) -> torch.Tensor:
    """How large the weights are that lead to each channel that ``layers`` write."""
    return torch.stack([layer.weight.flatten(1).square().sum(dim=1) for layer in layers]).sum(dim=0)


def _columns(layers: list[Conv], channels: int) -> torch.Tensor:
    """How large the weights are that lead away from each channel; spliced or stacked copies of a
    channel count together."""
    squares = [layer.weight.square().transpose(0, 1).flatten(1).sum(dim=1) for layer in layers]
    return torch.stack([s.reshape(-1, channels).sum(dim=0) for s in squares]).sum(dim=0)


def _largest(size: torch.Tensor, count: int) -> torch.Tensor:
    return size.topk(count).indices.sort().values


def _copies(kept: torch.Tensor, channels: int, count: int) -> torch.Tensor:
    """The places of the channels kept in ``count`` copies of all channels, one after another."""
    return (kept + channels * torch.arange(count)[:, None]).flatten()


@torch.no_grad()
def narrowed(old: Network, shape: Shape) -> Network:
    """The most of ``old`` (as `mdl.read` gives it) that a network of ``shape`` holds."""
    new = Network(old.output.out_channels, shape).eval()
    new.mean.copy_(old.mean)
    new.scale.copy_(old.scale)
    filters = _filters(old, new)
    blocks = list(old.blocks)
    width, last = old.shape.width, old.shape.filters[2]
    into: list[Conv] = [old.entry.affine, *(b.expand for b in blocks)]
    out: list[Conv] = [old.output, *(b.splice.affine for b in blocks)]
    kept = _largest(_rows(into) * _columns(out, width), shape.width)
    # a frame is height by height, filters running fastest: see Network.forward
    places = _copies(filters, last, old.entry.affine.in_channels // last)
    new.entry.affine.weight.copy_(old.entry.affine.weight[kept][:, places])
    new.entry.affine.bias.copy_(old.entry.affine.bias[kept])
    mdl.idle(new.entry_norm, old.entry_norm.bias[kept].numpy())
    for before, block in zip(blocks, new.blocks, strict=True):
        _through(before, block, kept, width)
    new.output.weight.copy_(old.output.weight[:, kept])
    new.output.bias.copy_(old.output.bias)
    return new


def _filters(old: Network, new: Network) -> torch.Tensor:
    """Fill the convolutions; returns which filters of the last one are kept."""
    convs = (old.conv1, old.conv2, old.conv3)
    norms = ((old.norm1, new.norm1), (old.norm2, new.norm2), (old.norm3, new.norm3))
    mine = (new.conv1, new.conv2, new.conv3)
    after = (old.conv2, old.conv3, old.entry.affine)
    kept = torch.arange(1)
    for conv, own, (norm, my_norm), further in zip(convs, mine, norms, after, strict=True):
        given = kept
        kept = _largest(_rows([conv]) * _columns([further], conv.out_channels), own.out_channels)
        own.weight.copy_(conv.weight[kept][:, given])
        own.bias.copy_(conv.bias[kept])
        mdl.idle(my_norm, norm.bias[kept].numpy())
    return kept


def _through(old: nn.Module, new: nn.Module, kept: torch.Tensor, width: int) -> None:
    """The largest singular values of a block's two layers, as two narrower ones."""
    places = _copies(kept, width, len(old.splice.offsets))
    wide, narrow = old.expand.weight[kept, :, 0], old.splice.affine.weight[:, :, 0]
    offset = old.norm.bias[kept] + wide @ old.splice.affine.bias
    u, s, v = torch.linalg.svd(wide @ narrow[:, places], full_matrices=False)
    rank = new.expand.in_channels
    root = s[:rank].sqrt()
    new.expand.weight.copy_((u[:, :rank] * root)[..., None])
    new.splice.affine.weight.copy_((root[:, None] * v[:rank])[..., None])
    new.splice.affine.bias.zero_()
    mdl.idle(new.norm, offset.numpy())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--filters", required=True, help="three numbers, separated by commas")
    parser.add_argument("--width", type=int, required=True)
    parser.add_argument("--bottleneck", type=int, required=True)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    old = mdl.read(args.model)
    first, second, third = (int(x) for x in args.filters.split(","))
    shape = replace(
        old.shape, filters=(first, second, third), width=args.width, bottleneck=args.bottleneck
    )
    (args.out / "am").mkdir(parents=True, exist_ok=True)
    (args.out / "am" / "final.mdl").write_bytes(export.final_mdl(narrowed(old, shape), 16))


if __name__ == "__main__":
    main()
