"""Vectors and words together: the order of the hits, worked out by hand."""

from __future__ import annotations

import datetime as dt
from math import sqrt

import numpy as np
import pytest

from askhouse.search.search import WORDING_HALF, WORDING_SHARE, HouseSearch, fuse
from askhouse.search.store import VectorStore
from askhouse.values import Hit, House
from tests.factories import make_fact, make_house
from tests.standins import LengthReader, ReadingEncoder, WordEncoder

ENCODER = WordEncoder()


def search(house: House) -> HouseSearch:
    return HouseSearch(house, VectorStore(None, ENCODER))


def hits(house: House, text: str, *, day: dt.date | None = None, most: int = 10) -> tuple[Hit, ...]:
    (encoded,) = ENCODER.encode_words([text])
    return search(house).hits(text, encoded, day=day, most=most)


def found(house: House, text: str, day: dt.date | None = None) -> list[str]:
    return [hit.fact.id for hit in hits(house, text, day=day)]


def fused(whole: float, nearest: float, wording: float) -> float:
    def one(number: float) -> np.ndarray:
        return np.array([number], dtype=np.float32)

    return float(fuse(one(whole), one(nearest), one(wording))[0])


def test_the_fused_score_is_mean_cosine_and_bounded_words() -> None:
    """
    (0.5 + 0.7) / 2 + share · 4 / (4 + half): worked out once for the numbers as they stand.
    """
    assert fused(0.5, 0.7, 0.0) == pytest.approx(0.6)
    assert fused(0.5, 0.7, WORDING_HALF) == pytest.approx(0.6 + WORDING_SHARE / 2)
    assert fused(-1.0, -1.0, 0.0) == pytest.approx(-1.0)


def test_words_alone_never_beat_meaning_by_more_than_their_share() -> None:
    """
    BM25 has no upper bound, but what it adds has one.
    """
    assert fused(0.5, 0.5, 1e6) == pytest.approx(0.5 + WORDING_SHARE, abs=1e-4)


def test_the_order_follows_the_fused_score() -> None:
    """
    The better fused score comes first; the ranks count from one.
    """
    house = make_house(
        make_fact("a", "boat code code code", title="boat"),
        make_fact("b", "boat oars", title="boat"),
        make_fact("c", "bins", title="bins"),
    )

    ranked = hits(house, "boat")

    assert [hit.fact.id for hit in ranked] == ["b", "a", "c"]
    assert [hit.rank for hit in ranked] == [1, 2, 3]
    assert [hit.fused for hit in ranked] == sorted((hit.fused for hit in ranked), reverse=True)


def test_a_hits_numbers_are_cosines() -> None:
    """
    Of a fact "boat. boat oars" the question "boat oars oars" has these cosines.

    The question is (1, 2) / √5. The title is (1, 0): 1/√5. The text is (1, 1) / √2: 3/√10, the
    nearest. Title and text together are (2, 1) / √5: 4/5.
    """
    (hit,) = hits(make_house(make_fact("a", "boat oars", title="boat")), "boat oars oars")

    assert hit.similarity == pytest.approx(3 / sqrt(10), abs=1e-6)
    assert hit.whole == pytest.approx(4 / 5, abs=1e-6)
    assert hit.covered == pytest.approx(1.0)
    assert hit.fused == pytest.approx(fused(hit.whole, hit.similarity, hit.wording), abs=1e-6)
    assert (hit.answers, hit.chance) == (None, None)


def test_the_reader_reads_each_hit_with_its_own_words() -> None:
    """
    Each hit has the reader's estimate for its own fact: a first view of n words has n / (n + 1).

    The first views are "boat. boat boat oars", "boat. boat" and "bins. bins": 4, 2 and 2 words.
    """
    encoder = ReadingEncoder()
    house = make_house(
        make_fact("bins", "bins", title="bins"),
        make_fact("short", "boat", title="boat"),
        make_fact("long", "boat boat oars", title="boat"),
    )
    reader = LengthReader()
    searched = HouseSearch(house, VectorStore(None, encoder), reader=reader)  # type: ignore[arg-type]
    (encoded,) = encoder.encode_words(["boat"])

    ranked = searched.hits("boat", encoded)

    assert {hit.fact.id: hit.answers for hit in ranked} == pytest.approx(
        {"long": 4 / 5, "short": 2 / 3, "bins": 2 / 3}
    )
    assert ranked[0].fact.id == "short"


def test_equal_facts_keep_the_order_of_the_files() -> None:
    """
    Where nothing tells two facts apart, the one written first comes first, every time.
    """
    house = make_house(*(make_fact(name, "boat", title="boat") for name in "dbac"))

    assert found(house, "boat") == ["d", "b", "a", "c"]


def test_at_most_as_many_as_wanted() -> None:
    """
    `most` cuts the list behind the best.
    """
    house = make_house(*(make_fact(name, f"boat {name}", title="boat") for name in "abcdef"))

    assert [hit.rank for hit in hits(house, "boat", most=2)] == [1, 2]


def test_the_small_house_is_found_by_its_own_asks(small_house: House) -> None:
    """
    Each way of asking that the host wrote finds its own fact first, with a cosine of one.
    """
    for fact in small_house.facts:
        for ask in fact.asks:
            best = hits(small_house, ask)[0]
            assert best.fact.id == fact.id, ask
            assert best.similarity == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize(
    ("day", "there"),
    [
        # The boat's season is from 1 May to 30 September, both included.
        (dt.date(2026, 4, 30), False),
        (dt.date(2026, 5, 1), True),
        (dt.date(2026, 9, 30), True),
        (dt.date(2026, 10, 1), False),
        (dt.date(2031, 7, 14), True),
        # Without a day nothing is left out.
        (None, True),
    ],
)
def test_a_fact_out_of_season_is_not_found(
    small_house: House, day: dt.date | None, there: bool
) -> None:
    """
    A fact that does not hold on the day is no hit at all, and the ranks close up.
    """
    ranked = hits(small_house, "can we use the boat", day=day)

    assert ("boat" in [hit.fact.id for hit in ranked]) is there
    assert [hit.rank for hit in ranked] == list(range(1, len(ranked) + 1))


def test_a_house_without_facts_has_no_hits() -> None:
    """
    An empty house answers nothing, without an error.
    """
    assert hits(make_house(), "where are the bins") == ()


def test_slips_are_mended_with_the_houses_words(small_house: House) -> None:
    """
    The search mends with the words of all facts, and never with a secret.
    """
    searched = search(small_house)

    assert searched.mend("when is recyling") == "when is recycling"
    assert searched.mend("heron-lantrn") == "heron-lantrn"
