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

    def __init__(self, path: Path = MODELS / "reader.onnx") -> None:
        import onnxruntime

        if not path.is_file():
            raise ModelError(f"{path.name} is missing: install the package again")
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1  # as for the encoder: two would wait for each other
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
        part = asked[None].astype(np.float32)
        logits = np.array(
            [self._logit(part, words, cosine) for words, cosine in zip(facts, cosines, strict=True)]
        )
        shares: NDArray[np.float64] = 1.0 / (1.0 + np.exp(-logits))
        return shares

    def _logit(self, part: NDArray[np.float32], words: WordStates, cosine: np.float32) -> float:
        # A fact at a time, since padding costs as much as words do.
        (logits,) = self._session.run(
            None,
            {
                "asked": part,
                "facts": words[None].astype(np.float32),
                "fact_mask": np.ones((1, len(words)), dtype=np.int64),
                "cosine": np.array([cosine], dtype=np.float32),
            },
        )
        return float(logits[0])
