"""Runs the Kokoro ONNX graph with PyTorch, so that a GPU can speak; float arithmetic throughout.

Only the operators that this graph has. A dynamically quantised activation stays float: it is
divided by a fixed fine step, which keeps the graph's own scale arithmetic unchanged.
"""

from pathlib import Path

import numpy as np
import onnx
import torch
import torch.nn.functional as F
from onnx import helper, numpy_helper

STEP = 1e-4  # stands for the activation scale
TYPES = {
    1: torch.float32,
    6: torch.int32,
    7: torch.int64,
    9: torch.bool,
    3: torch.int8,
    2: torch.uint8,
    11: torch.float64,
}
UNARY = {
    "Floor": torch.floor,
    "Sqrt": torch.sqrt,
    "Sigmoid": torch.sigmoid,
    "Round": torch.round,
    "Sin": torch.sin,
    "Tanh": torch.tanh,
    "Exp": torch.exp,
    "Cos": torch.cos,
}
BINARY = {
    "Mul": torch.mul,
    "Add": torch.add,
    "Sub": torch.sub,
    "Pow": torch.pow,
    "Equal": torch.eq,
    "Less": torch.lt,
    "Greater": torch.gt,
    "GreaterOrEqual": torch.ge,
    "And": torch.logical_and,
    "MatMul": torch.matmul,
}


def ints(tensor: torch.Tensor) -> list[int]:
    """A shape-like tensor as Python integers."""
    return [int(v) for v in tensor.reshape(-1).tolist()]


class Graph:
    """A loaded graph; call `run` with its inputs by name."""

    def __init__(self, path: Path, device: str) -> None:
        graph = onnx.load(path).graph
        self.device = torch.device(device)
        self.values: dict[str, torch.Tensor] = {}
        for tensor in graph.initializer:
            value = torch.from_numpy(np.array(numpy_helper.to_array(tensor)))
            # Shapes and axes stay on the host; everything numeric goes to the device.
            self.values[tensor.name] = value if value.dtype == torch.int64 else value.to(device)
        self.output = graph.output[0].name
        self.lstms: dict[str, torch.nn.LSTM] = {}
        nodes = [
            (
                n.op_type,
                n.name,
                list(n.input),
                list(n.output),
                {a.name: helper.get_attribute_value(a) for a in n.attribute},
            )
            for n in graph.node
        ]
        self.weights: dict[str, torch.Tensor] = {}
        for op, _, _, outputs, _ in nodes:
            if op == "DynamicQuantizeLinear":
                self.values[outputs[1]] = torch.tensor(STEP, device=device)
                self.values[outputs[2]] = torch.tensor(0.0, device=device)
        self.nodes = []
        with torch.inference_mode():
            for node in nodes:  # what depends on nothing but weights is worked out once
                if node[2] and all(not i or i in self.values for i in node[2]):
                    self.step(node, self.values)
                else:
                    self.nodes.append(node)
        last = {}
        for index, node in enumerate(self.nodes):
            last.update(dict.fromkeys(node[2], index))
        self.drop: dict[int, list[str]] = {}
        for name, index in last.items():
            if name and name not in self.values and name != self.output:
                self.drop.setdefault(index, []).append(name)

    def run(self, inputs: dict[str, torch.Tensor]) -> torch.Tensor:
        """The graph's first output."""
        fresh = {name: value.to(self.device) for name, value in inputs.items()}
        values = _Layered(fresh, self.values)
        with torch.inference_mode():
            for index, node in enumerate(self.nodes):
                self.step(node, values)
                for name in self.drop.get(index, ()):
                    fresh.pop(name, None)
        return fresh[self.output]

    def step(self, node: tuple, values: dict[str, torch.Tensor]) -> None:
        """Work out one node."""
        op, name, inputs, outputs, attributes = node
        x = [values[i] if i else None for i in inputs]
        try:
            result = self.compute(op, name, x, attributes)
        except RuntimeError:  # host and device mixed
            moved = [v if v is None else v.to(self.device) for v in x]
            result = self.compute(op, name, moved, attributes)
        if isinstance(result, (tuple, list)):
            for key, value in zip(outputs, result, strict=False):
                values[key] = value
        else:
            values[outputs[0]] = result

    def together(self, a: torch.Tensor, b: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Both on one device."""
        if a.device != b.device:
            return a.to(self.device), b.to(self.device)
        return a, b

    def compute(self, op, name, x, at):
        """One operator by the ONNX definition."""
        if op in BINARY:
            return BINARY[op](*self.together(x[0], x[1]))
        if op in UNARY:
            return UNARY[op](x[0])
        if op == "Atan":  # of a quotient that is 0 / 0 in silence
            return torch.atan(torch.nan_to_num(x[0]))
        if op == "Div":
            a, b = self.together(x[0], x[1])
            if not a.is_floating_point():
                return torch.div(a, b, rounding_mode="trunc")
            return a / b
        if op == "Cast":
            return x[0].to(TYPES[at["to"]])
        if op == "Unsqueeze":
            out = x[0]
            for axis in sorted(ints(x[1])):
                out = out.unsqueeze(axis)
            return out
        if op == "Squeeze":
            out = x[0]
            for axis in sorted(ints(x[1]), reverse=True):
                out = out.squeeze(axis)
            return out
        if op == "DynamicQuantizeLinear":
            return x[0] / STEP
        if op == "MatMulInteger":
            return torch.matmul(x[0], self.weight(name, x))
        if op in ("ConvInteger", "Conv"):
            weight = self.weight(name, x) if op == "ConvInteger" else x[1]
            bias = x[2] if op == "Conv" and len(x) > 2 else None
            pads, size = at["pads"], len(at["kernel_shape"])
            sound = x[0]
            if pads[:size] != pads[size:]:
                sound = F.pad(
                    sound, [p for i in reversed(range(size)) for p in (pads[i], pads[i + size])]
                )
                pads = [0] * size
            call = F.conv1d if size == 1 else F.conv2d
            return call(
                sound,
                weight,
                bias,
                stride=at["strides"],
                padding=pads[:size],
                dilation=at["dilations"],
                groups=at["group"],
            )
        if op == "ConvTranspose":
            bias = x[2] if len(x) > 2 else None
            return F.conv_transpose1d(
                x[0],
                x[1],
                bias,
                stride=at["strides"],
                padding=at["pads"][:1],
                output_padding=at.get("output_padding", [0]),
                groups=at["group"],
                dilation=at["dilations"],
            )
        if op == "Reshape":
            shape = ints(x[1])
            shape = [x[0].shape[i] if v == 0 else v for i, v in enumerate(shape)]
            return x[0].reshape(shape)
        if op == "Gather":
            data, index = x[0], x[1]
            if index.device != data.device:
                index = index.to(data.device)
            axis = at["axis"] % data.dim()
            index = torch.where(index < 0, index + data.shape[axis], index)
            picked = data.index_select(axis, index.reshape(-1))
            return picked.reshape([*data.shape[:axis], *index.shape, *data.shape[axis + 1 :]])
        if op == "ReduceMean":
            return x[0].mean(dim=ints(x[1]), keepdim=bool(at["keepdims"]))
        if op == "ReduceSum":
            return x[0].sum(dim=ints(x[1]), keepdim=bool(at["keepdims"]))
        if op == "Transpose":
            return x[0].permute(at["perm"])
        if op == "Split":
            return torch.split(x[0], ints(x[1]), dim=at["axis"])
        if op == "Shape":
            return torch.tensor(list(x[0].shape), dtype=torch.int64)
        if op == "Concat":
            device = next((v.device for v in x if v.device != torch.device("cpu")), x[0].device)
            return torch.cat([v.to(device) for v in x], dim=at["axis"])
        if op == "LeakyRelu":
            return F.leaky_relu(x[0], at["alpha"])
        if op == "Slice":
            return sliced(x)
        if op == "LayerNormalization":
            return F.layer_norm(x[0], x[1].shape, x[1], x[2], at["epsilon"])
        if op == "SkipLayerNormalization":
            return F.layer_norm(x[0] + x[1], x[2].shape, x[2], x[3], at["epsilon"])
        if op == "Softmax":
            return torch.softmax(x[0], at["axis"])
        if op == "FastGelu":
            return F.gelu(x[0] + x[1], approximate="tanh")
        if op == "DequantizeLinear":
            return (x[0].float() - x[2].float()) * x[1]
        if op == "Where":
            device = self.device if any(v.device == self.device for v in x) else x[0].device
            return torch.where(*(v.to(device) for v in x))
        if op == "ConstantOfShape":
            fill = numpy_helper.to_array(at["value"])
            return torch.full(ints(x[0]), fill.item(), dtype=torch.from_numpy(fill.copy()).dtype)
        if op == "Resize":
            scales = [float(v) for v in x[2].tolist()]
            assert scales[:-1] == [1.0] * (len(scales) - 1)
            size = int(x[0].shape[-1] * scales[-1])
            if at["mode"] == b"nearest":
                index = (torch.arange(size, device=x[0].device) / scales[-1]).floor().long()
                return x[0].index_select(-1, index)
            return (
                F.interpolate(x[0], size=size, mode="linear", align_corners=False)
                if (x[0].dim() == 3)
                else self.linear(x[0], size)
            )
        if op == "Expand":
            shape = ints(x[1])
            target = torch.broadcast_shapes(tuple(x[0].shape), tuple(shape))
            return x[0].expand(target)
        if op == "Clip":
            low = x[1].item() if x[1] is not None else None
            high = x[2].item() if len(x) > 2 and x[2] is not None else None
            return torch.clamp(x[0], low, high)
        if op == "CumSum":
            return torch.cumsum(x[0], dim=int(x[1].item()))
        if op == "Range":
            return torch.arange(
                x[0].item(), x[1].item(), x[2].item(), dtype=x[0].dtype, device=self.device
            )
        if op == "NonZero":
            return torch.nonzero(x[0]).T
        if op == "ScatterND":
            data, index, update = (v.to(self.device) for v in x)
            out = data.clone()
            out[tuple(index.movedim(-1, 0))] = update
            return out
        if op == "FusedMatMul":
            return torch.matmul(x[0].transpose(-1, -2), x[1]) * at["alpha"]
        if op == "Pad":
            pads, half = ints(x[1]), x[0].dim()
            last = [pads[half - 1], pads[-1]]
            assert sum(pads) == sum(last)
            return (
                F.pad(x[0], last, mode="reflect")
                if x[0].dim() > 1
                else F.pad(x[0][None], last, mode="reflect")[0]
            )
        if op == "STFT":
            signal, hop, window = x[0], int(x[1].item()), x[2]
            frame = int(x[3].item())
            if signal.dim() == 3:
                signal = signal[..., 0]
            frames = signal.unfold(-1, frame, hop) * window
            spectrum = torch.fft.rfft(frames)
            return torch.view_as_real(spectrum)
        if op == "DynamicQuantizeLSTM":
            return self.lstm(name, x, at)
        raise NotImplementedError(op)

    def weight(self, name: str, x: list) -> torch.Tensor:
        """An integer weight less its zero point, as float; worked out once."""
        if name not in self.weights:
            self.weights[name] = x[1].float() - x[3].float()
        return self.weights[name]

    def lstm(self, name, x, at):
        """Bidirectional; the graph's gates are i, o, f, c and torch's i, f, c, o."""
        if name not in self.lstms:
            hidden = at["hidden_size"]
            module = torch.nn.LSTM(x[0].shape[-1], hidden, bidirectional=True).to(self.device)
            scale = [(x[1].float(), x[8], x[9]), (x[2].float(), x[10], x[11])]

            def gates(matrix: torch.Tensor) -> torch.Tensor:
                i, o, f, c = matrix.split(hidden)
                return torch.cat([i, f, c, o])

            for direction, suffix in enumerate(("", "_reverse")):
                for (q, step, zero), kind in zip(scale, ("ih", "hh"), strict=True):
                    s, z = step[direction], zero[direction].float()
                    weight = ((q[direction] - z) * s).T
                    getattr(module, f"weight_{kind}_l0{suffix}").data = gates(weight).contiguous()
                wb, rb = x[3][direction].split(4 * hidden)
                getattr(module, f"bias_ih_l0{suffix}").data = gates(wb).contiguous()
                getattr(module, f"bias_hh_l0{suffix}").data = gates(rb).contiguous()
            module.flatten_parameters()
            self.lstms[name] = module
        out, (h, c) = self.lstms[name](x[0])
        steps, batch, _ = out.shape
        return out.reshape(steps, batch, 2, -1).permute(0, 2, 1, 3), h, c

    @staticmethod
    def linear(x: torch.Tensor, size: int) -> torch.Tensor:
        """Linear resize of the last axis for tensors that are not (N, C, T)."""
        return F.interpolate(x.reshape(1, -1, x.shape[-1]), size=size, mode="linear").reshape(
            *x.shape[:-1], size
        )


class _Layered(dict):  # fresh values over the constant ones
    def __init__(self, fresh: dict, constant: dict) -> None:
        super().__init__()
        self.fresh, self.constant = fresh, constant

    def __getitem__(self, key: str) -> torch.Tensor:
        found = self.fresh.get(key)
        return found if found is not None else self.constant[key]

    def __setitem__(self, key: str, value: torch.Tensor) -> None:
        self.fresh[key] = value


def sliced(x: list) -> torch.Tensor:
    """ONNX Slice."""
    data = x[0]
    starts, ends = ints(x[1]), ints(x[2])
    axes = ints(x[3]) if len(x) > 3 and x[3] is not None else list(range(len(starts)))
    steps = ints(x[4]) if len(x) > 4 and x[4] is not None else [1] * len(starts)
    for start, end, axis, step in zip(starts, ends, axes, steps, strict=True):
        picked = range(data.shape[axis])[start:end:step]
        if step > 0:
            data = data.narrow(
                axis, picked.start, 0 if not len(picked) else picked[-1] - picked.start + 1
            )
            if step > 1:
                index = [slice(None)] * data.dim()
                index[axis] = slice(None, None, step)
                data = data[tuple(index)]
        else:
            data = data.index_select(axis, torch.tensor(list(picked), device=data.device))
    return data
