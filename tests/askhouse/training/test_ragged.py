"""Texts end to end are read as padded ones are, and as one by one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import torch
from transformers import BertConfig, BertModel

from askhouse.training.modules import WIDTH, FactReader, TextEncoder
from askhouse.training.ragged import Pairs, Ragged

LENGTHS = np.array([5, 1, 9, 3])


@pytest.fixture
def encoder(tmp_path: Path) -> TextEncoder:
    """A small encoder with weights drawn at random."""
    torch.manual_seed(0)
    config = BertConfig(
        vocab_size=50, hidden_size=48, num_hidden_layers=2, num_attention_heads=4,
        intermediate_size=96, max_position_embeddings=16,
    )  # fmt: skip
    BertModel(config, add_pooling_layer=False).save_pretrained(tmp_path)
    return TextEncoder(str(tmp_path), "cpu").eval()


@torch.no_grad()
def test_the_encoder_reads_each_text_as_the_library_s_own_forward_does(
    encoder: TextEncoder,
) -> None:
    ids = torch.randint(50, (int(LENGTHS.sum()),))
    vectors, words = encoder(ids, Ragged(LENGTHS, "cpu"))
    for row, text in enumerate(torch.split(ids, LENGTHS.tolist())):
        hidden = encoder.body(input_ids=text[None]).last_hidden_state[0]
        mean = hidden.mean(0)
        assert torch.allclose(vectors[row], mean / mean.norm(), atol=1e-5)
        mine = torch.split(words, LENGTHS.tolist())[row]
        assert torch.allclose(mine, encoder.narrow(hidden), atol=1e-5)


@torch.no_grad()
def test_the_reader_reads_pairs_end_to_end_as_it_does_padded() -> None:
    torch.manual_seed(0)
    reader = FactReader("cpu").eval()
    words = torch.randn(int(LENGTHS.sum()), WIDTH)
    texts = Ragged(LENGTHS, "cpu")
    first, second = np.array([0, 0, 3]), np.array([1, 2, 2])
    cosine = torch.tensor([0.1, 0.9, -0.3])
    found = reader.ragged(words, Pairs(texts, first, second), cosine)
    wide = texts.padded(words, 0.0)
    mask = texts.padded(torch.ones(texts.total, dtype=torch.long), 0)
    expected = reader(wide[first], mask[first], wide[second], mask[second], cosine)
    assert torch.allclose(found, expected, atol=1e-4)


def test_means_and_padding_hold_each_text_s_tokens() -> None:
    texts = Ragged(LENGTHS, "cpu")
    states = torch.arange(float(LENGTHS.sum()))[:, None]
    assert texts.mean(states)[:, 0].tolist() == [2.0, 5.0, 10.0, 16.0]
    padded = texts.padded(states, -1.0)[:, :, 0]
    assert padded[3].tolist() == [15.0, 16.0, 17.0, -1, -1, -1, -1, -1, -1]
    assert (padded >= 0).sum(1).tolist() == LENGTHS.tolist()
