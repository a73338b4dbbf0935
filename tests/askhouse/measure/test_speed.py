"""How times are taken; what they are is not for a test to say."""

from __future__ import annotations

from collections.abc import Mapping

from askhouse.measure.speed import Timed, interleaved, many_facts
from askhouse.search.views import views_of
from askhouse.values import House


def test_contenders_take_turns() -> None:
    """
    Each question goes to everyone before the next is asked, and who begins moves on.
    """
    asked: list[str] = []
    questions = [("barn", "one"), ("barn", "two")]

    timed = interleaved(
        {name: lambda q, name=name: asked.append(f"{name} {q[1]}") for name in ("a", "b")},
        questions,
        rounds=2,
    )

    assert asked == ["b one", "a one", "a one", "b one", "b two", "a two", "a two", "b two"]
    assert {name: len(own.times_ms) for name, own in timed.items()} == {"a": 2, "b": 2}


def test_median_and_p95() -> None:
    """
    Of 1 to 21 the middle is 11, and the twentieth is not exceeded by 95 of 100.
    """
    timed = Timed("by hand", tuple(float(n) for n in range(1, 22)))

    assert (timed.p50, timed.p95) == (11.0, 20.0)


def test_no_fact_is_made_twice(demo_houses: Mapping[str, House]) -> None:
    """
    A thousand facts have a thousand texts, so that none comes from the store.
    """
    facts = many_facts(demo_houses, 1000)

    assert len({views_of(fact)[0] for fact in facts}) == 1000
