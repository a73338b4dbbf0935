"""Train the encoder: a message lands beside the fact that answers it, and by its kind.

Two losses at once. Among all facts of the house (and those of the other houses
in the batch) the answering one must score best, where the score is the one that
search uses: the mean of the whole fact's cosine and the nearest view's. And a
linear head must read from the same vector what kind of a message it is.
"""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional
from transformers import get_cosine_schedule_with_warmup

from askhouse.training.examples import HAZARDS, KINDS, Asked, Told, TrainingSet, mistyped
from askhouse.training.tokens import Tokens, mean_of, open_body

__all__ = ["EncoderPlan", "TextEncoder", "fact_scores", "train_encoder"]

MAX_TOKENS = 96


@dataclass(frozen=True, slots=True)
class EncoderPlan:
    """How long and how strongly to train.

    Attributes:
        houses: Houses a batch.
        messages: Messages of each of them.
        told: Triage messages a batch.
        scale: Cosines are multiplied by it before the softmax (1 / temperature).
        kind_share: Weight of the kind loss beside the search loss.
    """

    epochs: int = 8
    houses: int = 4
    messages: int = 24
    told: int = 64
    rate: float = 8e-5
    scale: float = 20.0
    kind_share: float = 0.4
    seed: int = 7


class TextEncoder(nn.Module):
    """A transformer with mean pooling to unit vectors, and the heads on top."""

    def __init__(self, base: str, device: str) -> None:
        super().__init__()
        self.tokens = Tokens(base, device, MAX_TOKENS)
        self.body = open_body(base, device)
        size = self.body.config.hidden_size
        self.kind = nn.Linear(size, len(KINDS), device=device)
        self.hazard = nn.Linear(size, len(HAZARDS), device=device)
        self.device = device

    def forward(self, texts: Sequence[str]) -> Tensor:
        """Unit vectors `(texts, size)`."""
        rows = self.tokens([text.lower() for text in texts])
        return functional.normalize(mean_of(self.body, rows, self.device), dim=1)

    @torch.no_grad()
    def encode(self, texts: Sequence[str], batch: int = 256) -> Tensor:
        """Unit vectors without a gradient, sorted by length inside for speed."""
        self.eval()
        order = sorted(range(len(texts)), key=lambda i: len(texts[i]))
        out = torch.empty(len(texts), self.body.config.hidden_size)
        for start in range(0, len(order), batch):
            places = order[start : start + batch]
            out[places] = self([texts[i] for i in places]).cpu()
        return out


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


def train_encoder(data: TrainingSet, base: str, device: str, plan: EncoderPlan) -> TextEncoder:
    """Trains an encoder and its heads on all messages of the set."""
    torch.manual_seed(plan.seed)
    rng = random.Random(plan.seed)
    model = TextEncoder(base, device)
    heads = [*model.kind.parameters(), *model.hazard.parameters()]
    optimiser = torch.optim.AdamW(
        [
            {"params": model.body.parameters(), "lr": plan.rate, "weight_decay": 0.01},
            {"params": heads, "lr": 2e-2, "weight_decay": 0.0},
        ]
    )
    steps = plan.epochs * len(list(_batches(data, plan, random.Random(0))))
    schedule = get_cosine_schedule_with_warmup(optimiser, steps // 10, steps)
    for epoch in range(plan.epochs):
        model.train()
        total = 0.0
        for asked, told in _batches(data, plan, rng):
            loss = _loss(model, data, asked, told, plan, rng)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(model.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += loss.item()
        print(f"encoder epoch {epoch + 1} of {plan.epochs}: loss {total:.2f}", flush=True)
    return model


def _batches(
    data: TrainingSet, plan: EncoderPlan, rng: random.Random
) -> Iterator[tuple[list[Asked], list[Told]]]:
    """Messages of a few houses at a time, so that a house's facts are each other's rivals."""
    by_house: dict[str, list[Asked]] = defaultdict(list)
    for one in data.asked:
        by_house[one.house].append(one)
    chunks = []
    for lines in by_house.values():
        rng.shuffle(lines)
        chunks += [lines[i : i + plan.messages] for i in range(0, len(lines), plan.messages)]
    rng.shuffle(chunks)
    for start in range(0, len(chunks), plan.houses):
        asked = [one for chunk in chunks[start : start + plan.houses] for one in chunk]
        yield asked, rng.sample(data.told, min(plan.told, len(data.told)))


def _loss(
    model: TextEncoder,
    data: TrainingSet,
    asked: list[Asked],
    told: list[Told],
    plan: EncoderPlan,
    rng: random.Random,
) -> Tensor:
    texts = [one.text for one in asked] + [one.text for one in told]
    texts = [mistyped(text, rng) if rng.random() < 0.3 else text for text in texts]
    vectors = model(texts)
    messages = vectors[: len(asked)]

    houses = sorted({one.house for one in asked})
    views, owners, start = [], [], {}
    facts = 0
    for house in houses:
        start[house] = facts
        for group in data.views[house]:
            # Two further views are enough to learn from; search uses all.
            further = rng.sample(group[1:], min(2, len(group) - 1))
            views += [group[0], *further]
            owners += [facts] * (1 + len(further))
            facts += 1
    scores = plan.scale * fact_scores(
        messages, model(views), torch.tensor(owners, device=model.device), facts
    )
    answered = [i for i, one in enumerate(asked) if one.needed]
    right = torch.zeros(len(asked), facts, dtype=torch.bool, device=model.device)
    for i, one in enumerate(asked):
        for place in (*one.needed, *one.also):
            right[i, start[one.house] + place] = True
    rows, truth = scores[answered], right[answered]
    found = torch.logsumexp(rows.masked_fill(~truth, -1e4), 1) - torch.logsumexp(rows, 1)
    search_loss = -found.mean()

    kinds = torch.tensor([KINDS.index(one.kind) for one in (*asked, *told)], device=model.device)
    kind_loss = functional.cross_entropy(model.kind(vectors) * 1.0, kinds, label_smoothing=0.02)
    harmed = [i for i, one in enumerate(told) if one.hazard is not None]
    hazard_loss = torch.zeros((), device=model.device)
    if harmed:
        hazards = [HAZARDS.index(told[i].hazard or "") for i in harmed]
        logits = model.hazard(vectors[[len(asked) + i for i in harmed]])
        hazard_loss = functional.cross_entropy(logits, torch.tensor(hazards, device=model.device))
    return search_loss + plan.kind_share * (kind_loss + 0.3 * hazard_loss)
