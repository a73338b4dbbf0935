"""Where a message is cut into parts, as learned from the states of its words.

A joiner is no sure sign: "salt and pepper" is one question, "bins wifi?" are two.
So each word is asked whether a part begins there.
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

__all__ = ["Cuts", "cut_at", "word_starts"]

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
        limit = np.log(_CUT / (1 - _CUT))
        cut = [place for (_, place), sure in zip(starts, logits >= limit, strict=True) if sure]
        return cut_at(text, cut)


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
