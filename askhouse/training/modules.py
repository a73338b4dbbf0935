"""The two models that are trained together.

`TextEncoder` turns a text into one unit vector and the narrowed states of its
words, and its heads read from both what kind of message it is; `FactReader`
reads the words of a message and of a fact together and says whether the fact
answers. The reader starts from the encoder's word states, so that a fact's are
computed once, kept in the index, and a question costs a few small layers
instead of a second model.
"""

from __future__ import annotations

from typing import cast

import torch
from torch import Tensor, nn
from torch.nn import functional

from askhouse.training.examples import HAZARDS, KINDS
from askhouse.training.ragged import Pairs, Ragged, attended
from askhouse.training.tokens import mean_of, open_body

__all__ = ["FactReader", "TextEncoder", "WordHead", "fact_scores"]

MAX_TOKENS = 96
WIDTH = 256  # of a word in the reader
LAYERS = 3
HEADS = 8


class WordHead(nn.Module):
    """A class from the whole text's vector, and from the words that speak most for it.

    A mean over the words hides one bad sentence in a long cheerful message. So each class
    looks for its own words (attention with one learned query a class), and what it finds
    there is added to what the vector says.
    """

    def __init__(self, size: int, classes: int, device: str) -> None:
        super().__init__()
        self.whole = nn.Linear(size, classes, device=device)
        self.looks = nn.Linear(WIDTH, classes, bias=False, device=device)
        self.says = nn.Linear(WIDTH, classes, bias=False, device=device)

    def forward(self, vectors: Tensor, words: Tensor, texts: Ragged) -> Tensor:
        """Logits `(texts, classes)` from vectors and narrowed words."""
        weights = texts.padded(self.looks(words), -1e4).softmax(dim=1)
        found: Tensor = self.whole(vectors)
        return found + (weights * texts.padded(self.says(words), 0.0)).sum(dim=1)


class TextEncoder(nn.Module):
    """A transformer with mean pooling to unit vectors, and heads for kind, hazard and cuts."""

    def __init__(self, base: str, device: str) -> None:
        super().__init__()
        self.body, self.size = open_body(base, device)
        self.narrow = nn.Linear(self.size, WIDTH, device=device)
        self.kind = WordHead(self.size, len(KINDS), device)
        self.hazard = WordHead(self.size, len(HAZARDS), device)
        # Whether a part of the message begins at a word, from it and the token before.
        self.cut = nn.Linear(2 * WIDTH, 1, device=device)
        self.device = device

    def forward(self, ids: Tensor, texts: Ragged) -> tuple[Tensor, Tensor]:
        """Unit vectors `(texts, size)` and narrowed words `(tokens, WIDTH)`.

        The layers of `body` one after the other, over texts that lie end to end; its own
        forward needs them padded.
        """
        with _halved(self.device, self.training):
            words = self.body.embeddings(
                input_ids=ids[None], position_ids=texts.place[None], token_type_ids=None
            )[0]
            for layer in self.body.encoder.layer:
                look, after = layer.attention.self, layer.attention.output
                parts = [part(words) for part in (look.query, look.key, look.value)]
                size = look.attention_head_size
                threes = torch.stack(parts, dim=1).view(len(ids), 3, -1, size)
                words = after(attended(threes, texts), words)
                words = layer.output(layer.intermediate(words), words)
        hidden = words.float()
        return functional.normalize(texts.mean(hidden), dim=1), self.narrow(hidden)

    def cuts(self, words: Tensor, tokens: Tensor) -> Tensor:
        """Logits that a part begins at those tokens of `words`."""
        logits: Tensor = self.cut(
            torch.cat([words.index_select(0, tokens), words.index_select(0, tokens - 1)], dim=1)
        )[:, 0]
        return logits


class _Layer(nn.Module):
    """Attention and a two-layer network, each behind a norm (Xiong et al., ICML 2020).

    Written out, because the library's own layer cannot be traced for any length of text.
    """

    def __init__(self, device: str) -> None:
        super().__init__()
        self.norms = nn.ModuleList(nn.LayerNorm(WIDTH, device=device) for _ in range(2))
        self.three = nn.Linear(WIDTH, 3 * WIDTH, device=device)
        self.out = nn.Linear(WIDTH, WIDTH, device=device)
        self.wide = nn.Linear(WIDTH, 4 * WIDTH, device=device)
        self.back = nn.Linear(4 * WIDTH, WIDTH, device=device)
        self.drop = nn.Dropout(0.1)

    def forward(self, words: Tensor, mask: Tensor) -> Tensor:
        """Words `(pairs, tokens, WIDTH)` to the same shape; `mask` is 1 for words."""
        many, tokens, _ = words.shape
        heads = self.three(self.norms[0](words)).view(many, tokens, 3, HEADS, WIDTH // HEADS)
        query, key, value = heads.permute(2, 0, 3, 1, 4).unbind(0)
        seen = functional.scaled_dot_product_attention(
            query, key, value, attn_mask=(mask == 1)[:, None, None, :]
        )
        return self._onward(words, seen.transpose(1, 2).reshape(many, tokens, WIDTH))

    def ragged(self, words: Tensor, pairs: Ragged) -> Tensor:
        """The same for pairs that lie end to end, `(tokens, WIDTH)`."""
        heads = self.three(self.norms[0](words)).view(-1, 3, HEADS, WIDTH // HEADS)
        return self._onward(words, attended(heads, pairs))

    def _onward(self, words: Tensor, seen: Tensor) -> Tensor:
        words = words + self.drop(self.out(seen))
        further: Tensor = self.drop(self.back(functional.gelu(self.wide(self.norms[1](words)))))
        return words + further


class FactReader(nn.Module):
    """A few small layers over the words of a message and of a fact."""

    def __init__(self, device: str) -> None:
        super().__init__()
        self.side = nn.Parameter(0.02 * torch.randn(2, WIDTH, device=device))
        self.layers = nn.ModuleList(_Layer(device) for _ in range(LAYERS))
        self.answer = nn.Sequential(
            nn.LayerNorm(4 * WIDTH, device=device),
            nn.Linear(4 * WIDTH, WIDTH, device=device),
            nn.GELU(),
            nn.Dropout(0.1),
            nn.Linear(WIDTH, 1, device=device),
        )
        self.closeness = nn.Parameter(torch.tensor(5.0, device=device))

    def forward(
        self, asked: Tensor, asked_mask: Tensor, fact: Tensor, fact_mask: Tensor, cosine: Tensor
    ) -> Tensor:
        """Logits `(pairs,)`.

        Args:
            asked: Narrowed words of the messages, `(pairs, tokens, WIDTH)`.
            asked_mask: 1 for words, 0 for padding.
            fact: Narrowed words of the facts, `(pairs, tokens, WIDTH)`.
            fact_mask: The same for facts.
            cosine: Of message and whole fact, `(pairs,)`.
        """
        words = torch.cat([asked + self.side[0], fact + self.side[1]], dim=1)
        mask = torch.cat([asked_mask, fact_mask], dim=1)
        for layer in self.layers:
            words = layer(words, mask)
        one = mean_of(words[:, : asked.shape[1]], asked_mask)
        two = mean_of(words[:, asked.shape[1] :], fact_mask)
        return self._judged(one, two, cosine)

    def ragged(self, words: Tensor, pairs: Pairs, cosine: Tensor) -> Tensor:
        """The same logits, from the words of all texts, which lie end to end."""
        # A sum over two rows is learned from much faster than a choice of one of them.
        second = (pairs.halves.owner % 2).to(words.dtype)[:, None]
        read = words.index_select(0, pairs.tokens) + torch.lerp(self.side[0], self.side[1], second)
        with _halved(words.device.type, self.training):
            for layer in self.layers:
                read = cast("_Layer", layer).ragged(read, pairs.whole)
        both = pairs.halves.mean(read.float())
        return self._judged(both[::2], both[1::2], cosine)

    def _judged(self, one: Tensor, two: Tensor, cosine: Tensor) -> Tensor:
        joined = torch.cat([one, two, one * two, (one - two).abs()], dim=1)
        logits: Tensor = self.answer(joined).squeeze(1) + self.closeness * cosine
        return logits


def _halved(device: str, training: bool) -> torch.autocast:
    """bfloat16 on an accelerator, and for training on a processor that multiplies it fast."""
    able = torch.cpu.get_capabilities()
    fast = training and (able.get("avx512_bf16", False) or able.get("amx_bf16", False))
    return torch.autocast(device, dtype=torch.bfloat16, enabled=device == "cuda" or fast)


def fact_scores(messages: Tensor, views: Tensor, owners: Tensor, facts: int) -> Tensor:
    """Mean of whole and nearest cosine, `(messages, facts)`.

    Args:
        messages: `(messages, size)`.
        views: `(views, size)`; the first view of a fact is its whole text.
        owners: For each view its fact, in ascending order.
        facts: How many facts.
    """
    cosines = messages @ views.T
    index = owners[None, :].expand(len(messages), -1)
    nearest = torch.full((len(messages), facts), -1.0, device=cosines.device, dtype=cosines.dtype)
    nearest = nearest.scatter_reduce(1, index, cosines, "amax", include_self=True)
    first = torch.searchsorted(owners, torch.arange(facts, device=owners.device))
    return (cosines[:, first] + nearest) / 2
