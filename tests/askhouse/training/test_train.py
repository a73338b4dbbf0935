"""Training on a few texts: it learns them, and only where it is let."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import torch
from tokenizers import Tokenizer, models, pre_tokenizers
from transformers import BertConfig, BertModel

from askhouse.training.batches import Batches, Plan
from askhouse.training.examples import Asked, Several, Told, TrainingSet
from askhouse.training.modules import FactReader, TextEncoder
from askhouse.training.tokens import Tokens
from askhouse.training.train import _losses, train

WORDS = ["wifi", "bins", "when", "where", "lamp", "oven", "is", "it", "help", "smoke", "and", "the"]
PLAN = Plan(
    epochs=30, houses=1, messages=6, told=2, several=1, joined=0, rate=3e-3, near=1, workers=1
)


@pytest.fixture
def base(tmp_path: Path) -> Path:
    """A folder with a small model and one token a word."""
    torch.manual_seed(0)
    config = BertConfig(
        vocab_size=20, hidden_size=48, num_hidden_layers=2, num_attention_heads=4,
        intermediate_size=96, max_position_embeddings=16, hidden_dropout_prob=0.0,
        attention_probs_dropout_prob=0.0,
    )  # fmt: skip
    BertModel(config, add_pooling_layer=False).save_pretrained(tmp_path)
    vocabulary = {word: i for i, word in enumerate(["?", *WORDS])}
    tokenizer = Tokenizer(models.WordLevel(vocabulary, unk_token="?"))
    tokenizer.pre_tokenizer = pre_tokenizers.Whitespace()
    tokenizer.save(str(tmp_path / "tokenizer.json"))
    return tmp_path


@pytest.fixture
def data() -> TrainingSet:
    asked = (
        Asked("a", "when bins", "en", (0,), (), "question"),
        Asked("a", "where is wifi", "en", (1,), (), "question"),
        Asked("a", "the oven", "en", (2,), (), "question"),
        Asked("a", "where lamp", "en", (), (), "question"),
        Asked("a", "help", "en", (), (), "lockout"),
    )
    return TrainingSet(
        {"a": [["bins", "the bins"], ["wifi"], ["oven", "it is the oven"]]},
        asked,
        (Several("a", "wifi and bins", 2, (5,)),),
        (Told("smoke", "safety", "fire"), Told("where is it", "question", None)),
    )


def test_the_other_views_count_the_same_whether_they_are_learned_from_or_not(
    base: Path, data: TrainingSet
) -> None:
    """
    They are compared with in both ways; only what is learned from them differs.
    """
    encoder, reader = TextEncoder(str(base), "cpu").eval(), FactReader("cpu").eval()
    batch = Batches(data, Tokens(str(base), 96), PLAN)[0]
    found = []
    for all_views in (True, False):
        torch.manual_seed(1)  # which far facts are read is drawn
        encoder.zero_grad()
        losses = _losses(encoder, reader, batch, replace(PLAN, all_views=all_views), "cpu")
        losses[0].backward()
        found.append((losses.detach(), encoder.body.embeddings.word_embeddings.weight.grad))
    (learned, gradient), (looked_at, less) = found

    assert torch.allclose(learned, looked_at, atol=1e-5)
    assert gradient is not None
    assert less is not None
    assert not torch.allclose(gradient, less)


def test_training_learns_the_messages_and_leaves_still_layers_alone(
    base: Path, data: TrainingSet
) -> None:
    """
    All losses of the messages fall, and a layer that must not learn keeps every weight.
    """
    encoder, reader = TextEncoder(str(base), "cpu"), FactReader("cpu")
    tokens, plan = Tokens(str(base), 96), replace(PLAN, all_views=False)
    lowest, second = encoder.body.encoder.layer
    lowest.requires_grad_(False)
    kept = [p.clone() for p in lowest.parameters()]
    others = [p.clone() for p in second.parameters()]

    def measured() -> torch.Tensor:
        encoder.eval(), reader.eval()
        torch.manual_seed(1)
        with torch.no_grad():
            return _losses(encoder, reader, Batches(data, tokens, plan)[0], plan, "cpu")

    before = measured()
    train(encoder, reader, data, tokens, plan)

    assert (measured() < before / 2).all()
    assert all(torch.equal(a, b) for a, b in zip(kept, lowest.parameters(), strict=True))
    assert not any(torch.equal(a, b) for a, b in zip(others, second.parameters(), strict=True))
