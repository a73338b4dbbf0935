"""The learned heads: a softmax by hand, and files that are refused."""

from __future__ import annotations

from math import exp, log
from pathlib import Path

import numpy as np
import pytest

from askhouse.encoder import Encoded
from askhouse.errors import ModelError
from askhouse.kinds import KindHead, Kinds
from tests.standins import LOUD, QUESTION, CountingEncoder, WordEncoder, make_kinds


def test_probabilities_are_a_softmax() -> None:
    """
    Logits 2, 1 and 0 give e², e and 1 as shares of their sum.
    """
    head = KindHead(
        classes=("a", "b", "c"),
        weights=np.array([[2, 0], [0, 1], [0, 0]], dtype=np.float32),
        bias=np.array([0, 1, 0], dtype=np.float32),
    )

    found = head.probabilities(Encoded(np.array([1, 0], dtype=np.float32)))

    whole = exp(2) + exp(1) + 1
    assert found == pytest.approx({"a": exp(2) / whole, "b": exp(1) / whole, "c": 1 / whole})


def test_each_class_looks_for_its_own_words() -> None:
    """
    Class a looks for the first word: softmax of (ln 3, 0) is (3/4, 1/4), and what the words
    say, 4 and 0, adds 3 to its logit. Class b looks at both alike and hears nothing.
    """
    head = KindHead(
        classes=("a", "b"),
        weights=np.zeros((2, 1), dtype=np.float32),
        bias=np.zeros(2, dtype=np.float32),
        looks=np.array([[log(3), 0], [0, 0]], dtype=np.float32),
        says=np.array([[4, 0], [0, 0]], dtype=np.float32),
    )
    words = np.array([[1, 0], [0, 1]], dtype=np.float16)

    found = head.probabilities(Encoded(np.zeros(1, dtype=np.float32), words))

    assert found["a"] == pytest.approx(exp(3) / (exp(3) + 1), abs=1e-3)


def test_large_logits_do_not_overflow() -> None:
    """
    A logit of a thousand is certainty, not an error.
    """
    head = KindHead(
        classes=("a", "b"),
        weights=np.array([[1000.0], [0.0]], dtype=np.float32),
        bias=np.zeros(2, dtype=np.float32),
    )

    assert head.probabilities(Encoded(np.ones(1, dtype=np.float32))) == {"a": 1.0, "b": 0.0}


def test_kind_and_hazard_are_read_together(tmp_path: Path, encoder: WordEncoder) -> None:
    """
    "gas" alone says safety and gas; a text without such a word is a question.
    """
    kinds = make_kinds(tmp_path, encoder)
    gas, bins = encoder.encode_words(["gas", "bins"])

    kind, hazard = kinds.read("gas", gas)
    assert kind["safety"] == pytest.approx(exp(LOUD) / (exp(LOUD) + exp(QUESTION) + 5), abs=1e-6)
    assert max(hazard, key=lambda name: hazard[name]) == "gas"
    kind, _ = kinds.read("bins", bins)
    assert max(kind, key=lambda name: kind[name]) == "question"
    assert sum(kind.values()) == pytest.approx(1.0)


def test_heads_of_another_encoder_are_refused(tmp_path: Path, encoder: WordEncoder) -> None:
    """
    Weights mean nothing to the vectors of another encoder; the error names both ways out.
    """
    make_kinds(tmp_path, encoder)

    with pytest.raises(
        ModelError, match=r"another encoder \(stand-in:words\): install the package"
    ):
        Kinds(tmp_path / "heads-stand-in.npz", CountingEncoder("another"))


def test_heads_alone_encode_for_themselves(tmp_path: Path, encoder: WordEncoder) -> None:
    """
    Where search has another encoder, the heads read the text with their own.
    """
    make_kinds(tmp_path, encoder)
    alone = Kinds(tmp_path / "heads-stand-in.npz", encoder, alone=True)

    kind, _ = alone.read("gas", Encoded(np.zeros(3, dtype=np.float32)))

    assert kind["safety"] > 0.99


@pytest.mark.parametrize("content", [b"", b"not heads", b"half", None])
def test_a_broken_file_is_named(
    tmp_path: Path, encoder: WordEncoder, content: bytes | None
) -> None:
    """
    A file that is missing or broken is an error with its name.
    """
    if content == b"half":
        make_kinds(tmp_path, encoder)
        content = (tmp_path / "heads-stand-in.npz").read_bytes()[:-100]
    if content is not None:
        (tmp_path / "heads.npz").write_bytes(content)

    with pytest.raises(ModelError, match=r"heads\.npz cannot be read"):
        Kinds(tmp_path / "heads.npz", encoder)
