"""A base model's folder opened: its tokenizer, and its weights as a module."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from tokenizers import Tokenizer
from torch import Tensor
from transformers import AutoModel

from askhouse.parts.cuts import word_starts

__all__ = ["Tokens", "mean_of", "open_body"]


class Tokens:
    """The tokenizer of a folder.

    Texts are read in lower case, so that SHOUTING is no other language.
    """

    def __init__(self, base: str, most: int) -> None:
        self._tokenizer = Tokenizer.from_file(str(Path(base) / "tokenizer.json"))
        self._tokenizer.enable_truncation(most)
        self._read: dict[str, tuple[NDArray[np.int64], list[tuple[int, int]]]] = {}

    def __call__(self, texts: Sequence[str]) -> list[NDArray[np.int64]]:
        """The ids of each text."""
        new = [text for text in dict.fromkeys(texts) if text not in self._read]
        encodings = self._tokenizer.encode_batch([text.lower() for text in new])
        for text, one in zip(new, encodings, strict=True):
            self._read[text] = np.array(one.ids), one.offsets
        return [self._read[text][0] for text in texts]

    def word_starts(self, text: str) -> list[tuple[int, int]]:
        """Token and character at which each word begins, but the first."""
        self([text])
        return word_starts(text, self._read[text][1])


def open_body(base: str, device: str) -> tuple[Any, int]:
    """The transformer of a folder in single precision, and the size of its states."""
    body = AutoModel.from_pretrained(base, add_pooling_layer=False)
    return body.float().to(device), int(body.config.hidden_size)


def mean_of(hidden: Tensor, mask: Tensor) -> Tensor:
    """The mean over the words of each row, `(rows, tokens, size)` to `(rows, size)`."""
    weights = mask[:, :, None].to(hidden.dtype)
    return (hidden * weights).sum(1) / weights.sum(1).clamp(min=1)
