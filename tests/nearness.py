"""Whether texts that a model learns from are nearly ones that it is measured on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rapidfuzz import fuzz, process

__all__ = ["nearly_the_same"]


def nearly_the_same(
    learned: Sequence[str], measured: Sequence[str], same: int
) -> list[tuple[str, str]]:
    """The pairs of texts with at least `same` per cent of equal letters."""
    learned = list(dict.fromkeys(learned))  # a borrowed message stands at two houses
    alike = process.cdist(
        learned, measured, scorer=fuzz.ratio, score_cutoff=same, dtype=np.uint8, workers=2
    )
    return [(learned[i], measured[j]) for i, j in zip(*np.nonzero(alike), strict=True)]
