"""Going on from the shipped models: they are read back whole."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
import torch
from transformers import BertConfig, BertModel

from askhouse.encoder import MODELS, TrainedEncoder
from askhouse.search.reader import Reader
from askhouse.training.export import load_trained
from askhouse.training.modules import MAX_TOKENS, FactReader, TextEncoder
from askhouse.training.ragged import Pairs, Ragged
from askhouse.training.shipped import shipped
from askhouse.training.tokens import Tokens

TEXTS = ["where can i leave the car", "Park behind the barn, at number 4.", "Bins go out Monday."]


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of the shape that training started from, with weights that mean nothing."""
    folder = tmp_path_factory.mktemp("base")
    shape = BertConfig(vocab_size=40_000, hidden_size=384, intermediate_size=1536)
    BertModel(shape, add_pooling_layer=False).save_pretrained(folder)
    shutil.copyfile(MODELS / "tokenizer.json", folder / "tokenizer.json")
    return folder


@pytest.fixture(scope="module")
def pair(base: Path) -> tuple[TextEncoder, FactReader]:
    encoder, reader = shipped(MODELS, str(base))
    return encoder.eval(), reader.eval()


def test_the_shipped_models_are_read_back(
    pair: tuple[TextEncoder, FactReader], base: Path, trained_encoder: TrainedEncoder
) -> None:
    """
    Vectors and answers are those of the int8 files, but for what int8 arithmetic takes away.
    """
    encoder, reader = pair
    rows = Tokens(str(base), MAX_TOKENS)(TEXTS)
    texts = Ragged([len(row) for row in rows], "cpu")
    with torch.no_grad():
        vectors, words = encoder(torch.from_numpy(np.concatenate(rows)), texts)
        cosines = vectors[:1] @ vectors[1:].T
        pairs = Pairs(texts, np.array([0, 0]), np.array([1, 2]))
        answers = reader.ragged(words, pairs, cosines[0]).sigmoid().numpy()
    encoded = [trained_encoder.encode_words([text])[0] for text in TEXTS]
    states = [one.words for one in encoded if one.words is not None]

    alike = [float(own @ one.vector) for own, one in zip(vectors.numpy(), encoded, strict=True)]
    told = Reader().answers(states[0], states[1:], cosines[0].numpy())

    assert min(alike) > 0.97
    assert np.abs(answers - told).max() < 0.3
    assert answers.argmax() == told.argmax() == 0


def test_the_heads_are_read_back(pair: tuple[TextEncoder, FactReader]) -> None:
    """
    Every number of the file of heads stands where training looks for it.
    """
    encoder, _ = pair
    with np.load(MODELS / "heads-trained.npz") as heads:
        assert np.array_equal(encoder.kind.whole.weight.detach().numpy(), heads["kind_weights"])
        assert np.array_equal(encoder.hazard.says.weight.detach().numpy(), heads["hazard_says"])
        assert np.array_equal(encoder.cut.weight.detach().numpy()[0], heads["cut_weights"])


def test_several_trainings_are_exported_as_their_mean(
    pair: tuple[TextEncoder, FactReader], base: Path, tmp_path: Path
) -> None:
    """
    Each weight is the mean of what the folders hold.
    """
    for folder, moved in (("one", 0.0), ("two", 0.25)):
        (tmp_path / folder).mkdir()
        for name, model in zip(("encoder", "reader"), pair, strict=True):
            weights = {key: value + moved for key, value in model.state_dict().items()}
            torch.save(weights, tmp_path / folder / f"{name}.pt")

    encoder, reader = load_trained(str(base), [tmp_path / "one", tmp_path / "two"])

    for own, mean in zip(pair, (encoder, reader), strict=True):
        for key, value in mean.state_dict().items():
            assert torch.allclose(value, own.state_dict()[key] + 0.125, atol=1e-6), key
