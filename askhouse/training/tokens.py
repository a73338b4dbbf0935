"""A base model's folder opened: its tokenizer as tensors, its weights as a module."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
from tokenizers import Tokenizer
from torch import Tensor, nn
from transformers import AutoModel

from askhouse.parts.cuts import word_starts

__all__ = ["Tokens", "mean_of", "open_body"]


class Tokens:
    """The tokenizer of a folder; texts become padded tensors on the device.

    Texts are read in lower case, so that SHOUTING is no other language.
    """

    def __init__(self, base: str, device: str, most: int) -> None:
        self._tokenizer = Tokenizer.from_file(str(Path(base) / "tokenizer.json"))
        self._tokenizer.enable_truncation(most)
        pad = "[PAD]" if self._tokenizer.token_to_id("[PAD]") is not None else "<pad>"
        self._pad = self._tokenizer.token_to_id(pad)
        self._device = device
        self._cache: dict[str, list[int]] = {}
        self._starts: dict[str, list[tuple[int, int]]] = {}

    def word_starts(self, text: str) -> list[tuple[int, int]]:
        """Token and character at which each word begins, but the first."""
        if text not in self._starts:
            offsets = self._tokenizer.encode(text.lower()).offsets
            self._starts[text] = word_starts(text, offsets)
        return self._starts[text]

    def __call__(self, texts: Sequence[str]) -> dict[str, Tensor]:
        """Ids and mask of each text, `(texts, tokens)`."""
        new = [text for text in dict.fromkeys(texts) if text not in self._cache]
        encodings = self._tokenizer.encode_batch([text.lower() for text in new])
        self._cache.update(zip(new, (encoding.ids for encoding in encodings), strict=True))
        rows = [self._cache[text] for text in texts]
        width = -(-max(len(row) for row in rows) // 8) * 8
        ids = np.full((len(rows), width), self._pad, dtype=np.int64)
        mask = np.zeros((len(rows), width), dtype=np.int64)
        for place, row in enumerate(rows):
            ids[place, : len(row)] = row
            mask[place, : len(row)] = 1
        return {
            "input_ids": torch.from_numpy(ids).to(self._device),
            "attention_mask": torch.from_numpy(mask).to(self._device),
        }


def open_body(base: str, device: str) -> tuple[nn.Module, int]:
    """The transformer of a folder in single precision, and the size of its states."""
    body = AutoModel.from_pretrained(base, add_pooling_layer=False)
    return body.float().to(device), int(body.config.hidden_size)


def mean_of(hidden: Tensor, mask: Tensor) -> Tensor:
    """The mean over the words of each row, `(rows, tokens, size)` to `(rows, size)`."""
    weights = mask[:, :, None].to(hidden.dtype)
    return (hidden * weights).sum(1) / weights.sum(1).clamp(min=1)
