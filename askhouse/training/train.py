"""Train encoder and reader together, on a set of houses.

Four losses at once. Among all facts of the house (and those of the other
houses in the batch) the answering one must score best, where the score is the
one that search uses: the mean of the whole fact's cosine and the nearest
view's. The reader must tell facts that answer from the nearest ones that do
not, and find none where there is none. Linear heads must read from the
message's vector what kind of message it is, and from its words where a part of it
begins.
"""

from __future__ import annotations

import random
import time
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import torch
from torch import Tensor, nn
from torch.nn import functional
from transformers import get_cosine_schedule_with_warmup

from askhouse.training.examples import (
    HAZARDS,
    KINDS,
    Asked,
    Told,
    TrainingSet,
    in_one_breath,
    mistyped,
)
from askhouse.training.modules import FactReader, TextEncoder

__all__ = ["Plan", "train"]


@dataclass(frozen=True, slots=True)
class Plan:
    """How long and how strongly to train.

    Attributes:
        houses: Houses a batch.
        messages: Messages of each of them.
        told: Triage messages a batch.
        scale: Cosines are multiplied by it before the softmax (1 / temperature).
        near: Nearest facts that are read with each message.
        far: Further facts of the house, drawn at random.
        reader_share: Weight of the reader's loss beside the search loss.
        kind_share: Weight of the kind loss.
        cut_share: Weight of the loss for cuts.
        several: Messages of several parts a batch.
        joined: Messages a batch that are put together from two or three.
    """

    epochs: int = 6
    houses: int = 4
    messages: int = 48
    told: int = 112
    rate: float = 1.2e-4
    scale: float = 20.0
    near: int = 5
    far: int = 1
    reader_share: float = 1.0
    kind_share: float = 0.4
    cut_share: float = 0.3
    several: int = 16
    joined: int = 16
    seed: int = 7


@dataclass(frozen=True, slots=True)
class _Facts:
    """The facts of the houses of a batch, encoded."""

    start: dict[str, int]
    scores: Tensor
    vectors: Tensor
    words: Tensor
    mask: Tensor


def train(data: TrainingSet, base: str, device: str, plan: Plan) -> tuple[TextEncoder, FactReader]:
    """Trains both models on all messages of the set."""
    torch.manual_seed(plan.seed)
    torch.set_float32_matmul_precision("high")
    # cuDNN plans its attention anew for every shape, which takes longer than the attention.
    torch.backends.cuda.enable_cudnn_sdp(False)
    rng = random.Random(plan.seed)
    encoder = TextEncoder(base, device)
    reader = FactReader(device)
    # The vector is of length one, so that the weights on it must grow large.
    heads = [*encoder.kind.whole.parameters(), *encoder.hazard.whole.parameters()]
    words = [encoder.narrow, encoder.kind.looks, encoder.kind.says]
    words += [encoder.hazard.looks, encoder.hazard.says, encoder.cut]
    small = [*reader.parameters(), *(p for module in words for p in module.parameters())]
    optimiser = torch.optim.AdamW(
        [
            {"params": encoder.body.parameters(), "lr": plan.rate, "weight_decay": 0.01},
            {"params": small, "lr": 5e-4, "weight_decay": 0.05},
            {"params": heads, "lr": 2e-2, "weight_decay": 0.0},
        ],
        fused=device == "cuda",
    )
    steps = plan.epochs * len(list(_batches(data, plan, random.Random(0))))
    shares = torch.tensor([1.0, plan.reader_share, plan.kind_share, plan.cut_share], device=device)
    schedule = get_cosine_schedule_with_warmup(optimiser, steps // 10, steps)
    for epoch in range(plan.epochs):
        encoder.train()
        reader.train()
        totals = torch.zeros(4, device=device)
        started = time.perf_counter()
        for asked, told in _batches(data, plan, rng):
            losses = _losses(encoder, reader, data, asked, told, plan, rng)
            optimiser.zero_grad(set_to_none=True)
            (losses * shares).sum().backward()  # type: ignore[no-untyped-call]
            nn.utils.clip_grad_norm_(encoder.parameters(), 1.0)
            optimiser.step()
            schedule.step()
            totals += losses.detach()
        shown = [round(x / steps * plan.epochs, 3) for x in totals.tolist()]
        seconds = time.perf_counter() - started
        print(
            f"epoch {epoch + 1} of {plan.epochs}, {seconds:.0f} s: "
            f"search, reader, kind, cut loss {shown}",
            flush=True,
        )
    return encoder, reader


def _batches(
    data: TrainingSet, plan: Plan, rng: random.Random
) -> Iterator[tuple[list[Asked], list[Told]]]:
    """Messages of a few houses at a time, so that a house's facts are each other's rivals."""
    by_house: dict[str, list[Asked]] = defaultdict(list)
    for one in data.asked:
        by_house[one.house].append(one)
    chunks = []
    for lines in by_house.values():
        mixed = rng.sample(lines, len(lines))
        chunks += [mixed[i : i + plan.messages] for i in range(0, len(mixed), plan.messages)]
    rng.shuffle(chunks)
    for start in range(0, len(chunks), plan.houses):
        asked = [one for chunk in chunks[start : start + plan.houses] for one in chunk]
        yield asked, rng.sample(data.told, min(plan.told, len(data.told)))


def _losses(
    encoder: TextEncoder,
    reader: FactReader,
    data: TrainingSet,
    asked: list[Asked],
    told: list[Told],
    plan: Plan,
    rng: random.Random,
) -> Tensor:
    """Search, reader, kind and cut loss, `(4,)`."""
    texts = [one.text for one in asked] + [one.text for one in told]
    texts = [mistyped(text, rng) if rng.random() < 0.3 else text for text in texts]
    vectors, words, mask = encoder(texts)
    count = len(asked)
    facts = _encoded_facts(encoder, data, asked, vectors[:count], rng)
    right = torch.zeros(facts.scores.shape, dtype=torch.bool, device=encoder.device)
    for i, one in enumerate(asked):
        for place in (*one.needed, *one.also):
            right[i, facts.start[one.house] + place] = True
    answered = [i for i, one in enumerate(asked) if one.needed]
    rows, truth = plan.scale * facts.scores[answered], right[answered]
    found = torch.logsumexp(rows.masked_fill(~truth, -1e4), 1) - torch.logsumexp(rows, 1)
    return torch.stack(
        [
            -found.mean(),
            _reader_loss(reader, data, asked, (vectors, words, mask), facts, plan, rng),
            _kind_loss(encoder, (vectors, words, mask), asked, told),
            _cut_loss(encoder, words, texts[:count], _several(data, asked, plan, rng)),
        ]
    )


def _several(
    data: TrainingSet, asked: list[Asked], plan: Plan, rng: random.Random
) -> list[tuple[str, tuple[int, ...]]]:
    """Messages of several parts with their cuts: written ones, and ones put together."""
    known = [one for one in data.several if one.starts is not None]
    written = rng.sample(known, min(plan.several, len(known)))
    together: dict[tuple[str, str], list[Asked]] = defaultdict(list)
    for one in asked:
        together[one.house, one.language].append(one)
    enough = [group for group in together.values() if len(group) > 3]
    joined = []
    for _ in range(plan.joined if enough else 0):
        some = rng.sample(rng.choice(enough), rng.choice((2, 2, 2, 3)))
        joined.append(in_one_breath([one.text for one in some], some[0].language, rng))
    return [*((one.text, one.starts or ()) for one in written), *joined]


def _cut_loss(
    encoder: TextEncoder,
    words: Tensor,
    single: list[str],
    several: list[tuple[str, tuple[int, ...]]],
) -> Tensor:
    """A part begins at each start of the messages of several parts, and nowhere in the others."""
    if not several:
        return words.sum() * 0.0
    _, more, _ = encoder([text for text, _ in several])
    logits, truth = [], []
    for states, texts in ((words, [(text, ()) for text in single]), (more, several)):
        rows, tokens = [], []
        for row, (text, starts) in enumerate(texts):
            for token, place in encoder.tokens.word_starts(text):
                rows.append(row)
                tokens.append(token)
                truth.append(float(place in starts))
        logits.append(encoder.cuts(states, rows, tokens))
    target = torch.tensor(truth, device=words.device)
    return functional.binary_cross_entropy_with_logits(
        torch.cat(logits), target, reduction="sum"
    ) / len(single)


def _encoded_facts(
    encoder: TextEncoder,
    data: TrainingSet,
    asked: list[Asked],
    messages: Tensor,
    rng: random.Random,
) -> _Facts:
    whole: list[str] = []
    other: list[str] = []
    start = {}
    for house in sorted({one.house for one in asked}):
        start[house] = len(whole)
        for group in data.views[house]:
            whole.append(group[0])
            # One further view is enough to learn from; search uses all.
            other.append(rng.choice(group[1:] or group))
    vectors, words, mask = encoder(whole)
    others, _, _ = encoder(other)
    alone = messages @ vectors.T
    scores = (alone + torch.maximum(alone, messages @ others.T)) / 2
    return _Facts(start, scores, vectors, words, mask)


def _reader_loss(
    reader: FactReader,
    data: TrainingSet,
    asked: list[Asked],
    said: tuple[Tensor, Tensor, Tensor],
    facts: _Facts,
    plan: Plan,
    rng: random.Random,
) -> Tensor:
    vectors, words, mask = said
    scores = facts.scores.detach().cpu()
    asks: list[int] = []
    reads: list[int] = []
    truth: list[float] = []
    groups: list[tuple[int, int, bool]] = []
    for i, one in enumerate(asked):
        start, size = facts.start[one.house], len(data.views[one.house])
        order = torch.argsort(scores[i, start : start + size], descending=True).tolist()
        near = [p for p in order if p not in one.needed][: plan.near]
        rest = [p for p in order[plan.near + 2 :] if p not in one.needed]
        places = [*one.needed, *near, *rng.sample(rest, min(plan.far, len(rest)))]
        groups.append((len(asks), len(places), bool(one.needed)))
        asks += [i] * len(places)
        reads += [start + place for place in places]
        # A fact that may be given too is neither quite right nor wrong.
        truth += [1.0 if p in one.needed else 0.7 if p in one.also else 0.0 for p in places]
    device = words.device
    left, right = torch.tensor(asks, device=device), torch.tensor(reads, device=device)
    width = int(mask[: len(asked)].sum(1).max())  # padding of longer triage messages is cut
    cosine = (vectors[left] * facts.vectors[right]).sum(1)
    logits = reader(
        words[left, :width],
        mask[left, :width],
        facts.words[right],
        facts.mask[right],
        cosine,
    )
    target = torch.tensor(truth, device=device)
    single = functional.binary_cross_entropy_with_logits(logits, target)
    # One row a message, so that the right fact can be held against the others.
    most = max(size for _, size, _ in groups)
    grid = torch.full((len(groups), most), -1, dtype=torch.long)
    for row, (start, size, _) in enumerate(groups):
        grid[row, :size] = torch.arange(start, start + size)
    grid = grid[[answered for _, _, answered in groups]].to(device)
    there = grid >= 0
    rows = logits[grid.clamp(min=0)].masked_fill(~there, -1e4)
    good = (target[grid.clamp(min=0)] > 0.5) & there
    listed = torch.logsumexp(rows, 1) - torch.logsumexp(rows.masked_fill(~good, -1e4), 1)
    return 2 * single + 0.3 * listed.mean()


def _kind_loss(
    encoder: TextEncoder,
    said: tuple[Tensor, Tensor, Tensor],
    asked: list[Asked],
    told: list[Told],
) -> Tensor:
    device = encoder.device
    named = [*(one.kind for one in asked), *(one.kind for one in told)]
    kinds = torch.tensor([KINDS.index(kind) for kind in named], device=device)
    loss = functional.cross_entropy(encoder.kind(*said), kinds, label_smoothing=0.02)
    harmed = [i for i, one in enumerate(told) if one.hazard is not None]
    if harmed:
        hazards = [HAZARDS.index(told[i].hazard or "") for i in harmed]
        rows = [len(asked) + i for i in harmed]
        logits = encoder.hazard(*(part[rows] for part in said))
        loss = loss + 0.3 * functional.cross_entropy(logits, torch.tensor(hazards, device=device))
    return loss
