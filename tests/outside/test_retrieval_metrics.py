"""Retrieval figures of `askhouse.measure.evaluate`, against published examples and `ranx`."""

from __future__ import annotations

import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numba.core.config
import pytest

from askhouse.assistant import Assistant
from askhouse.measure.evaluate import evaluate
from askhouse.measure.labelled import LabelledMessage
from askhouse.values import House
from tests.factories import make_fact, make_house, make_message
from tests.standins import make_assistant


@pytest.fixture
def ranx() -> Iterator[ModuleType]:
    """`ranx`, read as plain Python: compiling it takes half a minute, for seven messages."""
    before, numba.core.config.DISABLE_JIT = numba.core.config.DISABLE_JIT, 1
    try:
        yield importlib.import_module("ranx")
    finally:
        numba.core.config.DISABLE_JIT = before


PLACES = ("first", "second", "third", "fourth", "fifth", "sixth")
QUESTION = "can we use the boat"


@pytest.fixture
def ranked(tmp_path: Path) -> Assistant:
    """A house whose six facts come in the order of their names, for one question.

    The n-th fact says "boat" beside n - 1 other known words, so its cosine is 1/√n.
    """
    more = ["oars", "sauna", "iron", "logs", "levers"]
    facts = [
        make_fact(place, " ".join(["boat", *more[:n]]), title=" ".join(["boat", *more[:n]]))
        for n, place in enumerate(PLACES)
    ]
    assistant = make_assistant([make_house(*facts)], tmp_path)
    hits = assistant.hits(make_message(QUESTION), "ferry-lodge", most=6)
    assert [hit.fact.id for hit in hits] == list(PLACES)
    return assistant


def labelled(message_id: str, text: str, *facts: str) -> LabelledMessage:
    return LabelledMessage.model_validate(
        {
            "id": message_id,
            "property": "ferry-lodge",
            "verified": False,
            "message": text,
            "parts": [{"outcome": "answer", "facts": facts}],
        }
    )


def test_the_worked_example_of_voorhees(ranked: Assistant) -> None:
    """
    Right answers at ranks 3, 2 and 1 have the mean reciprocal rank (1/3 + 1/2 + 1) / 3 = 11/18.

    E. M. Voorhees, "The TREC-8 question answering track report", 1999; the example as on
    en.wikipedia.org/wiki/Mean_reciprocal_rank.
    """
    found = evaluate(
        ranked, [labelled(str(n), QUESTION, PLACES[rank - 1]) for n, rank in enumerate((3, 2, 1))]
    ).retrieval

    assert found["MRR"] == pytest.approx(11 / 18)


def test_no_hit_counts_as_nothing(ranked: Assistant) -> None:
    """
    A wanted fact that is nowhere adds 0 to the sum and 1 to the count.
    """
    found = evaluate(
        ranked, [labelled("a", QUESTION, "first"), labelled("b", QUESTION, "nowhere")]
    ).retrieval

    assert (found["MRR"], found["recall at 5"]) == (0.5, 0.5)


def test_the_first_of_several_counts(ranked: Assistant) -> None:
    """
    Wanted facts at ranks 2 and 5 have the reciprocal rank 1/2, and are found from 3 on.
    """
    found = evaluate(ranked, [labelled("a", QUESTION, "fifth", "second")]).retrieval

    assert found["MRR"] == 0.5
    assert (found["recall at 1"], found["recall at 3"]) == (0.0, 1.0)


def test_figures_are_ranxs(ranx: ModuleType, small_house: House, tmp_path: Path) -> None:
    """
    Hit rate at 1, 3, 5 and MRR as a second implementation counts them from the same hits.

    E. Bassani, "ranx: a blazing-fast Python library for ranking evaluation", ECIR 2022.
    """
    small = make_assistant([small_house], tmp_path)
    questions = [
        ("where are the bins", ("bins",)),
        ("bins, boat and stove", ("stove",)),
        ("the code of the boat door", ("boat", "door-code")),
        ("is there a sauna", ("parking",)),
        ("heating and checkout and a boat", ("leaving",)),
        ("where can we park", ("bins",)),
        ("password for the stove", ("gone",)),
    ]
    messages = [labelled(f"m{n}", text, *facts) for n, (text, facts) in enumerate(questions)]
    run = {
        message.id: {
            hit.fact.id: 1 / hit.rank
            for hit in small.hits(make_message(message.message), "ferry-lodge", most=20)
        }
        for message in messages
    }
    wanted = {message.id: dict.fromkeys(message.allowed, 1) for message in messages}

    theirs = ranx.evaluate(
        ranx.Qrels(wanted), ranx.Run(run), ["hit_rate@1", "hit_rate@3", "hit_rate@5", "mrr"]
    )
    ours = evaluate(small, messages).retrieval

    assert 0 < ours["recall at 1"] < ours["recall at 5"] < 1
    for name, same in (
        ("recall at 1", "hit_rate@1"),
        ("recall at 3", "hit_rate@3"),
        ("recall at 5", "hit_rate@5"),
        ("MRR", "mrr"),
    ):
        assert ours[name] == pytest.approx(theirs[same], abs=1e-9), name
