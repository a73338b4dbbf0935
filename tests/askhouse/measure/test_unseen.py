"""The houses that no model has seen, on whose messages the shipped threshold is chosen."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from askhouse.knowledge.load import load_houses
from askhouse.measure.labelled import LabelledMessage, read_messages
from askhouse.training.corpus import read_corpus
from askhouse.values import House, Kind, Outcome
from tests.nearness import nearly_the_same

ROOT = Path(__file__).parents[3]
SET = ROOT / "knowledge" / "unseen"
# Per cent of equal letters. Higher than for the other sets: "is there a kettle?" is what
# every other guest writes, and is no leak.
SAME = 92


@pytest.fixture(scope="module")
def messages() -> tuple[LabelledMessage, ...]:
    return read_messages(SET)


@pytest.fixture(scope="module")
def houses() -> dict[str, House]:
    return dict(load_houses(SET / "properties").houses)


def test_the_counts_are_those_of_its_readme(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    Sixteen houses with their messages, and parts of every outcome and kind.
    """
    assert len(houses) == 16
    assert sum(len(house.facts) for house in houses.values()) == 1120
    assert {message.house for message in messages} == houses.keys()
    assert len(messages) == len({message.id for message in messages}) == 2485
    parts = Counter(part.kind or part.outcome for m in messages for part in m.parts)
    assert parts == {
        Outcome.ANSWER: 1684,
        Outcome.GAP: 528,
        Outcome.CHAT: 78,
        Kind.SAFETY: 144,
        Kind.LOCKOUT: 96,
        Kind.DAMAGE: 97,
        Kind.REQUEST: 103,
        Kind.COMPLAINT: 44,
    }


def test_every_label_names_what_is_there(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    An answer names facts of its house; no other part does.
    """
    for message in messages:
        assert message.allowed <= {fact.id for fact in houses[message.house].facts}, message.id
        for part in message.parts:
            assert bool(part.facts) == (part.outcome is Outcome.ANSWER), message.id
            assert (part.kind is not None) == (part.outcome is Outcome.ESCALATE), message.id


def test_nothing_of_it_is_in_the_corpus(
    messages: tuple[LabelledMessage, ...], houses: dict[str, House]
) -> None:
    """
    No message of the set is a near-duplicate of one that the models learn from, and no house is.
    """
    corpus = read_corpus(ROOT / "knowledge" / "corpus")
    learned = sorted(
        {line.text.lower() for line in (*corpus.lines, *corpus.borrowed)}
        | {entry.text.lower() for entry in corpus.triage}
    )
    measured = [message.message.lower() for message in messages]
    assert corpus.houses.keys().isdisjoint(houses)
    assert not nearly_the_same(learned, measured, SAME)
