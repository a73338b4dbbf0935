"""Texts of different lengths laid end to end, so that no time goes into padding.

A batch has short messages beside long facts; padded to one width, two of three
tokens would be padding.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn.attention.varlen import varlen_attn

__all__ = ["Pairs", "Ragged", "attended", "on_device"]


class Ragged:
    """How many tokens each of some texts has, which lie end to end.

    Attributes:
        lengths: `(texts,)`.
        total: Tokens of all texts.
        longest: Tokens of the longest.
        owner: For each token its text, `(tokens,)`.
        place: For each token its place in its text, `(tokens,)`.
        starts: Where each text begins, and where the last ends, `(texts + 1,)`.
    """

    def __init__(self, lengths: NDArray[np.int64] | Sequence[int], device: str) -> None:
        many = np.asarray(lengths, dtype=np.int64)
        starts = np.concatenate([[0], np.cumsum(many)])
        self.total = int(starts[-1])
        self.longest = int(many.max())
        self.lengths = many
        self.owner = on_device(np.repeat(np.arange(len(many)), many), device)
        self.place = on_device(np.arange(self.total) - np.repeat(starts[:-1], many), device)
        self.starts = on_device(starts.astype(np.int32), device)

    def mean(self, states: Tensor) -> Tensor:
        """The mean over the tokens of each text, `(tokens, size)` to `(texts, size)`."""
        sums = states.new_zeros(len(self.lengths), states.shape[1])
        return sums.index_add(0, self.owner, states) / self._counts[:, None]

    def padded(self, states: Tensor, value: float) -> Tensor:
        """`(tokens, ...)` to `(texts, longest, ...)`, with the value where no token is."""
        out = states.new_full((len(self.lengths), self.longest, *states.shape[1:]), value)
        return out.index_put((self.owner, self.place), states)

    @cached_property
    def _counts(self) -> Tensor:
        return torch.diff(self.starts)

    @cached_property
    def by_length(self) -> Tensor:
        """All tokens, those of the shortest texts first, `(tokens,)`."""
        return torch.argsort(torch.from_numpy(self.lengths)[self.owner], stable=True)

    @cached_property
    def back(self) -> Tensor:
        """Where each token stands in that order, `(tokens,)`."""
        return self.by_length.argsort()

    @cached_property
    def alike(self) -> tuple[list[int], list[int]]:
        """The lengths that texts have, ascending, and how many tokens texts of each hold."""
        lengths, texts = np.unique(self.lengths, return_counts=True)
        return lengths.tolist(), (lengths * texts).tolist()


class Pairs:
    """Which of some texts are read together, first with second.

    Attributes:
        tokens: Where each token of each pair lies among those of all texts.
        halves: The texts of the pairs: first, second, first, second.
        whole: The pairs.
    """

    def __init__(self, texts: Ragged, first: NDArray[np.int64], second: NDArray[np.int64]) -> None:
        device = texts.starts.device.type
        chosen = np.stack([first, second], axis=1).ravel()
        lengths = texts.lengths[chosen]
        self.halves = Ragged(lengths, device)
        starts = texts.starts[on_device(chosen, device)]
        self.tokens = starts[self.halves.owner] + self.halves.place
        self.whole = Ragged(lengths.reshape(-1, 2).sum(1), device)


def attended(threes: Tensor, texts: Ragged) -> Tensor:
    """Attention of the tokens of each text to each other.

    Args:
        threes: Query, key and value of each token, `(tokens, 3, heads, size)`.
        texts: Which tokens are of one text.

    Returns:
        `(tokens, heads * size)`.
    """
    if threes.is_cuda:
        ends, most = texts.starts, texts.longest
        query, key, value = threes.unbind(1)
        return varlen_attn(query, key, value, ends, ends, most, most).flatten(1)  # type: ignore[union-attr]
    # Texts of one length need no padding, and a processor multiplies plain matrices fastest.
    lengths, sizes = texts.alike
    rows = torch.split(threes.index_select(0, texts.by_length), sizes)
    seen = []
    for some, length in zip(rows, lengths, strict=True):
        parts = some.view(-1, length, *some.shape[1:]).permute(2, 0, 3, 1, 4).contiguous()
        query, key, value = parts.unbind(0)
        likeness = query @ key.transpose(2, 3) * key.shape[3] ** -0.5
        found = likeness.softmax(3, dtype=likeness.dtype) @ value
        seen.append(found.transpose(1, 2).flatten(0, 1))
    return torch.cat(seen).index_select(0, texts.back).flatten(1)


def on_device(values: NDArray[Any], device: str) -> Tensor:
    """An array as a tensor on the device, without waiting for it."""
    held = torch.from_numpy(values)
    return held.pin_memory().to(device, non_blocking=True) if device == "cuda" else held
