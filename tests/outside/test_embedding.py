"""The int8 model against the full one: sentence-transformers with the weights it was made from.

Both read the model all-MiniLM-L6-v2; ours has its weights in eight bits and no torch. Rounding
moves every cosine a little, so two facts that are as good as equally near may change places; what
must not happen is that a clear order changes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from askhouse.answer.length import sentences
from askhouse.encoder import Encoder, OnnxEncoder, Vectors
from askhouse.values import House

Pair = tuple[Vectors, Vectors]
ROUNDING = 0.02  # the most that a cosine of two such sentences is moved


@pytest.fixture(scope="module")
def sentence_vectors(
    onnx_encoder: OnnxEncoder, torch_encoder: Encoder, demo_houses: Mapping[str, House]
) -> Pair:
    """The vectors of 500 sentences of the demo houses, in eight bits and in full."""
    said = dict.fromkeys(
        sentence
        for house in demo_houses.values()
        for fact in house.facts
        if not fact.sensitive
        for sentence in sentences(fact.text)
    )
    texts = list(said)[:500]
    assert len(texts) == 500
    return onnx_encoder.encode(texts), torch_encoder.encode(texts)


@pytest.fixture(scope="module")
def ask_vectors(
    onnx_encoder: OnnxEncoder, torch_encoder: Encoder, demo_houses: Mapping[str, House]
) -> Pair:
    """The same for every way of asking that the hosts wrote."""
    asks = [ask for house in demo_houses.values() for fact in house.facts for ask in fact.asks]
    return onnx_encoder.encode(asks), torch_encoder.encode(asks)


def test_vectors_are_the_full_models(sentence_vectors: Pair, ask_vectors: Pair) -> None:
    """
    No sentence's vector is further than a cosine of 0.995 from that of the full model.
    """
    for small, full in (sentence_vectors, ask_vectors):
        cosines = (small * full).sum(axis=1)

        assert cosines.min() >= 0.995
        assert cosines.mean() >= 0.999


def test_the_nearest_sentence_is_the_full_models(sentence_vectors: Pair, ask_vectors: Pair) -> None:
    """
    For each question, both models put the same of the 500 sentences first.

    In at least 99 of 100 questions, where the full model sees a lead that rounding cannot undo;
    and in at least 95 of 100 among all, with every exchange between two that are nearly level.
    """
    small, full = (asks @ said.T for asks, said in zip(ask_vectors, sentence_vectors, strict=True))
    same = small.argmax(axis=1) == full.argmax(axis=1)
    best, second = np.sort(full, axis=1)[:, :-3:-1].T
    clear = best - second > ROUNDING
    lost = best - full[np.arange(len(full)), small.argmax(axis=1)]

    assert np.abs(small - full).max() < ROUNDING
    assert clear.sum() > 200
    assert same[clear].mean() >= 0.99
    assert same.mean() >= 0.95
    assert lost.max() < ROUNDING
