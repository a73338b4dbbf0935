"""What counts as one slip: the distance behind `askhouse.search.wording`'s mending.

F. J. Damerau, "A technique for computer detection and correction of spelling errors",
Communications of the ACM 7, 1964, 171-176: four in five misspellings are one letter wrong, missing,
too many, or two neighbours swapped.
"""

from __future__ import annotations

import pytest
from rapidfuzz.distance import DamerauLevenshtein, Levenshtein

from askhouse.search.wording import Wording


@pytest.mark.parametrize(
    ("first", "second", "distance"),
    [
        # en.wikipedia.org/wiki/Levenshtein_distance
        *(("kitten", "sitting", 3), ("saturday", "sunday", 3), ("uninformed", "uniformed", 1)),
        # en.wikipedia.org/wiki/Damerau-Levenshtein_distance: with a swap that may be edited again;
        # where it may not ("optimal string alignment"), the distance is 3.
        ("ca", "abc", 2),
        # Damerau's four kinds of slip.
        *(("bins", "bons", 1), ("bins", "bis", 1), ("bins", "biins", 1), ("bins", "bnis", 1)),
    ],
)
def test_published_distances(first: str, second: str, distance: int) -> None:
    """
    The library that mends counts as the published examples do, in both directions.
    """
    assert DamerauLevenshtein.distance(first, second) == distance
    assert DamerauLevenshtein.distance(second, first) == distance


def test_a_swap_is_one_slip_for_mending() -> None:
    """
    "thermosatt" is one swap from "thermostat"; without swaps it would be two letters wrong.

    Of seven letters, one swap leaves 6/7 alike and is mended; two letters wrong leave 5/7 and are
    not, which shows that swaps are counted as one.
    """
    wording = Wording(["the kindlin is in the thermostat"])

    assert Levenshtein.normalized_similarity("kidnlin", "kindlin") == pytest.approx(5 / 7)
    assert DamerauLevenshtein.normalized_similarity("kidnlin", "kindlin") == pytest.approx(6 / 7)
    assert wording.mend("kidnlin") == "kindlin"
    assert wording.mend("kondlan") == "kondlan"
    assert wording.mend("thermosatt") == "thermostat"
