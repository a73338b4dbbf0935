"""Where a message is cut into parts, as learned from the states of its words.

A joiner is no sure sign: "salt and pepper" is one question, "bins wifi?" are two.
So each word is asked whether a part begins there; only a stop and a joiner before the
opening of a question need no model.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
from numpy.typing import NDArray

from askhouse.errors import ModelError
from askhouse.parts.split import joined_asks, only_opens

__all__ = ["Cuts", "cut_at", "likely_cuts", "word_starts"]

_CUT = 0.5  # a part begins from this probability on


@dataclass(frozen=True, slots=True)
class Cuts:
    """A logistic regression over the states of a word's first token and the token before.

    Attributes:
        weights: `(2 * width,) float32`.
        bias: Of the regression.
    """

    weights: NDArray[np.float32]
    bias: float

    @classmethod
    def read(cls, path: Path) -> Cuts:
        """Reads the weights from a file of heads.

        Raises:
            ModelError: The file is missing, broken, or holds none.
        """
        try:
            with path.open("rb") as file, np.load(file, allow_pickle=False) as content:
                return cls(content["cut_weights"], float(content["cut_bias"]))
        except (OSError, EOFError, BadZipFile, KeyError, ValueError) as error:
            raise ModelError(f"{path.name} cannot be read: install the package again") from error

    def pieces(
        self, text: str, words: NDArray[np.float16], spans: Sequence[tuple[int, int]]
    ) -> tuple[str, ...]:
        """The parts of a text, in order, at least one.

        Args:
            text: The cleaned message.
            words: States of its tokens, `(tokens, width)`.
            spans: Characters of each token, first and behind the last.
        """
        starts = word_starts(text, spans)
        if not starts:
            return (text,)
        states = words.astype(np.float32)
        at = np.array([token for token, _ in starts])
        logits = np.hstack([states[at], states[at - 1]]) @ self.weights + self.bias
        chances = 1 / (1 + np.exp(-logits))
        return cut_at(text, likely_cuts(text, [place for _, place in starts], chances))


def likely_cuts(text: str, places: Sequence[int], chances: NDArray[np.floating]) -> tuple[int, ...]:
    """The characters at which parts begin.

    A part begins at a word that is likelier than not to begin one; at the likelier of two
    neighbours that are so together, since a joiner and the word behind it may share it; and
    at a question that a stop and a joiner part from what is before.

    Args:
        text: The message.
        places: Characters at which its words begin, but the first.
        chances: That a part begins there, same length.
    """
    over = chances >= _CUT
    shared = np.zeros_like(over)
    for first in np.flatnonzero(chances[:-1] + chances[1:] >= _CUT).tolist():
        if not over[max(first - 1, 0) : first + 3].any():
            shared[first + int(chances[first + 1] > chances[first])] = True
    surely = joined_asks(text)
    cut: list[int] = []
    for place, likely in zip(places, over | shared, strict=True):
        begins = likely or place in surely
        if begins and not (cut and only_opens(text[cut[-1] : place].strip())):
            cut.append(place)
    return tuple(cut)


def cut_at(text: str, places: Sequence[int]) -> tuple[str, ...]:
    """The pieces of a text that begin at its start and at those characters, none of them empty.

    What only joined a piece to the next one, such as a comma, stays with neither.
    """
    *earlier, last = (text[a:b].strip() for a, b in pairwise((0, *places, len(text))))
    pieces = [*(piece.rstrip(" ,;:-–—") for piece in earlier), last]
    return tuple(piece for piece in pieces if piece)


def word_starts(text: str, spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Token and character at which each word begins, but the first.

    Tokenizers differ in whether the space before a word is its token's.
    """
    found = []
    for token, (first, behind) in enumerate(spans):
        piece = text[first:behind]
        place = first + len(piece) - len(piece.lstrip())
        if place > 0 and piece.strip() and text[place - 1].isspace():
            found.append((token, place))
    return found
