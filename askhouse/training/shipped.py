"""The shipped models as the modules that are trained: int8 ONNX files widened again."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import onnx
import torch
from numpy.typing import NDArray
from onnx import numpy_helper

from askhouse.training.modules import FactReader, TextEncoder

__all__ = ["shipped"]


def shipped(models: Path, base: str, device: str = "cpu") -> tuple[TextEncoder, FactReader]:
    """The pair of `encoder.onnx` and `reader.onnx`.

    Args:
        models: Folder of the files that `askhouse.training.export` wrote.
        base: Folder of the weights their training started from; its shape is theirs.
        device: Where the modules are put.
    """
    encoder, reader = TextEncoder(base, device), FactReader(device)
    own = dict(_weights(models / "encoder.onnx"))
    with np.load(models / "heads-trained.npz", allow_pickle=False) as heads:
        for name in ("kind", "hazard"):
            own[f"{name}.whole.weight"] = heads[f"{name}_weights"]
            own[f"{name}.whole.bias"] = heads[f"{name}_bias"]
            own[f"{name}.looks.weight"] = heads[f"{name}_looks"]
            own[f"{name}.says.weight"] = heads[f"{name}_says"]
        own["cut.weight"] = heads["cut_weights"][None]
        own["cut.bias"] = heads["cut_bias"][None]
    read = {name.removeprefix("reader."): value for name, value in _weights(models / "reader.onnx")}
    read["side"] = np.stack([read.pop("asked"), read.pop("facts")])
    for model, weights in ((encoder, own), (reader, read)):
        model.load_state_dict(
            {name: torch.tensor(weights[name], dtype=torch.float32) for name in model.state_dict()}
        )
    return encoder, reader


def _weights(path: Path) -> Iterator[tuple[str, NDArray[np.float32]]]:
    """Names and values. A product's weight is called by the bias that is added to it."""
    graph = onnx.load(path).graph
    held = {one.name: numpy_helper.to_array(one) for one in graph.initializer}
    added = {node.input[0]: node.input[1] for node in graph.node if node.op_type == "Add"}
    for name, value in held.items():
        if name.endswith((".weight", ".bias", ".closeness")):
            yield name, value
        if name.endswith("embeddings.weight_quantized"):
            whole = name.removesuffix("_quantized")
            yield whole, _widened(value, held[f"{whole}_scale"], held[f"{whole}_zero_point"])
    for node in graph.node:
        names = list(node.input)
        if node.op_type == "DynamicQuantizeMatMul":
            _, weight, scale, zero, bias = names
            bias = bias or added[node.output[0]]
        elif node.op_type == "MatMulIntegerToFloat":
            _, weight, _, scale, _, zero, bias = names
        else:
            # Which side of a pair a word is on is added to it before all else.
            if node.op_type == "Add" and names[0] in {"facts", "/Expand_output_0"}:
                yield ("facts" if names[0] == "facts" else "asked"), held[names[1]]
            continue
        yield (
            f"{bias.removesuffix('.bias')}.weight",
            _widened(held[weight], held[scale], held[zero]).T,
        )


def _widened(
    value: NDArray[np.integer], scale: NDArray[np.float32], zero: NDArray[np.integer]
) -> NDArray[np.float32]:
    return (value.astype(np.float32) - zero.astype(np.float32)) * scale
