"""A draft: each sentence tied to the fact it is copied from."""

from __future__ import annotations

from dataclasses import replace

from askhouse.answer.compose import cite
from askhouse.values import ReplyPart
from service.console.draft import tied
from service.console.words import sure
from tests.factories import make_answer, make_fact, make_part

BINS = make_fact("bins", "The bins are there. They go out on Tuesday.")
BOAT = make_fact("boat", "The boat is at the jetty.", cautions=("Wear a life jacket.",))


def part(text: str, *facts: object) -> ReplyPart:
    return ReplyPart(
        part=make_part(),
        decision=make_answer(list(facts)),  # type: ignore[arg-type]
        text=text,
        citations=tuple(cite(fact) for fact in facts),  # type: ignore[arg-type]
    )


def test_sentences_belong_to_their_facts() -> None:
    """
    Two facts in one answer: each sentence, and a caution, has its own; a joint has none.
    """
    said = (
        "Here is what I know.\nThe bins are there. They go out on Tuesday.\n"
        "The boat is at the jetty.\nCareful: Wear a life jacket."
    )

    assert [fact for _, fact in tied(part(said, BINS, BOAT))] == [
        None,
        "bins",
        "bins",
        "boat",
        "boat",
    ]


def test_a_fact_that_may_not_be_told_is_not_named() -> None:
    """
    A fact that was decided on but not cited, since the guest may not know it, ties nothing.
    """
    hidden = replace(part(BINS.text, BINS), citations=())

    assert {fact for _, fact in tied(hidden)} == {None}


def test_how_sure() -> None:
    """
    The words follow the number, and no answer is ever called certain.
    """
    assert [sure(p).words for p in (0.95, 0.94, 0.7, 0.5, 0.49)] == [
        "Very sure",
        "Sure",
        "Fairly sure",
        "Not so sure",
        "A guess",
    ]
    assert sure(0.9999).hundred == 99
