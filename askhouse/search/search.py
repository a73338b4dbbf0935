"""Vectors, words and forgiveness together: a part in, hits out, best first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Encoded
from askhouse.search.reader import Reader
from askhouse.search.store import VectorStore
from askhouse.search.vectors import ViewIndex
from askhouse.search.views import views_of
from askhouse.search.wording import Wording
from askhouse.values import Hit, House

__all__ = ["HouseSearch", "fuse"]

# The share that words may add to a cosine. BM25 has no upper bound, so it is
# bent towards one first. Chosen on the corpus, never on an evaluation set:
# `python -m askhouse.measure.ablation` shows recall for other values.
WORDING_SHARE = 0.2
WORDING_HALF = 4.0


def fuse(
    whole: NDArray[np.float32], nearest: NDArray[np.float32], wording: NDArray[np.float32]
) -> NDArray[np.float32]:
    """The order of the hits: mean of the two cosines, and a bounded share for the words.

    The whole fact's cosine is steady, the nearest view's is sharp; the mean of
    both ranks better than either.
    """
    bent = wording / (wording + WORDING_HALF)
    return ((whole + nearest) / 2 + WORDING_SHARE * bent).astype(np.float32)


class HouseSearch:
    """Search within one house. Exact: every fact is compared.

    Args:
        house: The house.
        store: Gives the vectors of its views.
        reader: Reads the nearest facts with the part; None for an encoder without one.
        known: Words of the language in general, which are never mended.
        progress: Told how many views are embedded, of how many.
    """

    def __init__(
        self,
        house: House,
        store: VectorStore,
        *,
        reader: Reader | None = None,
        known: Collection[str] = frozenset(),
        progress: Callable[[int, int], None] | None = None,
    ) -> None:
        self.house = house
        self._reader = reader
        views = [views_of(fact) for fact in house.facts]
        self._words = store.words([group[0] for group in views], progress) if reader else None
        flat = [view for group in views for view in group]
        owners = [place for place, group in enumerate(views) for _ in group]
        vectors = store.vectors(flat, progress)
        first = [owners.index(place) for place in range(len(views))]
        self._whole = vectors[first]
        self._views = ViewIndex(vectors, owners, len(views))
        self.wording = Wording([" ".join(group) for group in views], known)

    def mend(self, text: str) -> str:
        """The text with misspelled words replaced by the house's own."""
        return self.wording.mend(text)

    def hits(
        self, text: str, encoded: Encoded, *, day: dt.date | None = None, most: int = 10
    ) -> tuple[Hit, ...]:
        """The facts nearest to a part, best first.

        Args:
            text: The part's words, already mended.
            encoded: The same words, encoded.
            day: Facts out of season on that day are left out; None keeps all.
            most: How many at most.
        """
        facts = self.house.facts
        if not facts:
            return ()
        whole = self._whole @ encoded.vector
        nearest = self._views.similarities(encoded.vector)
        wording = self.wording.scores(text)
        covered = self.wording.covered(text)
        fused = fuse(whole, nearest, wording)
        order = [
            place
            for place in np.argsort(-fused, kind="stable")
            if day is None or (season := facts[place].season) is None or season.holds_on(day)
        ]
        order = order[:most]
        answers = self._read(encoded, order, whole)
        return tuple(
            Hit(
                fact=facts[place],
                similarity=float(nearest[place]),
                whole=float(whole[place]),
                wording=float(wording[place]),
                covered=float(covered[place]),
                fused=float(fused[place]),
                rank=rank,
                answers=answer,
            )
            for rank, (place, answer) in enumerate(zip(order, answers, strict=True), start=1)
        )

    def _read(
        self, encoded: Encoded, places: Sequence[int], whole: NDArray[np.float32]
    ) -> list[float | None]:
        """The reader's estimate for each of those facts; None where there is no reader."""
        if self._reader is None or self._words is None or encoded.words is None or not places:
            return [None] * len(places)
        facts = [self._words[place] for place in places]
        answers: list[float | None] = self._reader.answers(
            encoded.words, facts, whole[list(places)]
        ).tolist()
        return answers
