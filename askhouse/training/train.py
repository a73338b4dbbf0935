"""Train encoder and reader together, on a set of houses.

Five losses at once. Among all facts of the house (and those of the other
houses in the batch) the answering one must score best, where the score is the
one that search uses: the mean of the whole fact's cosine and the nearest
view's. The reader must tell facts that answer from the nearest ones that do
not, and find none where there is none; and what it thinks of the near facts
the search must think too (distillation, Hinton et al. 2015). Heads must read
from the message's vector and words what kind of message it is, and from its
words where a part of it begins.
"""

from __future__ import annotations

import time

import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor, nn
from torch.nn import functional
from transformers import get_cosine_schedule_with_warmup

from askhouse.training.batches import Batch, Batches, Plan, made_beside
from askhouse.training.examples import TrainingSet
from askhouse.training.modules import FactReader, TextEncoder
from askhouse.training.ragged import Pairs, Ragged, on_device
from askhouse.training.tokens import Tokens

__all__ = ["train"]

_LOSSES = ("search", "reader", "taught", "kind", "cut")


def train(
    encoder: TextEncoder, reader: FactReader, data: TrainingSet, tokens: Tokens, plan: Plan
) -> None:
    """Trains both models on all messages of the set."""
    device = encoder.device
    torch.set_float32_matmul_precision("high")
    optimiser = _optimiser(encoder, reader, plan, device)
    batches = Batches(data, tokens, plan)
    shares = torch.tensor(
        [1.0, plan.reader_share, plan.taught_share, plan.kind_share, plan.cut_share], device=device
    )
    schedule = get_cosine_schedule_with_warmup(optimiser, len(batches) // 10, len(batches))
    encoder.train()
    reader.train()
    totals = torch.zeros(len(shares), device=device)
    started = time.perf_counter()
    for number, batch in enumerate(made_beside(batches, plan.workers), 1):
        losses = _losses(encoder, reader, batch, plan, device)
        # A reader that knows nothing yet has nothing to teach.
        shares[_LOSSES.index("taught")] = plan.taught_share * min(1.0, 3 * number / len(batches))
        optimiser.zero_grad(set_to_none=True)
        (losses * shares).sum().backward()  # type: ignore[no-untyped-call]
        nn.utils.clip_grad_norm_(encoder.parameters(), 1.0)
        optimiser.step()
        schedule.step()
        totals += losses.detach()
        if number % batches.each == 0:
            means = (totals / batches.each).tolist()
            shown = ", ".join(f"{n} {x:.3f}" for n, x in zip(_LOSSES, means, strict=True))
            print(
                f"epoch {number // batches.each} of {plan.epochs}, "
                f"{time.perf_counter() - started:.0f} s: losses {shown}",
                flush=True,
            )
            totals.zero_()


def _optimiser(
    encoder: TextEncoder, reader: FactReader, plan: Plan, device: str
) -> torch.optim.AdamW:
    # The vector is of length one, so that the weights on it must grow large.
    heads = [*encoder.kind.whole.parameters(), *encoder.hazard.whole.parameters()]
    words = [encoder.narrow, encoder.kind.looks, encoder.kind.says]
    words += [encoder.hazard.looks, encoder.hazard.says, encoder.cut]
    small = [*reader.parameters(), *(p for module in words for p in module.parameters())]
    return torch.optim.AdamW(
        [
            {"params": encoder.body.parameters(), "lr": plan.rate, "weight_decay": 0.01},
            {"params": small, "lr": 2.5 * plan.rate, "weight_decay": 0.05},
            {"params": heads, "lr": 100 * plan.rate, "weight_decay": 0.0},
        ],
        fused=device == "cuda",
    )


def _losses(
    encoder: TextEncoder, reader: FactReader, batch: Batch, plan: Plan, device: str
) -> Tensor:
    """Those of `_LOSSES`, `(5,)`."""
    texts = Ragged(batch.lengths, device)
    vectors, words = encoder(on_device(batch.ids, device), texts)
    asked, told, _, _ = batch.counts
    scores, alone = _scores(vectors, batch)
    answers = on_device(batch.answers, device)
    answered = on_device(np.flatnonzero((batch.answers == 1).any(1)), device)
    scaled = plan.scale * scores
    rows, truth = scaled[answered], answers[answered] > 0
    found = torch.logsumexp(rows.masked_fill(~truth, -1e4), 1) - torch.logsumexp(rows, 1)
    near = _rivals(scores.detach(), answers, on_device(batch.own, device), plan)
    heard = Ragged(batch.lengths[: asked + told], device)
    return torch.stack(
        [
            -found.mean(),
            *_reader_losses(reader, batch, near, answered, (texts, words, scaled, alone)),
            _kind_loss(encoder, (vectors[: asked + told], words[: heard.total], heard), batch),
            _cut_loss(encoder, words, batch),
        ]
    )


def _scores(vectors: Tensor, batch: Batch) -> tuple[Tensor, Tensor]:
    """Scores of search, and the cosines of whole facts, both `(asked, facts)`."""
    asked, _, _, facts = batch.counts
    whole, others = torch.split(vectors[batch.first_fact :], facts)
    alone = vectors[:asked] @ whole.T
    other = vectors[:asked] @ others.T
    return (alone + torch.maximum(alone, other)) / 2, alone


def _rivals(scores: Tensor, answers: Tensor, own: Tensor, plan: Plan) -> NDArray[np.int64]:
    """For each message the nearest facts of its house that it does not need, and some others."""
    scores = scores.masked_fill(~own | (answers == 1), -2.0)
    nearest = scores.topk(plan.near + 2).indices
    lots = torch.rand_like(scores).masked_fill(scores == -2.0, -1.0).scatter(1, nearest, -1.0)
    far = lots.topk(plan.far).indices
    chosen: NDArray[np.int64] = torch.cat([nearest[:, : plan.near], far], 1).cpu().numpy()
    return chosen


def _reader_losses(
    reader: FactReader,
    batch: Batch,
    near: NDArray[np.int64],
    answered: Tensor,
    read: tuple[Ragged, Tensor, Tensor, Tensor],
) -> tuple[Tensor, Tensor]:
    """The reader's, for each pair and for the right ones of a message, and what it teaches.

    Args:
        read: Texts, their words, and of messages and facts the scaled scores of search and
            the cosines of whole facts.
    """
    texts, words, scaled, alone = read
    device = words.device.type
    asked, needed = np.nonzero(batch.answers == 1)
    # The needed facts of a message first, then its rivals.
    asks = np.concatenate([asked, np.repeat(np.arange(len(near)), near.shape[1])])
    facts = np.concatenate([needed, near.ravel()])
    order = np.argsort(asks, kind="stable")
    asks, facts = asks[order], facts[order]
    left, right = on_device(asks, device), on_device(facts, device)
    pairs = Pairs(texts, asks, batch.first_fact + facts)
    logits = reader.ragged(words, pairs, alone[left, right])
    target = on_device(batch.answers[asks, facts], device)
    single = functional.binary_cross_entropy_with_logits(logits, target)
    groups = Ragged(np.bincount(asks, minlength=len(near)), device)
    rows = groups.padded(logits, -1e4)[answered]
    good = groups.padded(target, 0.0)[answered] > 0.5
    listed = torch.logsumexp(rows, 1) - torch.logsumexp(rows.masked_fill(~good, -1e4), 1)
    student = groups.padded(scaled[left, right], -1e4)[answered].log_softmax(1)
    taught = functional.kl_div(student, rows.detach().softmax(1), reduction="batchmean")
    return 2 * single + 0.3 * listed.mean(), taught


def _kind_loss(encoder: TextEncoder, said: tuple[Tensor, Tensor, Ragged], batch: Batch) -> Tensor:
    device = encoder.device
    kinds = on_device(batch.kinds, device)
    loss = functional.cross_entropy(encoder.kind(*said), kinds, label_smoothing=0.02)
    if (batch.hazards >= 0).any():
        hazards = on_device(batch.hazards, device)
        logits = encoder.hazard(*said)[-len(hazards) :]
        loss = loss + 0.3 * functional.cross_entropy(logits, hazards, ignore_index=-1)
    return loss


def _cut_loss(encoder: TextEncoder, words: Tensor, batch: Batch) -> Tensor:
    logits = encoder.cuts(words, on_device(batch.words, encoder.device))
    target = on_device(batch.cuts, encoder.device)
    loss = functional.binary_cross_entropy_with_logits(logits, target, reduction="sum")
    return loss / batch.counts[0]
