"""Every encoder keeps the same promise; the model files are the ones expected."""

from __future__ import annotations

import math
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from askhouse.encoder import Encoder, OnnxEncoder, TorchEncoder, TrainedEncoder
from askhouse.errors import ModelError
from askhouse.search.views import views_of
from askhouse.values import House
from tests.contracts import EncoderContract
from tests.standins import WordEncoder


class TestWordEncoder(EncoderContract):
    """The stand-in."""

    @pytest.fixture
    def encoder(self) -> Encoder:
        return WordEncoder()

    def test_a_vector_is_the_counts(self) -> None:
        """
        "bins, bins and the boat" and "bins" have the cosine 2/√5, as its docstring says.
        """
        first, second = WordEncoder().encode(["bins, bins and the boat", "bins"])

        assert float(first @ second) == pytest.approx(2 / math.sqrt(5))

    def test_every_view_of_the_house_has_a_known_word(
        self, small_house: House, grown_house: House
    ) -> None:
        """
        No view lies on the axis of texts without a known word, where all such texts meet.
        """
        for house in (small_house, grown_house):
            views = [view for fact in house.facts for view in views_of(fact)]
            nothing = [
                v for v, row in zip(views, WordEncoder().encode(views), strict=True) if row[-1]
            ]
            assert nothing == []


class TestOnnxEncoder(EncoderContract):
    """The model that comes with Askhouse, without torch."""

    @pytest.fixture
    def encoder(self, onnx_encoder: OnnxEncoder) -> Encoder:
        return onnx_encoder

    def test_meaning_is_near(self, onnx_encoder: OnnxEncoder) -> None:
        """
        The same wish in other words is nearer than another wish in similar words.
        """
        asked, same, other = onnx_encoder.encode(
            ["where do we put the rubbish", "which bin for the trash?", "where do we put the car"]
        )

        assert float(asked @ same) > float(asked @ other)

    def test_the_model_file_is_the_one_expected(self, tmp_path: Path) -> None:
        """
        A model with another hash is refused, and the error says which file and what to do.
        """
        model, tokenizer = tmp_path / "model.onnx", tmp_path / "tokenizer.json"
        model.write_bytes(b"not the model")
        tokenizer.write_text("{}")

        with pytest.raises(ModelError, match=r"model\.onnx is not the expected file.*again"):
            OnnxEncoder(model, tokenizer, sha256="0" * 64)

    def test_a_missing_file_is_named(self, tmp_path: Path) -> None:
        """
        Without its file there is no encoder, and the error names the file.
        """
        with pytest.raises(ModelError, match=r"model\.onnx is missing"):
            OnnxEncoder(tmp_path / "model.onnx", tmp_path / "tokenizer.json")

    def test_torch_stays_out(self) -> None:
        """
        The interactive path takes no seconds for torch: a first vector needs no part of it.
        """
        code = (
            "import sys; from askhouse.encoder import open_encoder; "
            "open_encoder('plain').encode(['bins']); "
            "print([m for m in ('torch', 'sentence_transformers') if m in sys.modules])"
        )
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=True)

        assert done.stdout.strip() == b"[]"


class TestTrainedEncoder(EncoderContract):
    """Askhouse's own model, which also gives words to the reader."""

    @pytest.fixture
    def encoder(self, trained_encoder: TrainedEncoder) -> Encoder:
        return trained_encoder

    def test_it_has_words_for_the_reader(self, encoder: Encoder) -> None:
        """
        Each token has a state, so a longer text has more of them, and none is cut by a neighbour.
        """
        (alone,) = encoder.encode_words(["bins"])
        short, long = encoder.encode_words(["bins", "where do the bins go on a Tuesday"])

        assert encoder.width > 0
        assert alone.words is not None
        assert short.words is not None
        assert long.words is not None
        assert len(alone.words) == len(short.words) < len(long.words)
        assert np.isfinite(long.words).all()


class TestTorchEncoder(EncoderContract):
    """The same model through sentence-transformers, opened from its folder."""

    @pytest.fixture
    def encoder(self, torch_encoder: Encoder) -> Encoder:
        return torch_encoder

    def test_a_folder_that_is_no_model_is_an_error(self, tmp_path: Path) -> None:
        """
        A wrong name is a ModelError that repeats it, without a way out to any network.
        """
        with pytest.raises(ModelError, match="no sentence-transformers model could be opened"):
            TorchEncoder(str(tmp_path))


def test_plain_is_the_small_model(onnx_encoder: OnnxEncoder) -> None:
    """
    "plain" needs no torch; its name carries its hash, and its vectors have 384 numbers.
    """
    assert onnx_encoder.name == "onnx:8199be6f699a395f"
    assert onnx_encoder.size == 384
    assert np.isfinite(onnx_encoder.encode(["bins"])).all()


def test_a_missing_trained_model_is_named(tmp_path: Path) -> None:
    """
    Where Askhouse's own model is missing, the error names the file and what to do.
    """
    with pytest.raises(ModelError, match=r"encoder\.onnx is missing: install the package again"):
        TrainedEncoder(tmp_path)
