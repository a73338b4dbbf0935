"""Cosines, worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from askhouse.search.vectors import ViewIndex

EAST, NORTH = (1.0, 0.0), (0.0, 1.0)
NORTH_EAST = (0.6, 0.8)


def index(*views: tuple[tuple[float, float], int], facts: int) -> ViewIndex:
    vectors = np.array([vector for vector, _ in views], dtype=np.float32).reshape(-1, 2)
    return ViewIndex(vectors, [owner for _, owner in views], facts)


def similarities(found: ViewIndex, vector: tuple[float, float]) -> list[float]:
    return found.similarities(np.array(vector, dtype=np.float32)).tolist()


def test_the_similarity_is_the_cosine() -> None:
    """
    Of (1, 0) with itself, with (0.6, 0.8), with (0, 1) and with (-1, 0): 1, 0.6, 0 and -1.
    """
    found = index((EAST, 0), (NORTH_EAST, 1), (NORTH, 2), ((-1.0, 0.0), 3), facts=4)

    assert similarities(found, EAST) == pytest.approx([1.0, 0.6, 0.0, -1.0])


def test_a_fact_is_as_near_as_its_nearest_view() -> None:
    """
    Many views lead to one fact, and the nearest counts, whichever is listed first.
    """
    found = index((NORTH, 0), (NORTH_EAST, 0), (NORTH, 1), (NORTH_EAST, 0), facts=2)

    assert similarities(found, EAST) == pytest.approx([0.6, 0.0])
    assert similarities(found, NORTH) == pytest.approx([1.0, 1.0])


def test_every_fact_is_compared() -> None:
    """
    Nothing is left out, however many facts there are: the search is exact.
    """
    angles = np.linspace(0, np.pi, 500)
    views = [((float(np.cos(a)), float(np.sin(a))), n) for n, a in enumerate(angles)]

    assert similarities(index(*views, facts=500), EAST) == pytest.approx(
        np.cos(angles).tolist(), abs=1e-6
    )


def test_a_house_without_facts_has_no_similarities() -> None:
    """
    An empty index is searched without an error.
    """
    assert similarities(index(facts=0), EAST) == []
