"""BM25 of `askhouse.search.wording`, against the textbook and a second implementation.

Three formulas of BM25 are about, and they differ in two places:

- The weight of a word. Robertson and Spärck Jones: log((N - n + ½) / (n + ½)), which is negative
  for a word that more than half of the texts hold. Ours (Lucene's): log(1 + (N - n + ½) / (n + ½)),
  which never is.
- The factor (k₁ + 1) over the whole, which changes no order. The textbook and `rank_bm25` have it,
  ours does not.

What is the same everywhere: f / (f + k₁ (1 - b + b · length / mean length)).
"""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from rank_bm25 import BM25Okapi

from askhouse.search.wording import Wording
from askhouse.words import stems

K1, B = 1.2, 0.75


def ours_of(total: int, holding: int) -> float:
    return log(1 + (total - holding + 0.5) / (holding + 0.5))


def textbooks_of(total: int, holding: int) -> float:
    return log((total - holding + 0.5) / (holding + 0.5))


@pytest.mark.parametrize(
    ("president", "lincoln", "score"),
    [(15, 25, 20.63), (15, 1, 12.74), (15, 0, 5.00), (1, 25, 18.17), (0, 25, 15.62)],
)
def test_the_worked_example_of_croft_metzler_and_strohman(
    president: int, lincoln: int, score: float
) -> None:
    """
    "president lincoln": of 500 000 texts 40 000 hold the one and 300 the other; the text has 0.9 of
    the mean length. The book rounds on the way and prints 20.66, 12.74, 5.00, 18.2 and 15.66.

    We cannot index half a million texts here. But our score, divided by our own weight of the
    word, is the part that does not depend on how many texts there are; with the book's weight and
    its factor k₁ + 1 it must give the book's score.

    W. B. Croft, D. Metzler, T. Strohman, Search Engines, 2010, section 7.2.2.
    """
    rest = 90 - president - lincoln
    text = " ".join(["president"] * president + ["lincoln"] * lincoln + ["gravel"] * rest)
    # Three more texts, so that the mean length is 100 and 90 is 0.9 of it; one holds both words.
    others = ["gravel " * 110, "gravel " * 100, "president lincoln " + "gravel " * 98]
    wording = Wording([text, *others])

    total = 0.0
    for word, holding in (("president", 40_000), ("lincoln", 300)):
        held = 1 + (word in text.split())
        factor = float(wording.scores(word)[0]) / ours_of(4, held)
        total += textbooks_of(500_000, holding) * (K1 + 1) * factor

    assert total == pytest.approx(score, abs=0.006)


CORPUS = (
    "The bins are behind the shed and the recycling goes out on Tuesday",
    "You can park two cars on the gravel by the gate",
    "The rowing boat lies at the jetty and the oars are in the boat shed",
    "Please leave by ten and put the keys on the kitchen table",
    "The thermostat is in the hall by the kitchen door",
    "The stove is in the kitchen, and its wood is in the shed by the gate",
    "Keys, keys, keys: they hang by the kitchen door",
)
QUESTIONS = (
    *("boat", "shed", "kitchen", "keys", "gate", "gravel"),
    *("where are the kitchen keys", "is the shed by the gate", "boat in the shed", "kitchen door"),
    *("recycling on tuesday in the shed", "sauna", "can we park the boat by the jetty gate"),
)


@pytest.fixture(scope="module")
def okapi() -> BM25Okapi:
    """`rank_bm25` over the same stems."""
    return BM25Okapi([stems(text) for text in CORPUS], k1=K1, b=B)


@pytest.mark.parametrize("question", QUESTIONS)
def test_scores_are_rank_bm25s_with_our_weight(question: str, okapi: BM25Okapi) -> None:
    """
    Word by word, `rank_bm25`'s score with its weight and its k₁ + 1 exchanged for ours is ours.
    """
    expected = np.zeros(len(CORPUS))
    for stem in dict.fromkeys(stems(question)):
        holding = sum(stem in stems(text) for text in CORPUS)
        if holding:
            weight = ours_of(len(CORPUS), holding) / okapi.idf[stem]
            expected += okapi.get_scores([stem]) / (K1 + 1) * weight

    np.testing.assert_allclose(Wording(CORPUS).scores(question), expected, atol=1e-5)


@pytest.mark.parametrize("question", QUESTIONS)
def test_the_best_text_is_rank_bm25s(question: str, okapi: BM25Okapi) -> None:
    """
    Both put the same text first, and for a single word all texts in the same order.
    """
    ours, theirs = Wording(CORPUS).scores(question), okapi.get_scores(stems(question))

    if len(set(stems(question))) == 1:
        assert np.argsort(-ours, kind="stable").tolist() == (
            np.argsort(-theirs, kind="stable").tolist()
        )
    assert ours.argmax() == theirs.argmax()


def test_a_common_word_never_counts_against_a_text() -> None:
    """
    Where more than half of the texts hold a word, the textbook's weight is negative, ours is not.
    """
    texts = ["boat jetty", "boat oars", "boat gravel", "stove"]

    assert textbooks_of(4, 3) < 0 < ours_of(4, 3)
    assert (Wording(texts).scores("boat")[:3] > 0).all()
