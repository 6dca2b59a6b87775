"""Reads a network back from ``am/final.mdl`` of a model folder, the reverse of ``export.py``.

What was folded into the layers stays there: the network hears the same, with batch norms that do
nothing. ``dress`` gives them work again, so that such a network can be trained further.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from pathlib import Path

import features
import network as net
import numpy as np
import torch
import units

Matrix = np.ndarray


class Reader:
    """Matrices and vectors of a Kaldi binary stream, found by the name of their component."""

    def __init__(self, data: bytes) -> None:
        self.data = data

    def layer(self, name: str) -> tuple[Matrix, np.ndarray]:
        """Weights and bias of an affine or convolution."""
        at = self.data.index(f"<ComponentName> {name} ".encode())
        at = self.data.index(b"<LinearParams> ", at) + len(b"<LinearParams> ")
        weight, at = self._matrix(at)
        at = self.data.index(b"<BiasParams> FV ", at) + len(b"<BiasParams> FV ")
        (size,) = struct.unpack_from("<xi", self.data, at)
        return weight, np.frombuffer(self.data, "<f4", size, at + 5)

    def _matrix(self, at: int) -> tuple[Matrix, int]:
        kind, _, _ = self.data[at : at + 4].partition(b" ")
        at += len(kind) + 1
        if kind == b"FM":
            rows, columns = struct.unpack_from("<xixi", self.data, at)
            values = np.frombuffer(self.data, "<f4", rows * columns, at + 10)
            return values.reshape(rows, columns), at + 10 + values.nbytes
        if kind != b"CM2":
            raise ValueError(f"a matrix of kind {kind!r} is not read")
        low, wide, rows, columns = struct.unpack_from("<ffii", self.data, at)
        steps = np.frombuffer(self.data, "<u2", rows * columns, at + 16)
        values = low + steps.astype(np.float32) * (wide / 65535)
        return values.reshape(rows, columns), at + 16 + steps.nbytes


def read(folder: Path) -> net.Network:
    """The network of a model folder that ``export.py`` wrote in 16 or 32 bits, made for
    measuring."""
    found = Reader((folder / "am" / "final.mdl").read_bytes())
    entry, _ = found.layer("entry")
    narrow, _ = found.layer("narrow1")
    scores, _ = found.layer("scores")
    filters = tuple(len(found.layer(f"conv{i}")[1]) for i in (1, 2, 3))
    shape = net.Shape(filters=filters, width=len(entry), bottleneck=len(narrow))
    model = net.Network(len(scores), shape)
    units.chains(len(scores))  # refuses what was trained for other units
    with torch.no_grad():
        _front(model, found)
        for i, block in enumerate(model.blocks, start=1):
            _put(block.splice.affine, *found.layer(f"narrow{i}"))
            weight, offset = found.layer(f"wide{i}")
            _put(block.expand, weight)
            idle(block.norm, offset)
        _put(model.output, *found.layer("scores"))
    return model.eval()


def _front(model: net.Network, found: Reader) -> None:
    weight, bias = found.layer("mel")
    inverse = np.linalg.inv(features.cosine_transform())
    scale = (weight * inverse).sum(axis=1) / (inverse * inverse).sum(axis=1)
    model.scale.copy_(torch.as_tensor(scale))
    model.mean.copy_(torch.as_tensor(-bias / scale))
    for i, (conv, norm) in enumerate(
        ((model.conv1, model.norm1), (model.conv2, model.norm2), (model.conv3, model.norm3)), 1
    ):
        weight, bias = found.layer(f"conv{i}")
        rows = weight.reshape(len(weight), 3, 3, conv.in_channels)
        conv.weight.copy_(torch.as_tensor(rows.transpose(0, 3, 2, 1).copy()))
        conv.bias.copy_(torch.as_tensor(bias.copy()))
        idle(norm, np.zeros(len(weight)))
    _put(model.entry.affine, *found.layer("entry"))
    idle(model.entry_norm, np.zeros(model.shape.width))


def _put(conv: torch.nn.Conv1d, weight: Matrix, bias: np.ndarray | None = None) -> None:
    conv.weight.copy_(torch.as_tensor(weight.copy())[:, :, None])
    if bias is not None:
        conv.bias.copy_(torch.as_tensor(bias.copy()))


def idle(norm: torch.nn.modules.batchnorm._BatchNorm, offset: np.ndarray) -> None:
    """A norm that only adds ``offset``."""
    norm.running_mean.zero_()
    norm.running_var.fill_(1 - norm.eps)
    norm.weight.fill_(1.0)
    norm.bias.copy_(torch.as_tensor(np.array(offset, np.float32)))


#: length of a row of weights before a norm, over the root of its size: where training from
#: nothing brings it
GROWN = 1 / 6
Layer = torch.nn.Conv1d | torch.nn.Conv2d
Norm = torch.nn.BatchNorm1d | torch.nn.BatchNorm2d


@torch.no_grad()
def dress(model: net.Network, rows: Iterable[torch.Tensor]) -> None:
    """Makes a network that was read fit to be trained on; what it hears stays as it is.

    Its idle norms take over the mean and spread of what comes before them, measured on ``rows``
    (each (B, T, NUM_MEL)), and the weights before them grow to the size that steps are made for.
    The output of cross-entropy, which models do not keep, begins as the other one.
    """
    model.output_ce.load_state_dict(model.output.state_dict())
    pairs: list[tuple[Layer, Norm]] = [
        (model.conv1, model.norm1), (model.conv2, model.norm2), (model.conv3, model.norm3),
        (model.entry.affine, model.entry_norm), *((b.expand, b.norm) for b in model.blocks),
    ]  # fmt: skip
    for layer, norm in pairs:
        _grow(layer, norm)
    heard: dict[Norm, list[torch.Tensor]] = {norm: [] for _, norm in pairs}
    hooks = [
        norm.register_forward_pre_hook(lambda module, given: heard[module].append(_moments(*given)))
        for norm in heard
    ]
    model.eval()
    for some in rows:
        model(net.pad(some, model.shape))
    for hook in hooks:
        hook.remove()
    for norm, found in heard.items():
        mean, square = torch.stack(found).mean(dim=0)
        norm.running_mean.copy_(mean)
        norm.running_var.copy_(square - mean.square())
        norm.bias.add_(norm.weight * mean)
        norm.weight.mul_((norm.running_var + norm.eps).sqrt())


def _grow(layer: Layer, norm: Norm) -> None:
    """Lengthens the rows of weights; the idle norm after them takes it back."""
    length = layer.weight.flatten(1).norm(dim=1).clamp_min(1e-6)
    factor = GROWN * layer.weight[0].numel() ** 0.5 / length
    layer.weight.mul_(factor.reshape(-1, *[1] * (layer.weight.ndim - 1)))
    if layer.bias is not None:
        layer.bias.mul_(factor)
    norm.weight.div_(factor)


def _moments(x: torch.Tensor) -> torch.Tensor:
    """Mean and mean square of each channel of x (B, C, ...), (2, C)."""
    channels = x.transpose(0, 1).flatten(1)
    return torch.stack([channels.mean(dim=1), channels.square().mean(dim=1)])
