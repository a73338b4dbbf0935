"""Cuts by hand-made states: each token's state says whether a part begins there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from askhouse.errors import ModelError
from askhouse.parts.cuts import Cuts, cut_at, likely_cuts, word_starts

# "bins wifi code": tokens for begin, bins, wi, fi, code, end; the state is 1 where a part begins.
TEXT = "bins wifi code"
SPANS = ((0, 0), (0, 4), (5, 7), (7, 9), (10, 14), (0, 0))
BEGINS = Cuts(np.array([8.0, 0.0], dtype=np.float32), -4.0)


def states(*numbers: float) -> np.ndarray:
    return np.array(numbers, dtype=np.float16)[:, None]


def test_a_message_is_cut_where_a_word_is_likelier_than_not_to_begin_a_part() -> None:
    """
    The state of the first token of "wifi" is over the limit, that of "code" under it.
    """
    assert BEGINS.pieces(TEXT, states(0, 1, 1, 0, 0.4, 0), SPANS) == ("bins", "wifi code")


def test_nothing_is_cut_inside_a_word_and_before_the_first() -> None:
    """
    The second token of "wifi" and the first word are sure, and yet nothing is cut.
    """
    assert BEGINS.pieces(TEXT, states(1, 1, 0, 1, 0, 1), SPANS) == (TEXT,)


def test_the_token_before_counts_too() -> None:
    """
    Weights on the token before alone cut behind it.
    """
    behind = Cuts(np.array([0.0, 8.0], dtype=np.float32), -4.0)
    assert behind.pieces(TEXT, states(0, 0, 0, 1, 0, 0), SPANS) == ("bins wifi", "code")


@pytest.mark.parametrize(
    ("text", "chances", "pieces"),
    [
        # "and" and "how" share it, and the likelier one has it; alone neither is likely.
        ("a fan and how hot", (0.1, 0.4, 0.3, 0.1), ("a fan", "and how hot")),
        ("a fan and how hot", (0.1, 0.1, 0.45, 0.1), ("a fan and", "how hot")),
        ("a fan and how hot", (0.1, 0.2, 0.2, 0.1), ("a fan and how hot",)),
        # Beside a sure one nothing is shared, and no piece only opens a question.
        ("a fan and how hot", (0.1, 0.9, 0.4, 0.2), ("a fan", "and how hot")),
        ("a fan and how hot", (0.1, 0.9, 0.8, 0.6), ("a fan", "and how hot")),
        # Single words that ask something are parts.
        ("bins wifi iron", (0.9, 0.9), ("bins", "wifi", "iron")),
        # What needs no model.
        ("a fan, and how hot", (0.0, 0.0, 0.0, 0.0), ("a fan", "and how hot")),
        ("a fan and how hot", (0.0, 0.0, 0.0, 0.0), ("a fan and how hot",)),
    ],
)
def test_a_part_begins_once(text: str, chances: tuple[float, ...], pieces: tuple[str, ...]) -> None:
    """
    Each word but the first has a chance; by hand.
    """
    places = [place for place in range(1, len(text)) if text[place - 1] == " "]

    assert cut_at(text, likely_cuts(text, places, np.array(chances))) == pieces


@pytest.mark.parametrize(
    ("text", "place", "pieces"),
    [
        ("oven on, and the bins", 9, ("oven on", "and the bins")),
        ("the oven? the bins,", 10, ("the oven?", "the bins,")),
        ("wifi - bins", 7, ("wifi", "bins")),
        (", bins", 2, ("bins",)),
    ],
)
def test_what_joins_two_pieces_stays_with_neither(
    text: str, place: int, pieces: tuple[str, ...]
) -> None:
    """
    A comma or a dash before a cut goes, a question mark and the message's own end stay.
    """
    assert cut_at(text, [place]) == pieces


@pytest.mark.parametrize(
    ("text", "spans", "found"),
    [
        ("a b", ((0, 1), (2, 3)), [(1, 2)]),
        ("a b", ((0, 1), (1, 3)), [(1, 2)]),  # the space is its token's
        ("a b", ((0, 1), (1, 2), (2, 3)), [(2, 2)]),  # the space is a token
        ("a\nb", ((0, 1), (2, 3)), [(1, 2)]),
        ("ab", ((0, 1), (1, 2)), []),
    ],
)
def test_words_begin_behind_white_space(
    text: str, spans: tuple[tuple[int, int], ...], found: list[tuple[int, int]]
) -> None:
    """
    Whichever way a tokenizer treats the space before a word.
    """
    assert word_starts(text, spans) == found


def test_a_file_without_cuts_is_refused(tmp_path: Path) -> None:
    """
    Heads of a model that has none are named, with what to do.
    """
    path = tmp_path / "heads.npz"
    np.savez(path, other=np.zeros(1))
    with pytest.raises(ModelError, match=r"heads\.npz cannot be read"):
        Cuts.read(path)
