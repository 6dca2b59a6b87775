"""The acoustic network: convolutions over frequency and time, then residual time-delay layers.

Made of nothing but what Kaldi's nnet3 can run: 2-D convolutions, affine layers over spliced frames,
rectifiers and sums. Outputs come every third frame (30 ms). Convolutions run without padding in
time; the caller pads the input by ``LEFT`` and ``RIGHT`` frames, repeating the edge frames as
Kaldi does.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
from features import NUM_MEL
from torch import nn

SUBSAMPLING = 3


@dataclass(frozen=True)
class Shape:
    filters: tuple[int, int, int] = (32, 64, 96)
    width: int = 256
    bottleneck: int = 128
    #: frame offsets spliced by each residual layer, in units of 10 ms
    splices: tuple[tuple[int, ...], ...] = (
        (-3, 0, 3), (-3, 0, 3), (-3, 0, 3), (-6, -3, 0), (-6, -3, 0), (-6, -3, 0), (-6, -3, 0),
    )  # fmt: skip

    @property
    def left(self) -> int:
        return 1 + 1 + 3 + 3 - sum(min(s) for s in self.splices)

    @property
    def right(self) -> int:
        return 1 + 1 + 3 + 3 + sum(max(s) for s in self.splices)


class Splice(nn.Module):
    """Affine over frames at ``offsets`` (10 ms units, multiples of 3) of a (B, C, T) input."""

    def __init__(self, in_width: int, out_width: int, offsets: tuple[int, ...]) -> None:
        super().__init__()
        self.offsets = offsets
        self.affine = nn.Conv1d(in_width * len(offsets), out_width, 1, bias=True)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        low, high = min(0, *self.offsets) // SUBSAMPLING, max(0, *self.offsets) // SUBSAMPLING
        frames = x.shape[2] - (high - low)
        pieces = [
            x[:, :, o // SUBSAMPLING - low : o // SUBSAMPLING - low + frames] for o in self.offsets
        ]
        return self.affine(torch.cat(pieces, dim=1))


class Residual(nn.Module):
    def __init__(self, width: int, bottleneck: int, offsets: tuple[int, ...]) -> None:
        super().__init__()
        self.splice = Splice(width, bottleneck, offsets)
        self.expand = nn.Conv1d(bottleneck, width, 1, bias=False)
        self.norm = nn.BatchNorm1d(width)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        low = -min(0, *self.splice.offsets) // SUBSAMPLING
        y = torch.relu(self.norm(self.expand(self.splice(x))))
        return x[:, :, low : low + y.shape[2]] + y


class Network(nn.Module):
    """(B, T + left + right, NUM_MEL) log-mel -> (B, ceil(T / 3), outputs) scores."""

    def __init__(self, outputs: int, shape: Shape | None = None, dropout: float = 0.0) -> None:
        super().__init__()
        self.shape = shape or Shape()
        self.register_buffer("mean", torch.zeros(NUM_MEL))
        self.register_buffer("scale", torch.ones(NUM_MEL))
        c1, c2, c3 = self.shape.filters
        self.conv1 = nn.Conv2d(1, c1, 3, stride=(2, 1), padding=(1, 0))
        self.conv2 = nn.Conv2d(c1, c2, 3, stride=(2, 3), padding=(1, 0))
        self.conv3 = nn.Conv2d(c2, c3, 3, stride=(2, 1), padding=(1, 0))
        self.norm1, self.norm2, self.norm3 = (nn.BatchNorm2d(c) for c in (c1, c2, c3))
        self.entry = Splice(c3 * 5, self.shape.width, (-3, 0, 3))
        self.entry_norm = nn.BatchNorm1d(self.shape.width)
        self.blocks = nn.ModuleList(
            Residual(self.shape.width, self.shape.bottleneck, s) for s in self.shape.splices
        )
        self.dropout = nn.Dropout(dropout)
        self.output = nn.Conv1d(self.shape.width, outputs, 1)
        self.output_ce = nn.Conv1d(self.shape.width, outputs, 1)

    def forward(self, x: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        x = (x - self.mean) * self.scale
        x = x.transpose(1, 2)[:, None]
        x = torch.relu(self.norm1(self.conv1(x)))
        x = torch.relu(self.norm2(self.conv2(x)))
        x = torch.relu(self.norm3(self.conv3(x)))
        batch, channels, height, frames = x.shape
        x = x.permute(0, 2, 1, 3).reshape(batch, height * channels, frames)
        x = torch.relu(self.entry_norm(self.entry(x)))
        for block in self.blocks:
            x = block(x)
        x = self.dropout(x)
        return (
            self.output(x).transpose(1, 2).float(),
            self.output_ce(x).transpose(1, 2).float(),
        )


def pad(log_mel: torch.Tensor, shape: Shape) -> torch.Tensor:
    """Repeats the edge frames of (B, T, NUM_MEL), as Kaldi does, for the network's context."""
    first = log_mel[:, :1].expand(-1, shape.left, -1)
    last = log_mel[:, -1:].expand(-1, shape.right, -1)
    return torch.cat([first, log_mel, last], dim=1)
