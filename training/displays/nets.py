"""The two networks, as plain chains of convolutions, and how they are written down for OpenCV."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from torch import nn


def conv(a: int, b: int, size: tuple[int, int] = (3, 3), stride: tuple[int, int] = (1, 1), dilation: tuple[int, int] = (1, 1),
         groups: int = 1, valid: bool = False) -> list[nn.Module]:  # fmt: skip
    """A convolution that keeps the size (unless `valid`), normalised, rectified."""
    pad = (0, 0) if valid else (dilation[0] * (size[0] // 2), dilation[1] * (size[1] // 2))
    return [nn.Conv2d(a, b, size, stride, pad, dilation, groups, bias=False), nn.BatchNorm2d(b), nn.ReLU(inplace=True)]


def finder() -> nn.Sequential:
    """(1, h, w) to (5, h/4, w/4): figure, height, slant, tilt, light; sees 70 pixels about each place."""
    return nn.Sequential(
        *conv(1, 12, (5, 5), (2, 2)), *conv(12, 24, stride=(2, 2)), *conv(24, 36), *conv(36, 40, dilation=(2, 2)),
        *conv(40, 48, dilation=(2, 2)), *conv(48, 48, dilation=(3, 3)), nn.Conv2d(48, 5, 1),
    )  # fmt: skip


def reader() -> nn.Sequential:
    """(2, 56, 256) to (17, 1, 64): six kinds, seven segments, the point, and how far off the row lies."""
    return nn.Sequential(
        *conv(2, 16, (5, 5), (2, 2)), *conv(16, 36, stride=(2, 2)), *conv(36, 56), *conv(56, 72, stride=(2, 1)),
        *conv(72, 72, (7, 1), groups=72, valid=True), *conv(72, 72, (1, 5)), *conv(72, 64, (1, 5), dilation=(1, 2)),
        *conv(64, 64, (1, 5), dilation=(1, 3)), nn.Conv2d(64, 17, 1),
    )  # fmt: skip


def value(name: str, sizes: list[int | str]) -> onnx.ValueInfoProto:
    """What goes in or comes out."""
    return helper.make_tensor_value_info(name, TensorProto.FLOAT, sizes)


def write_onnx(net: nn.Sequential, shape: tuple[int, int, int], free: bool, path: Path) -> None:
    """The chain as ONNX, normalisation folded into the convolutions. free : height and width of the input may be any."""
    net = net.eval().cpu()
    nodes, weights, name = [], [], "image"
    layers = list(net)
    for i, layer in enumerate(layers):
        if not isinstance(layer, nn.Conv2d):
            continue
        weight = layer.weight.detach().numpy().astype(np.float64)
        bias = layer.bias.detach().numpy().astype(np.float64) if layer.bias is not None else np.zeros(len(weight))
        norm = layers[i + 1] if i + 1 < len(layers) else None
        if isinstance(norm, nn.BatchNorm2d):
            assert norm.running_var is not None and norm.running_mean is not None
            gain = norm.weight.detach().numpy() / np.sqrt(norm.running_var.numpy() + norm.eps)
            weight = weight * gain[:, None, None, None]
            bias = (bias - norm.running_mean.numpy()) * gain + norm.bias.detach().numpy()
        last = i == len(layers) - 1
        out = "answer" if last else f"c{i}"
        weights += [
            numpy_helper.from_array(weight.astype(np.float32), f"w{i}"),
            numpy_helper.from_array(bias.astype(np.float32), f"b{i}"),
        ]
        pad = list(layer.padding)
        shape_of: dict[str, Any] = {"strides": list(layer.stride), "pads": pad + pad, "dilations": list(layer.dilation)}
        shape_of |= {"group": layer.groups, "kernel_shape": list(layer.kernel_size)}
        nodes.append(helper.make_node("Conv", [name, f"w{i}", f"b{i}"], [out], **shape_of))
        name = out
        if not last:
            nodes.append(helper.make_node("Relu", [name], [f"r{i}"]))
            name = f"r{i}"
    sizes: list[int | str] = ["n", shape[0], "h", "w"] if free else ["n", *shape]
    graph = helper.make_graph(nodes, "display", [value("image", sizes)],
                              [value("answer", ["n", "c", "y", "x"])], weights)  # fmt: skip
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], producer_name="ribangle")
    model.ir_version = 8
    onnx.checker.check_model(model)
    path.write_bytes(model.SerializeToString())


def read_onnx(net: nn.Sequential, path: Path) -> None:
    """Put the weights of a written network into a chain of the same shape; its normalisation becomes the identity."""
    held = {w.name: torch.from_numpy(numpy_helper.to_array(w).copy()) for w in onnx.load(path).graph.initializer}
    layers = list(net)
    for i, layer in enumerate(layers):
        if isinstance(layer, nn.Conv2d):
            layer.weight.data = held[f"w{i}"]
            norm = layers[i + 1] if i + 1 < len(layers) else layer
            if isinstance(norm, nn.BatchNorm2d):
                norm.eps = 0.0
                norm.bias.data = held[f"b{i}"]
            elif layer.bias is not None:
                layer.bias.data = held[f"b{i}"]


def seeded(seed: int) -> torch.Generator:
    """The one source of chance in training."""
    torch.manual_seed(seed)
    return torch.Generator().manual_seed(seed)
