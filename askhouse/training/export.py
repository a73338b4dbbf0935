"""The trained models -> int8 ONNX files inside the package.

python -m askhouse.training.export --base DIR --trained DIR
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import torch
import typer
from numpy.typing import NDArray
from onnxruntime import GraphOptimizationLevel, InferenceSession, SessionOptions
from onnxruntime.quantization import QuantType, quantize_dynamic
from torch import Tensor, nn

from askhouse.encoder import MODELS, TrainedEncoder
from askhouse.training.examples import HAZARDS, KINDS
from askhouse.training.modules import WIDTH, FactReader, TextEncoder, WordHead
from askhouse.training.tokens import mean_of

__all__ = ["export_encoder", "export_reader", "head_arrays", "load_trained"]

OPSET = 17


class _EncoderGraph(nn.Module):
    """Ids and mask in; the unit vector and the reader's narrow words out."""

    def __init__(self, encoder: TextEncoder) -> None:
        super().__init__()
        self.body = encoder.body
        self.narrow = encoder.narrow

    def forward(self, input_ids: Tensor, attention_mask: Tensor) -> tuple[Tensor, Tensor]:
        hidden = self.body(input_ids=input_ids, attention_mask=attention_mask).last_hidden_state
        pooled = mean_of(hidden, attention_mask)
        return pooled / pooled.norm(dim=1, keepdim=True), self.narrow(hidden)


class _ReaderGraph(nn.Module):
    """One message's words against several facts' words; the message is repeated inside."""

    def __init__(self, reader: FactReader) -> None:
        super().__init__()
        self.reader = reader

    def forward(self, asked: Tensor, facts: Tensor, fact_mask: Tensor, cosine: Tensor) -> Tensor:
        many = facts.shape[0]
        repeated = asked.expand(many, -1, -1)
        ones = torch.ones_like(repeated[:, :, 0], dtype=torch.int64)
        logits: Tensor = self.reader(repeated, ones, facts, fact_mask, cosine)
        return logits


def export_encoder(encoder: TextEncoder, path: Path) -> None:
    """Writes the encoder as ONNX in single precision."""
    ids = torch.ones(2, 8, dtype=torch.long)
    names = ("input_ids", "attention_mask", "words")
    torch.onnx.export(
        _EncoderGraph(encoder).eval(),
        (ids, ids),
        str(path),
        input_names=["input_ids", "attention_mask"],
        output_names=["vectors", "words"],
        dynamic_axes={"vectors": {0: "texts"}} | {n: {0: "texts", 1: "tokens"} for n in names},
        opset_version=OPSET,
        dynamo=False,
    )


def export_reader(reader: FactReader, path: Path) -> None:
    """Writes the reader as ONNX in single precision."""
    mask = torch.ones(3, 7, dtype=torch.long)
    mask[1, 5:] = 0
    torch.onnx.export(
        _ReaderGraph(reader).eval(),
        (torch.randn(1, 5, WIDTH), torch.randn(3, 7, WIDTH), mask, torch.rand(3)),
        str(path),
        input_names=["asked", "facts", "fact_mask", "cosine"],
        output_names=["logits"],
        dynamic_axes={
            "asked": {1: "words"},
            "facts": {0: "facts", 1: "tokens"},
            "fact_mask": {0: "facts", 1: "tokens"},
            "cosine": {0: "facts"},
            "logits": {0: "facts"},
        },
        opset_version=OPSET,
        dynamo=False,
    )


def quantised(source: Path, target: Path) -> None:
    """int8 weights, one scale a channel; activations are quantised while running.

    With weights alone in int8 and arithmetic in single precision a question takes twice
    as long. The price: activations are scaled by the largest in the batch, so that texts
    must be run one at a time, as `TrainedEncoder` and `Reader` do. The weights are
    unsigned: processors without VNNI add pairs of signed products in 16 bits, which
    overflow, so that the same message would get another answer on another machine.
    """
    narrow = source.with_suffix(".int8.onnx")
    quantize_dynamic(source, narrow, weight_type=QuantType.QUInt8, per_channel=True)
    # Fused once here instead of at every start, which halves the time to open the file.
    options = SessionOptions()
    options.graph_optimization_level = GraphOptimizationLevel.ORT_ENABLE_EXTENDED
    options.optimized_model_filepath = str(target)
    InferenceSession(narrow, options)


def load_trained(base: str, trained: Sequence[Path]) -> tuple[TextEncoder, FactReader]:
    """The trained pair on the processor, the mean of the weights where there are several.

    Their mean is better than each, if all went on from the same models (model soups,
    Wortsman et al., ICML 2022).
    """
    encoder = TextEncoder(base, "cpu")
    reader = FactReader("cpu")
    for name, model in (("encoder", encoder), ("reader", reader)):
        several = [torch.load(folder / f"{name}.pt", weights_only=True) for folder in trained]
        model.load_state_dict(
            {
                key: torch.stack([weights[key].float() for weights in several]).mean(dim=0)
                for key in several[0]
            }
        )
        model.eval()
    return encoder, reader


def head_arrays(name: str, classes: Sequence[str], head: WordHead) -> dict[str, NDArray[Any]]:
    """A head as the arrays that `askhouse.kinds` reads."""
    return {
        f"{name}_classes": np.array(classes),
        f"{name}_weights": head.whole.weight.detach().numpy(),
        f"{name}_bias": head.whole.bias.detach().numpy(),
        f"{name}_looks": head.looks.weight.detach().numpy(),
        f"{name}_says": head.says.weight.detach().numpy(),
    }


def main(
    base: Annotated[Path, typer.Option(help="folder of the weights training started from")],
    trained: Annotated[
        list[Path], typer.Option(help="folder with encoder.pt and reader.pt; repeat for the mean")
    ],
    out: Annotated[Path, typer.Option()] = MODELS,
) -> None:
    """Write encoder.onnx, reader.onnx, tokenizer.json and the heads."""
    encoder, reader = load_trained(str(base), trained)
    with tempfile.TemporaryDirectory() as folder:
        full = Path(folder)
        export_encoder(encoder, full / "encoder.onnx")
        export_reader(reader, full / "reader.onnx")
        for name in ("encoder", "reader"):
            quantised(full / f"{name}.onnx", out / f"{name}.onnx")
    shutil.copyfile(base / "tokenizer.json", out / "tokenizer.json")
    np.savez(
        out / "heads-trained.npz",
        allow_pickle=False,
        encoder=np.array(TrainedEncoder(out).name),
        **head_arrays("kind", KINDS, encoder.kind),
        **head_arrays("hazard", HAZARDS, encoder.hazard),
        cut_weights=encoder.cut.weight.detach().numpy()[0],
        cut_bias=encoder.cut.bias.detach().numpy()[0],
    )
    for path in sorted(out.glob("*")):
        print(f"{path.name:24} {path.stat().st_size / 1e6:6.1f} MB")


if __name__ == "__main__":
    typer.run(main)
