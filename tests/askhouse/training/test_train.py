"""Training on a few texts: it learns them."""

from __future__ import annotations

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


def test_training_learns_the_messages(base: Path, data: TrainingSet) -> None:
    """
    All losses fall, those of the messages to less than half.
    """
    encoder, reader = TextEncoder(str(base), "cpu"), FactReader("cpu")
    tokens = Tokens(str(base), 96)

    def measured() -> torch.Tensor:
        encoder.eval(), reader.eval()
        torch.manual_seed(1)
        with torch.no_grad():
            return _losses(encoder, reader, Batches(data, tokens, PLAN)[0], PLAN, "cpu")

    before = measured()
    train(encoder, reader, data, tokens, PLAN)
    shares = measured() / before

    # The teacher learns as well, so that what it teaches is another thing in the end.
    assert (shares < torch.tensor([0.5, 0.5, 0.9, 0.5, 0.5])).all()
