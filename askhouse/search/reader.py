"""The reader: the words of a part and of a fact together -> does the fact answer?

It starts from the encoder's word states. A fact's are made once and kept in the
index; a part's come with its vector; so a question costs a few small layers.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import MODELS, WordStates
from askhouse.errors import ModelError

__all__ = ["Reader"]


class Reader:
    """A small ONNX model that belongs to the trained encoder.

    Raises:
        ModelError: The file is missing.
    """

    def __init__(self, path: Path = MODELS / "reader.onnx", *, threads: int = 2) -> None:
        import onnxruntime

        if not path.is_file():
            raise ModelError(f"{path.name} is missing: install the package again")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        self._session = onnxruntime.InferenceSession(path.read_bytes(), options)

    def answers(
        self, asked: WordStates, facts: Sequence[WordStates], cosines: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        """The probability that each fact answers, `(facts,)`, 0 to 1, not yet calibrated.

        Args:
            asked: The part's words, `(tokens, width)`.
            facts: Each fact's words, `(tokens, width)`.
            cosines: Of the part and each whole fact, `(facts,)`.
        """
        width = max(len(words) for words in facts)
        padded = np.zeros((len(facts), width, asked.shape[1]), dtype=np.float32)
        mask = np.zeros((len(facts), width), dtype=np.int64)
        for row, words in enumerate(facts):
            padded[row, : len(words)] = words
            mask[row, : len(words)] = 1
        (logits,) = self._session.run(
            None,
            {
                "asked": asked[None].astype(np.float32),
                "facts": padded,
                "fact_mask": mask,
                "cosine": cosines.astype(np.float32),
            },
        )
        shares: NDArray[np.float64] = 1.0 / (1.0 + np.exp(-logits.astype(np.float64)))
        return shares
