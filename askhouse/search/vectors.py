"""FAISS: exact inner product of unit vectors, many views leading to one fact."""

from __future__ import annotations

from collections.abc import Sequence

import faiss
import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Vectors

__all__ = ["ViewIndex"]


class ViewIndex:
    """All views of a house's facts.

    Args:
        vectors: Unit vectors of the views, `(views, size) float32`.
        owners: For each view, the place of its fact among the house's facts.
        facts: How many facts the house has.
    """

    def __init__(self, vectors: Vectors, owners: Sequence[int], facts: int) -> None:
        self._index = faiss.IndexFlatIP(vectors.shape[1])
        if len(vectors):
            self._index.add(np.ascontiguousarray(vectors))
        self._owners = np.asarray(owners, dtype=np.int64)
        self._facts = facts

    def similarities(self, vector: Vectors) -> NDArray[np.float32]:
        """Cosine of a part `(size,)` and each fact's nearest view, `(facts,) float32`, -1 to 1."""
        nearest = np.full(self._facts, -1.0, dtype=np.float32)
        if len(self._owners) == 0:
            return nearest
        scores, places = self._index.search(vector[None, :], len(self._owners))
        np.maximum.at(nearest, self._owners[places[0]], scores[0])
        return nearest
