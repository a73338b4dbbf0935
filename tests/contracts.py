"""What every encoder must do, whatever it is made of; each one's tests inherit this."""

from __future__ import annotations

import numpy as np
import pytest

from askhouse.encoder import Encoder

__all__ = ["EncoderContract"]

TEXTS = ("where are the bins", "can we use the boat", "how do we light the stove, please?", "code")


class EncoderContract:
    """Inherit it, and give the encoder in a fixture called `encoder`."""

    @pytest.fixture
    def encoder(self) -> Encoder:
        raise NotImplementedError

    def test_a_row_of_float32_for_each_text(self, encoder: Encoder) -> None:
        """
        The vectors come as `(texts, size) float32`.
        """
        vectors = encoder.encode(TEXTS)

        assert vectors.shape == (len(TEXTS), encoder.size)
        assert vectors.dtype == np.float32

    def test_vectors_have_length_one(self, encoder: Encoder) -> None:
        """
        Every vector has length one, so that an inner product is a cosine.
        """
        lengths = np.linalg.norm(encoder.encode(TEXTS), axis=1)

        np.testing.assert_allclose(lengths, 1.0, atol=1e-5)

    def test_order_is_kept(self, encoder: Encoder) -> None:
        """
        The n-th vector is that of the n-th text, also where texts of all lengths fill two batches.
        """
        things = ("bins", "boat", "stove", "parking", "checkout", "sauna")
        texts = [
            f"{thing} {other} " * (1 + n % 4) for n, thing in enumerate(things) for other in things
        ]

        together = encoder.encode(texts)

        for place in range(0, len(texts), 5):
            (alone,) = encoder.encode([texts[place]])
            nearest = together @ alone
            assert nearest[place] >= nearest.max() - 1e-4, texts[place]

    def test_company_does_not_change_a_vector(self, encoder: Encoder) -> None:
        """
        A text beside longer ones, and so padded, has the vector that it has alone.

        A fact is embedded with others and a question alone; and a changed fact alone.
        """
        texts = ["bins", "where is the boat", "how do we light the stove " * 12]

        together = encoder.encode(texts)

        for text, vector in zip(texts, together, strict=True):
            (alone,) = encoder.encode([text])
            assert float(vector @ alone) > 0.999, text

    def test_no_texts_give_no_rows(self, encoder: Encoder) -> None:
        """
        An empty list gives an empty table of the right width.
        """
        assert encoder.encode([]).shape == (0, encoder.size)

    @pytest.mark.parametrize(
        "text",
        ["", " ", "?", "🔑🔥", "where are the bins " * 600, "x" * 10_000, "où est-ce", "鍵はどこ"],
        ids=["empty", "space", "mark", "emoji", "long", "one-long-word", "french", "japanese"],
    )
    def test_any_text_has_a_vector(self, encoder: Encoder, text: str) -> None:
        """
        No text is too strange or too long for a vector of length one.
        """
        (vector,) = encoder.encode([text])

        assert np.isfinite(vector).all()
        assert np.linalg.norm(vector) == pytest.approx(1.0, abs=1e-5)

    def test_the_same_text_has_the_same_vector(self, encoder: Encoder) -> None:
        """
        What is in the index today can be compared with a question tomorrow.
        """
        np.testing.assert_allclose(encoder.encode(TEXTS[:2]), encoder.encode(TEXTS[:2]), atol=1e-6)

    def test_words_come_with_the_same_vector(self, encoder: Encoder) -> None:
        """
        `encode_words` gives the vector of `encode`, and the words where there is a reader.
        """
        encoded = encoder.encode_words(TEXTS)

        np.testing.assert_allclose(
            np.stack([one.vector for one in encoded]), encoder.encode(TEXTS), atol=1e-5
        )
        for one in encoded:
            assert (one.words is None) is (encoder.width == 0)
            assert one.words is None or one.words.shape[1] == encoder.width
        assert encoder.encode_words([]) == []

    def test_it_says_its_name(self, encoder: Encoder) -> None:
        """
        The name tells whose vectors a file holds, so it stays and is not empty.
        """
        assert encoder.name
