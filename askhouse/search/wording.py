"""Words matter too: BM25 over a house's own words, with misspellings forgiven.

A word that neither the house nor the language model's vocabulary knows is
taken for the nearest word of the house ("recyling" -> "recycling"). A word
that is known stays as it is: "coat" must not become "cot".
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from math import log1p

import bm25s
import numpy as np
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import DamerauLevenshtein

from askhouse.words import WORD, stems, words

__all__ = ["NEAR", "Wording"]

NEAR = 0.79  # one slip in five letters; measured with `python -m askhouse.measure.ablation`
_SHORTEST_TO_MEND = 4


class Wording:
    """BM25 over texts that belong to facts.

    Args:
        texts: One text a fact, all its views joined.
        known: Words of the language in general, which are never mended.
        near: A word is mended from this likeness on, 0 to 1.
    """

    def __init__(
        self, texts: Sequence[str], known: Collection[str] = frozenset(), near: float = NEAR
    ) -> None:
        rows = [stems(text) for text in texts]
        self._vocabulary = sorted(
            {word for text in texts for word in words(text) if len(word) >= _SHORTEST_TO_MEND}
        )
        self._own = frozenset(self._vocabulary)
        self._known = known
        self._near = near
        self._size = len(rows)
        holders: dict[str, list[int]] = {}
        for place, row in enumerate(rows):
            for stem in set(row):
                holders.setdefault(stem, []).append(place)
        self._holders = {stem: np.array(places) for stem, places in holders.items()}
        self._bm25 = bm25s.BM25(k1=1.2, b=0.75, method="lucene")
        if self._holders:
            self._bm25.index(rows, show_progress=False)

    def mend(self, text: str) -> str:
        """The text with each misspelled word replaced by the house's nearest word."""
        return WORD.sub(lambda found: self._mend_word(found[0]), text)

    def _mend_word(self, word: str) -> str:
        lower = word.lower()
        if len(word) < _SHORTEST_TO_MEND or lower in self._known or lower in self._own:
            return word
        # A number is never a slip: error code F0028 must not become the house's F0029.
        if any(character.isdigit() for character in word):
            return word
        near = process.extractOne(
            lower,
            self._vocabulary,
            scorer=DamerauLevenshtein.normalized_similarity,
            score_cutoff=self._near,
        )
        return near[0] if near else word

    def covered(self, text: str) -> NDArray[np.float32]:
        """Share of the text's topical stems that each fact holds, `(facts,) float32`, 0 to 1.

        A stem counts by its rarity in the house, log(1 + n / (1 + facts that hold it)),
        so that a word no fact holds counts most: it is what the guest is after.
        """
        held, total = np.zeros(self._size), 0.0
        for stem in dict.fromkeys(stems(text)):
            places = self._holders.get(stem, ())
            rarity = log1p(self._size / (1 + len(places)))
            total += rarity
            if len(places):
                held[places] += rarity
        return (held / total if total else held).astype(np.float32)

    def scores(self, text: str) -> NDArray[np.float32]:
        """BM25 of the text against every fact, `(facts,) float32`, 0 or more."""
        asked = [stem for stem in dict.fromkeys(stems(text)) if stem in self._holders]
        if not asked:
            return np.zeros(self._size, dtype=np.float32)
        scores: NDArray[np.float32] = self._bm25.get_scores(asked)
        return scores.astype(np.float32)
