"""Writes a trained network as a Vosk model folder: ``am/final.mdl`` and ``conf/``.

``python export.py --network run/network.pt --out ../number-en``. Input normalisation and batch
norm are folded into the layers next to them. Weights are stored in Kaldi's compressed matrices
(``--bits 16`` or ``8``), which Kaldi reads wherever it reads a matrix.
"""

from __future__ import annotations

import argparse
import json
import struct
from pathlib import Path

import features
import graph
import network as net
import numpy as np
import torch
import units


class Writer:
    """Kaldi's binary stream: tokens end with a space, numbers start with their size."""

    def __init__(self, bits: int) -> None:
        self.bits = bits
        self.out = bytearray(b"\0B")

    def token(self, text: str) -> None:
        self.out += text.encode() + b" "

    def int32(self, value: int) -> None:
        self.out += b"\x04" + struct.pack("<i", value)

    def float32(self, value: float) -> None:
        self.out += b"\x04" + struct.pack("<f", value)

    def double(self, value: float) -> None:
        self.out += b"\x08" + struct.pack("<d", value)

    def boolean(self, value: bool) -> None:
        self.out += b"T" if value else b"F"

    def int_vector(self, values: list[int]) -> None:
        self.out += b"\x04" + struct.pack("<i", len(values))
        self.out += np.asarray(values, dtype="<i4").tobytes()

    def pair_vector(self, values: list[tuple[int, int]]) -> None:
        self.out += b"\x04" + struct.pack("<i", len(values))
        self.out += np.asarray(values, dtype="<i4").tobytes()

    def vector(self, values: np.ndarray) -> None:
        self.token("FV")
        self.int32(len(values))
        self.out += values.astype("<f4").tobytes()

    def matrix(self, values: np.ndarray) -> None:
        rows, columns = values.shape
        low, high = float(values.min()), float(values.max())
        if self.bits == 32 or low == high:
            self.token("FM")
            self.int32(rows)
            self.int32(columns)
            self.out += values.astype("<f4").tobytes()
            return
        if self.bits == 16:
            self.token("CM2")
            self.out += struct.pack("<ffii", low, high - low, rows, columns)
            steps = np.round((values - low) / (high - low) * 65535)
            self.out += steps.clip(0, 65535).astype("<u2").tobytes()
            return
        self._matrix_by_columns(values)

    def _matrix_by_columns(self, values: np.ndarray) -> None:
        """One byte a value: each column is linear between four of its own quantiles."""
        rows, columns = values.shape
        low, high = float(values.min()), float(values.max())
        self.token("CM")
        self.out += struct.pack("<ffii", low, high - low, rows, columns)
        ordered = np.sort(values, axis=0)
        quarter = rows // 4
        marks = np.stack([ordered[0], ordered[quarter], ordered[3 * quarter], ordered[-1]])
        codes = np.round((marks - low) / (high - low) * 65535).clip(0, 65535)
        for k in range(1, 4):  # Kaldi wants strictly increasing marks
            codes[k] = np.maximum(codes[k], codes[k - 1] + 1)
        for k in range(3):
            codes[k] = np.minimum(codes[k], 65535 - 3 + k)
        codes[3] = np.minimum(codes[3], 65535)
        self.out += codes.T.astype("<u2").tobytes()
        p0, p25, p75, p100 = codes / 65535 * (high - low) + low
        first = np.round((values - p0) / (p25 - p0) * 64)
        middle = 64 + np.round((values - p25) / (p75 - p25) * 128)
        last = 192 + np.round((values - p75) / (p100 - p75) * 63)
        coded = np.where(values < p25, first, np.where(values < p75, middle, last))
        self.out += coded.clip(0, 255).T.astype("u1").tobytes()


def transition_model(w: Writer, chains: int) -> None:
    numbers = list(range(1, len(graph.phones(chains)) + 1))
    w.token("<TransitionModel>")
    w.token("<Topology>")
    w.int_vector(numbers)
    w.int_vector([-1, *([0] * len(numbers))])  # phone -> index of its topology
    w.int32(1)  # one topology
    w.int32(2)  # of two states
    w.int32(0)  # the first emits pdf class 0
    w.int32(2)
    for target in (0, 1):
        w.int32(target)
        w.float32(0.5)
    w.int32(-1)  # the last emits nothing
    w.int32(0)
    w.token("</Topology>")
    w.token("<Triples>")
    w.int32(len(numbers))
    for number, (unit, _) in zip(numbers, graph.phones(chains), strict=True):
        w.int32(number)
        w.int32(0)
        w.int32(units.PDF[unit])
    w.token("</Triples>")
    w.token("<LogProbs>")
    w.vector(np.concatenate([[0.0], np.full(2 * len(numbers), np.log(0.5))]))
    w.token("</LogProbs>")
    w.token("</TransitionModel>")


def _folded(norm: torch.nn.modules.batchnorm._BatchNorm) -> tuple[np.ndarray, np.ndarray]:
    scale = (norm.weight / torch.sqrt(norm.running_var + norm.eps)).detach().numpy()
    return scale, (norm.bias.detach() - norm.running_mean * torch.as_tensor(scale)).numpy()


class Layers:
    """Collects nnet3 config lines and the bytes of components."""

    def __init__(self, w: Writer) -> None:
        self.w = w
        self.config = [f"input-node name=input dim={features.NUM_MEL}"]
        self.count = 0

    def node(self, name: str, source: str) -> None:
        self.config.append(f"component-node name={name} component={name} input={source}")
        self.w.token("<ComponentName>")
        self.w.token(name)
        self.count += 1

    def affine(self, name: str, source: str, weight: np.ndarray, bias: np.ndarray) -> None:
        self.node(name, source)
        self.w.token("<FixedAffineComponent>")
        self.w.token("<LinearParams>")
        self.w.matrix(weight)
        self.w.token("<BiasParams>")
        self.w.vector(bias)
        self.w.token("</FixedAffineComponent>")

    def rectify(self, name: str, source: str, width: int, block: int | None = None) -> None:
        self.node(name, source)
        self.w.token("<RectifiedLinearComponent>")
        self.w.token("<Dim>")
        self.w.int32(width)
        self.w.token("<ValueAvg>")
        self.w.vector(np.zeros(0))
        self.w.token("<DerivAvg>")
        self.w.vector(np.zeros(0))
        self.w.token("<Count>")
        self.w.double(0.0)
        self.w.token("<OderivRms>")
        self.w.vector(np.zeros(0))
        self.w.token("<OderivCount>")
        self.w.double(0.0)
        self.w.token("</RectifiedLinearComponent>")

    def convolution(
        self, name: str, source: str, conv: torch.nn.Conv2d,
        norm: torch.nn.BatchNorm2d, height: int, step: int,
    ) -> None:  # fmt: skip
        """Kaldi's layout: a frame is height by height, filters running fastest."""
        scale, offset = _folded(norm)
        weight = conv.weight.detach().numpy() * scale[:, None, None, None]
        bias = conv.bias.detach().numpy() * scale + offset
        filters_out, filters_in, _, _ = weight.shape
        self.node(name, source)
        w = self.w
        w.token("<TimeHeightConvolutionComponent>")
        w.token("<LearningRate>")
        w.float32(0.001)
        w.token("<Model>")
        w.token("<ConvolutionModel>")
        for tag, value in (
            ("<NumFiltersIn>", filters_in), ("<NumFiltersOut>", filters_out),
            ("<HeightIn>", height), ("<HeightOut>", height // 2), ("<HeightSubsampleOut>", 2),
        ):  # fmt: skip
            w.token(tag)
            w.int32(value)
        w.token("<Offsets>")
        w.pair_vector([(t * step, h) for t in (-1, 0, 1) for h in (-1, 0, 1)])
        w.token("<RequiredTimeOffsets>")
        w.int_vector([-step, 0, step])
        w.token("</ConvolutionModel>")
        w.token("<LinearParams>")
        # rows: filters out; columns: offsets (time, then height) by filters in
        w.matrix(weight.transpose(0, 3, 2, 1).reshape(filters_out, -1))
        w.token("<BiasParams>")
        w.vector(bias)
        w.token("<MaxMemoryMb>")
        w.float32(20.0)
        w.token("<UseNaturalGradient>")
        w.boolean(False)
        w.token("<NumMinibatchesHistory>")
        w.float32(4.0)
        w.token("<AlphaInOut>")
        w.float32(4.0)
        w.float32(4.0)
        w.token("<RankInOut>")
        w.int32(4)
        w.int32(4)
        w.token("</TimeHeightConvolutionComponent>")


def _spliced(source: str, offsets: tuple[int, ...]) -> str:
    parts = [source if o == 0 else f"Offset({source}, {o})" for o in offsets]
    return f"Append({', '.join(parts)})" if len(parts) > 1 else parts[0]


def network_layers(layers: Layers, model: net.Network) -> None:
    inverse = np.linalg.inv(features.cosine_transform())
    scale, mean = model.scale.numpy(), model.mean.numpy()
    bits, layers.w.bits = layers.w.bits, 32  # cepstra span a wide range: keep this one exact
    layers.affine("mel", "input", inverse * scale[:, None], -mean * scale)
    layers.w.bits = bits
    below, height = "mel", features.NUM_MEL
    convolutions = (
        (model.conv1, model.norm1, 1), (model.conv2, model.norm2, 1),
        (model.conv3, model.norm3, net.SUBSAMPLING),
    )  # fmt: skip
    for i, (conv, norm, step) in enumerate(convolutions, start=1):
        layers.convolution(f"conv{i}", below, conv, norm, height, step)
        height //= 2
        layers.rectify(f"relu{i}", f"conv{i}", height * conv.out_channels)
        below = f"relu{i}"
    gain, offset = _folded(model.entry_norm)
    affine = model.entry.affine
    weight = affine.weight.detach().numpy()[:, :, 0] * gain[:, None]
    bias = affine.bias.detach().numpy() * gain + offset
    layers.affine("entry", _spliced(below, model.entry.offsets), weight, bias)
    layers.rectify("entry_relu", "entry", len(bias))
    below = "entry_relu"
    for i, block in enumerate(model.blocks, start=1):
        affine = block.splice.affine
        weight = affine.weight.detach().numpy()[:, :, 0]
        bias = affine.bias.detach().numpy()
        layers.affine(f"narrow{i}", _spliced(below, block.splice.offsets), weight, bias)
        gain, offset = _folded(block.norm)
        weight = block.expand.weight.detach().numpy()[:, :, 0] * gain[:, None]
        layers.affine(f"wide{i}", f"narrow{i}", weight, offset)
        layers.rectify(f"relu_wide{i}", f"wide{i}", len(offset))
        total = f"Sum({below}, relu_wide{i})"
        layers.config.append(f"component-node name=sum{i} component=sum{i} input={total}")
        layers.w.token("<ComponentName>")
        layers.w.token(f"sum{i}")
        layers.w.token("<NoOpComponent>")
        layers.w.token("<Dim>")
        layers.w.int32(len(offset))
        layers.w.token("<BackpropScale>")
        layers.w.float32(1.0)
        layers.w.token("</NoOpComponent>")
        layers.count += 1
        below = f"sum{i}"
    layers.affine(
        "scores", below, model.output.weight.detach().numpy()[:, :, 0],
        model.output.bias.detach().numpy(),
    )  # fmt: skip
    layers.config.append("output-node name=output input=scores objective=linear")


def final_mdl(model: net.Network, bits: int) -> bytes:
    w = Writer(bits)
    transition_model(w, units.chains(model.output.out_channels))
    parts = Writer(bits)
    parts.out = bytearray()
    layers = Layers(parts)
    network_layers(layers, model)
    w.token("<Nnet3>")
    w.out += b"\n" + "\n".join(layers.config).encode() + b"\n\n"
    w.token("<NumComponents>")
    w.int32(layers.count)
    w.out += parts.out
    w.token("</Nnet3>")
    w.token("<LeftContext>")
    w.int32(model.shape.left)
    w.token("<RightContext>")
    w.int32(model.shape.right)
    w.token("<Priors>")
    w.vector(np.zeros(0))
    return bytes(w.out)


MFCC_CONF = f"""--use-energy=false
--num-mel-bins={features.NUM_MEL}
--num-ceps={features.NUM_MEL}
--low-freq={features.LOW_HZ:g}
--high-freq={features.HIGH_HZ:g}
--dither=0
--sample-frequency={features.SAMPLE_RATE}
"""

#: Frames at once: 150 are an answer of 1.5 s. At Kaldi's own 20 most of the time went into packing
#: the weights for each product anew. The scores are the same but for rounding (1e-4).
MODEL_CONF = """--frames-per-chunk=150
--min-active=50
--max-active=1000
--beam=13.0
--lattice-beam=7.0
--prune-interval=50
--determinize-max-delay=400
--acoustic-scale=1.0
--frame-subsampling-factor=3
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=0.75
--endpoint.rule4.min-trailing-silence=1.0
"""


def card(version: str, folder: Path, chains: int) -> dict[str, object]:
    """What a program needs to know of the model in ``folder``: ``model.json``.

    Clips of its self-test are ``self_test/VALUE.flac``, named by the number that is said.
    """
    clips = sorted((folder / "self_test").glob("*.flac"))
    spans = [(path, span) for path, span in graph.ranges()]
    return {
        "name": "number-en",
        "version": version,
        "language": "en",
        "sample_rate": features.SAMPLE_RATE,
        "words": list(units.NUMBER_WORDS),
        "unknown": [units.UNK],
        "unknown_chains": chains,
        "lowest": graph.FULL.lowest,
        "highest": graph.FULL.highest,
        "default": [0, 99],
        "graphs": [
            {"file": str(path), "lowest": span.lowest, "highest": span.highest}
            for path, span in spans
        ],
        "self_test": [
            {"file": f"self_test/{clip.name}", "value": int(clip.stem)} for clip in clips
        ],
        "licence": "CC-BY-SA-4.0",
        "card": "MODEL_CARD.md",
    }


def load(path: Path) -> net.Network:
    saved = torch.load(path, map_location="cpu", weights_only=True)
    outputs = len(saved["units"])
    if tuple(saved["units"]) != units.UNITS[:outputs]:
        raise SystemExit(f"{path}: trained for other units than those of units.py")
    shape = dict(saved["shape"])
    shape["splices"] = tuple(tuple(s) for s in shape["splices"])
    shape["filters"] = tuple(shape["filters"])
    model = net.Network(outputs, net.Shape(**shape))
    model.load_state_dict(saved["state"])
    return model.eval()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--network", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--bits", type=int, choices=(8, 16, 32), default=16)
    parser.add_argument("--version", default="0.1")
    args = parser.parse_args()
    for folder in ("am", "conf"):
        (args.out / folder).mkdir(parents=True, exist_ok=True)
    model = load(args.network)
    data = final_mdl(model, args.bits)
    chains = units.chains(model.output.out_channels)
    (args.out / "am" / "final.mdl").write_bytes(data)
    (args.out / "conf" / "mfcc.conf").write_text(MFCC_CONF)
    (args.out / "conf" / "model.conf").write_text(MODEL_CONF)
    (args.out / "model.json").write_text(
        json.dumps(card(args.version, args.out, chains), indent=1) + "\n"
    )
    print(f"am/final.mdl: {len(data) / 2**20:.2f} MiB")


if __name__ == "__main__":
    main()
