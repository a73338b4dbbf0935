"""Words: BM25 by hand, and misspellings forgiven."""

from __future__ import annotations

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.build import known_words
from askhouse.search.wording import Wording

TEXTS = (
    "boat boat jetty",  # three words
    "boat gravel",  # two
    "gravel gravel gravel gate",  # four; three on the average
)


def test_scores_are_bm25() -> None:
    """
    idf = ln(1 + (N - n + ½) / (n + ½)), times f / (f + k₁ (1 - b + b · length / mean length)).

    "boat" is in two of three texts, so its idf is ln(1 + 1.5 / 2.5) = 0.4700; k₁ = 1.2, b = 0.75.
    In the first text f = 2 and the length is the mean, so 2 / (2 + 1.2); in the second f = 1 and
    the length is ⅔ of the mean, so 1 / (1 + 1.2 (0.25 + 0.5)).
    """
    idf = log(1 + 1.5 / 2.5)

    scores = Wording(TEXTS).scores("a boat?")

    assert scores.tolist() == pytest.approx([idf * 2 / 3.2, idf * 1 / 1.9, 0.0], abs=1e-6)
    assert scores.tolist() == pytest.approx([0.2938, 0.2474, 0.0], abs=1e-4)


def test_scores_of_several_words_add_up() -> None:
    """
    A question's score is the sum over its words; a word said twice counts once.
    """
    wording = Wording(TEXTS)

    both = wording.scores("is the boat on the gravel")

    assert both.tolist() == pytest.approx(
        (wording.scores("boat") + wording.scores("gravel")).tolist(), abs=1e-6
    )
    assert wording.scores("boat boat boat gravel").tolist() == both.tolist()


def test_endings_do_not_matter() -> None:
    """
    Words meet by their stems: "boats" finds "boat", "parking" finds "parked".
    """
    assert Wording(["the boat", "parked cars"]).scores("parking")[1] > 0
    assert Wording(["the boat", "parked cars"]).scores("boats")[0] > 0


@pytest.mark.parametrize("texts", [(), ("",), ("", ""), ("the and of",), ("boat", "")])
@pytest.mark.parametrize("asked", ["", "what is it", "sauna", "boat", "🔑"])
def test_no_words_are_no_error(texts: tuple[str, ...], asked: str) -> None:
    """
    A house or a question without a topical word has a score of nothing, not an error.
    """
    wording = Wording(texts)

    assert wording.scores(asked).shape == wording.covered(asked).shape == (len(texts),)
    assert np.isfinite(wording.scores(asked)).all()
    assert not wording.covered(asked).any() or asked == "boat"


def test_covered_is_the_share_of_rare_words() -> None:
    """
    Of "boat" and "sauna", a text holds the boat: its share is its rarity's.

    The rarity is ln(1 + N / (1 + n)): boat is in two of three texts, ln 2; sauna in none, ln 4.
    """
    covered = Wording(TEXTS).covered("boat or sauna?")

    assert covered.tolist() == pytest.approx([1 / 3, 1 / 3, 0.0], abs=1e-6)
    assert Wording(TEXTS).covered("boat gravel").tolist()[1] == pytest.approx(1.0)


HOUSE = ["the recycling goes out on tuesday", "the cot is in the bedroom", "error F0029, call us"]


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        # One slip in a word that only the house could mean: left out, put in, changed, swapped.
        ("recyling", "recycling"),
        ("recycleing", "recycling"),
        ("recycking", "recycling"),
        ("recyclign", "recycling"),
        ("tuesdya", "tuesday"),
        # The rest of the sentence stays as it was typed.
        ("Which day is RECYLING, pls?", "Which day is recycling, pls?"),
        # A word of the language stays, however near the house's word is.
        ("coat", "coat"),
        ("bathroom", "bathroom"),
        # Short words are not mended, nor the house's own.
        ("cit", "cit"),
        ("cot", "cot"),
        ("tuesday", "tuesday"),
        # What is far from everything stays.
        ("zxqvbn", "zxqvbn"),
        # A number is no slip: the guest's error code is not the house's.
        ("error F0028", "error F0028"),
        ("20260", "20260"),
        ("", ""),
        ("🔑 ?!", "🔑 ?!"),
    ],
)
def test_a_misspelt_word_is_the_nearest_of_the_house(typed: str, read: str) -> None:
    """
    Only what neither the house nor the language knows is taken for a word of the house.
    """
    assert Wording(HOUSE, known_words()).mend(typed) == read


def test_a_coat_is_no_cot() -> None:
    """
    "coat" is one letter from the house's "coats", and stays only because the language knows it.
    """
    assert Wording(["the coatx hook"]).mend("coat") == "coatx"
    assert Wording(["the coatx hook"], frozenset({"coat"})).mend("coat") == "coat"


@given(st.text(max_size=200))
def test_mending_keeps_everything_but_words(text: str) -> None:
    """
    Any text can be mended, and mending again changes nothing more.
    """
    wording = Wording(HOUSE, frozenset({"coat"}))

    once = wording.mend(text)

    assert wording.mend(once) == once
    assert [c for c in once if c in "?!., \n"] == [c for c in text if c in "?!., \n"]
