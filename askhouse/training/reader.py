"""Train the reader: message and fact together in, the probability that it answers out.

A cross-encoder. Its negatives are the facts of the same house that the encoder
finds nearest, and all facts for the messages that none answers.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional
from transformers import get_cosine_schedule_with_warmup

from askhouse.training.examples import Asked, TrainingSet, mistyped
from askhouse.training.tokens import Tokens, mean_of, open_body

__all__ = ["PairReader", "ReaderPlan", "train_reader"]

MAX_TOKENS = 128


@dataclass(frozen=True, slots=True)
class ReaderPlan:
    """How long and how strongly to train.

    Attributes:
        messages: Messages a batch.
        near: Nearest facts of the house that are read with each message.
        far: Further facts of the house, drawn at random.
        list_share: Weight of "the right one above the others" beside "right or not".
    """

    epochs: int = 5
    messages: int = 32
    near: int = 6
    far: int = 2
    rate: float = 8e-5
    list_share: float = 0.3
    seed: int = 7


class PairReader(nn.Module):
    """A transformer over message and fact with one number at the end."""

    def __init__(self, base: str, device: str) -> None:
        super().__init__()
        self.tokens = Tokens(base, device, MAX_TOKENS)
        self.body = open_body(base, device)
        self.answer = nn.Linear(self.body.config.hidden_size, 1, device=device)
        self.device = device

    def forward(self, messages: Sequence[str], facts: Sequence[str]) -> Tensor:
        """Logits `(pairs,)`."""
        rows = self.tokens(
            [(m.lower(), fact.lower()) for m, fact in zip(messages, facts, strict=True)]
        )
        logits: Tensor = self.answer(mean_of(self.body, rows, self.device)).squeeze(1)
        return logits

    @torch.no_grad()
    def read(self, messages: Sequence[str], facts: Sequence[str], batch: int = 512) -> Tensor:
        """Logits without a gradient."""
        self.eval()
        order = sorted(range(len(facts)), key=lambda i: len(facts[i]) + len(messages[i]))
        out = torch.empty(len(facts))
        for start in range(0, len(order), batch):
            places = order[start : start + batch]
            out[places] = self([messages[i] for i in places], [facts[i] for i in places]).cpu()
        return out


def train_reader(
    data: TrainingSet,
    nearest: Sequence[Sequence[int]],
    base: str,
    device: str,
    plan: ReaderPlan,
) -> PairReader:
    """Trains a reader.

    Args:
        data: The messages.
        nearest: For each message of the set, the places of its house's facts, nearest first.
        base: Folder of the weights to start from.
        device: cuda or cpu.
        plan: How long and how strongly.
    """
    torch.manual_seed(plan.seed)
    rng = random.Random(plan.seed)
    model = PairReader(base, device)
    optimiser = torch.optim.AdamW(
        [
            {"params": model.body.parameters(), "lr": plan.rate, "weight_decay": 0.01},
            {"params": model.answer.parameters(), "lr": 1e-3, "weight_decay": 0.0},
        ]
    )
    order = list(range(len(data.asked)))
    steps = plan.epochs * -(-len(order) // plan.messages)
    schedule = get_cosine_schedule_with_warmup(optimiser, steps // 10, steps)
    for epoch in range(plan.epochs):
        model.train()
        rng.shuffle(order)
        total = 0.0
        for start in range(0, len(order), plan.messages):
            places = order[start : start + plan.messages]
            batch = [(data.asked[i], _rivals(data, data.asked[i], nearest[i], plan, rng)) for i in places]
            loss = _loss(model, data, batch, plan, rng)
            optimiser.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(model.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            total += loss.item()
        print(f"reader epoch {epoch + 1} of {plan.epochs}: loss {total:.2f}", flush=True)
    return model


def _rivals(
    data: TrainingSet, one: Asked, nearest: Sequence[int], plan: ReaderPlan, rng: random.Random
) -> list[int]:
    """Which facts are read with a message: all that answer, the nearest, and a few others."""
    near = [place for place in nearest[: plan.near + 2] if place not in one.needed][: plan.near]
    rest = [p for p in range(len(data.views[one.house])) if p not in near and p not in one.needed]
    return [*one.needed, *near, *rng.sample(rest, min(plan.far, len(rest)))]


def _loss(
    model: PairReader,
    data: TrainingSet,
    batch: list[tuple[Asked, list[int]]],
    plan: ReaderPlan,
    rng: random.Random,
) -> Tensor:
    messages, facts, truth = [], [], []
    for one, places in batch:
        text = mistyped(one.text, rng) if rng.random() < 0.3 else one.text
        for place in places:
            messages.append(text)
            facts.append(data.views[one.house][place][0])
            # A fact that may be given too is neither right nor wrong.
            truth.append(1.0 if place in one.needed else 0.7 if place in one.also else 0.0)
    logits = model(messages, facts)
    target = torch.tensor(truth, device=model.device)
    single = functional.binary_cross_entropy_with_logits(logits, target)
    listed, start = [], 0
    for one, places in batch:
        if one.needed:
            rows = logits[start : start + len(places)]
            good = target[start : start + len(places)] > 0.5
            listed.append(torch.logsumexp(rows, 0) - torch.logsumexp(rows[good], 0))
        start += len(places)
    together = torch.stack(listed).mean() if listed else torch.zeros((), device=model.device)
    return single + plan.list_share * together
