"""Ranks and what is counted of them."""

from __future__ import annotations

import pytest

from askhouse.measure.ablation import Ranks, rank_of
from tests.factories import make_fact, make_hit


def test_the_first_fact_that_may_be_given_counts() -> None:
    """
    Places count from 1; without such a fact the rank is 0.
    """
    hits = [make_hit(make_fact(name)) for name in ("bins", "boat", "stove")]

    assert rank_of(hits, frozenset({"stove", "boat"})) == 2
    assert rank_of(hits, frozenset({"oven"})) == 0


def test_recall_and_mean_reciprocal_rank_by_hand() -> None:
    """
    Of the ranks 1, 2, 4 and none: a quarter at 1, half at 3, (1 + 1/2 + 1/4) / 4 = 0.4375.
    """
    ranks = Ranks("by hand", (1, 2, 4, 0))

    assert [ranks.recall(most) for most in (1, 3, 5)] == [0.25, 0.5, 0.75]
    assert ranks.mrr == pytest.approx(0.4375)
