"""A base model's folder opened: its tokenizer as tensors, its weights as a module."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import torch
from tokenizers import Tokenizer
from torch import Tensor, nn
from transformers import AutoModel

__all__ = ["Tokens", "mean_of", "open_body"]


class Tokens:
    """The tokenizer of a folder; texts or pairs become tensors on the device."""

    def __init__(self, base: str, device: str, most: int) -> None:
        self._tokenizer = Tokenizer.from_file(str(Path(base) / "tokenizer.json"))
        self._tokenizer.enable_truncation(most)
        pad = "[PAD]" if self._tokenizer.token_to_id("[PAD]") is not None else "<pad>"
        self._tokenizer.enable_padding(pad_id=self._tokenizer.token_to_id(pad), pad_token=pad)
        self._device = device

    def __call__(self, rows: Sequence[str] | Sequence[tuple[str, str]]) -> dict[str, Tensor]:
        """Ids, mask and segment of each row, `(rows, tokens)`, padded to the longest."""
        encoded = self._tokenizer.encode_batch(list(rows))
        fields = {
            "input_ids": [row.ids for row in encoded],
            "attention_mask": [row.attention_mask for row in encoded],
            "token_type_ids": [row.type_ids for row in encoded],
        }
        return {name: torch.tensor(value, device=self._device) for name, value in fields.items()}


def open_body(base: str, device: str) -> nn.Module:
    """The transformer of a folder in single precision."""
    body: nn.Module = AutoModel.from_pretrained(base, add_pooling_layer=False)
    return body.float().to(device)


def mean_of(body: nn.Module, rows: dict[str, Tensor], device: str) -> Tensor:
    """The mean of the last layer over the words of each row, `(rows, size)`."""
    with torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda"):
        hidden = body(**rows).last_hidden_state
    mask = rows["attention_mask"][:, :, None]
    pooled: Tensor = (hidden.float() * mask).sum(1) / mask.sum(1)
    return pooled
