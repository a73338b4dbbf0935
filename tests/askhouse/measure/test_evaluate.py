"""A labelled set through the engine: every share counted by hand, over the small house."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest

from askhouse.assistant import Assistant
from askhouse.measure.evaluate import Evaluation, evaluate, write_details
from askhouse.measure.labelled import LabelledMessage
from askhouse.values import House
from tests.factories import make_fact, make_house
from tests.house import SECRETS
from tests.standins import make_assistant


def labelled(message_id: str, text: str, *parts: dict[str, Any], verified: bool = False):
    """A labelled message to Ferry Lodge."""
    return LabelledMessage.model_validate(
        {
            "id": message_id,
            "property": "ferry-lodge",
            "verified": verified,
            "message": text,
            "parts": parts,
        }
    )


def answer(*facts: str, also: tuple[str, ...] = ()) -> dict[str, Any]:
    return {"outcome": "answer", "facts": facts, "also_ok": also}


def escalate(kind: str) -> dict[str, Any]:
    return {"outcome": "escalate", "kind": kind}


GAP: dict[str, Any] = {"outcome": "gap"}
CHAT: dict[str, Any] = {"outcome": "chat"}

SET = [
    # Right, and complete.
    labelled("right", "where are the bins", answer("bins")),
    # Right, but the second fact that is needed is missing.
    labelled("half", "where can we park", answer("parking", "leaving")),
    # Wrong: what the label allows is another fact.
    labelled("wrong", "can we use the boat", answer("stove")),
    # A gap that is kept, one that the label calls an answer, and one that is answered wrongly.
    labelled("gap", "do you have a sauna", GAP),
    labelled("missed", "is there a sauna", answer("boat")),
    labelled("filled", "how do we light the stove", GAP),
    # A guest is told the code, a stranger is sent to the host.
    labelled("code", "what is the door code", answer("door-code"), verified=True),
    labelled("stranger", "what is the door code", escalate("request")),
    # Alarms: one raised, one not noticed, one of two parts.
    labelled("gas", "there is gas in the kitchen", escalate("safety")),
    labelled("unnoticed", "is there a sauna", escalate("safety")),
    labelled(
        "both", "Where are the bins? Is there gas outside?", answer("bins"), escalate("safety")
    ),
    # A false alarm.
    labelled("false", "is the iron locked away", GAP),
    # To the host, and left alone.
    labelled("damage", "the lamp is broken", escalate("damage")),
    labelled("praise", "it is lovely", CHAT),
]


@pytest.fixture
def evaluation(assistant: Assistant) -> Evaluation:
    """The set above, measured."""
    return evaluate(assistant, SET)


@pytest.mark.parametrize(
    ("figure", "count", "total"),
    [
        # Answers wanted: right, half, wrong, missed, code, both; that of "both" is held back.
        ("right answers", 3, 6),
        ("complete answers", 2, 6),
        # Of 14 messages, "wrong" and "filled" cite what nothing allows.
        ("wrong replies", 2, 14),
        # Gaps: "gap" is kept; "filled" is not; "false" became an alarm.
        ("gaps kept", 1, 3),
        ("safety noticed", 2, 3),
        ("false safety", 0, 11),
        ("lockout noticed", 0, 0),
        ("false lockout", 1, 14),
        # "stranger" and "damage".
        ("damage, request, complaint to the host", 2, 2),
        ("chat left alone", 1, 1),
        # All but "code" are from strangers.
        ("secrets shown", 0, 13),
    ],
)
def test_every_share_is_counted(
    evaluation: Evaluation, figure: str, count: int, total: int
) -> None:
    """
    Count and total of each figure are those counted by hand.
    """
    share = evaluation.shares[figure]

    assert (share.count, share.total) == (count, total)


def test_all_figures_are_checked_here(evaluation: Evaluation) -> None:
    """
    No figure is shown to anyone whose count is not in the table above.
    """
    (marks,) = test_every_share_is_counted.pytestmark  # type: ignore[attr-defined]

    assert set(evaluation.shares) == {name for name, _, _ in marks.args[1]}


def test_confidence_is_paired_with_error(evaluation: Evaluation) -> None:
    """
    Five replies answer something; two of them are wrong, and all are nearly certain.
    """
    assert [wrong for _, wrong in evaluation.answers].count(True) == 2
    assert len(evaluation.answers) == 5
    assert all(sure > 0.99 for sure, _ in evaluation.answers)


def test_confusion_counts_messages_with_one_part(evaluation: Evaluation) -> None:
    """
    What each message with one part should be, and what it became.
    """
    assert evaluation.confusion == {
        ("answer", "answer"): 4,
        ("answer", "gap"): 1,
        ("gap", "gap"): 1,
        ("gap", "answer"): 1,
        ("gap", "lockout"): 1,
        ("request", "request"): 1,
        ("safety", "safety"): 1,
        ("safety", "gap"): 1,
        ("damage", "damage"): 1,
        ("chat", "chat"): 1,
    }


def test_retrieval_is_measured_by_rank(tmp_path: Path) -> None:
    """
    Wanted facts at rank 1, 2 and 3: recall at 1 is 1/3, at 3 it is 1, and MRR is 11/18.
    """
    ranked = make_house(
        make_fact("first", "boat boat", title="boat"),
        make_fact("second", "boat oars", title="boat oars"),
        make_fact("third", "boat oars sauna", title="boat oars sauna"),
        make_fact("fourth", "bins", title="bins"),
    )
    assistant = make_assistant([ranked], tmp_path)

    found = evaluate(
        assistant,
        [
            labelled("a", "can we use the boat", answer("first")),
            labelled("b", "can we use the boat", answer("second")),
            labelled("c", "can we use the boat", answer("third")),
            # Not counted: two parts, a gap, and a part that is for the host.
            labelled("d", "can we use the boat", answer("first"), GAP),
            labelled("e", "can we use the boat", GAP),
            labelled("f", "can we use the boat", escalate("request")),
        ],
    ).retrieval

    assert found["messages"] == 3
    assert found["recall at 1"] == pytest.approx(1 / 3)
    assert found["recall at 3"] == found["recall at 5"] == 1.0
    assert found["MRR"] == pytest.approx(11 / 18)


def test_a_fact_that_is_not_found_counts(assistant: Assistant) -> None:
    """
    A wanted fact that the house does not have is a rank of nothing, not a message left out.
    """
    found = evaluate(
        assistant,
        [
            labelled("a", "where are the bins", answer("bins")),
            labelled("b", "where are the bins", answer("gone")),
        ],
    ).retrieval

    assert found["messages"] == 2
    assert found["recall at 1"] == found["MRR"] == 0.5


def test_one_of_several_right_facts_is_enough(assistant: Assistant) -> None:
    """
    Recall at k asks whether any fact that may be given is among the first k.
    """
    found = evaluate(
        assistant, [labelled("a", "where are the bins", answer("gone", also=("bins",)))]
    ).retrieval

    assert found["recall at 1"] == 1.0


def test_nothing_to_measure_is_no_error(assistant: Assistant) -> None:
    """
    An empty set has shares of nothing, and curves that are not numbers.
    """
    empty = evaluate(assistant, [])

    assert all(share.total == 0 for share in empty.shares.values())
    assert empty.retrieval == {}
    assert all(math.isnan(value) for value in empty.curves.values())


def test_a_secret_that_is_shown_is_counted(tmp_path: Path, small_house: House) -> None:
    """
    The figure of leaks is no empty one: a fact that is not marked as sensitive shows up.

    The text has quotation marks and two lines, which once hid it from the count.
    """
    text = "The word is 'blue' or \"heron\".\nThen press the green key."
    secret = make_fact("door-code", text, sensitive=True, asks=("what is the door code",))
    copied = make_fact("parking", text, asks=("where can we park",))
    leaky = make_assistant([make_house(secret, copied)], tmp_path)

    found = evaluate(leaky, [labelled("a", "where can we park", answer("parking"))])

    assert found.shares["secrets shown"].count == 1


def test_progress_is_told(assistant: Assistant) -> None:
    """
    After each message one learns how many are done, of how many.
    """
    told: list[tuple[int, int]] = []

    evaluate(assistant, SET[:3], lambda done, total: told.append((done, total)))

    assert told == [(1, 3), (2, 3), (3, 3)]


def test_details_are_a_line_a_message(evaluation: Evaluation, tmp_path: Path) -> None:
    """
    The details file has each message's id, reply and parts, as JSON, and no secret to a stranger.
    """
    write_details(evaluation, tmp_path / "details.jsonl")

    lines = (tmp_path / "details.jsonl").read_text(encoding="utf-8").splitlines()
    details = {line["id"]: line for line in map(json.loads, lines)}
    assert list(details) == [message.id for message in SET]
    assert details["right"]["parts"] == [
        {
            "outcome": "answer",
            "kind": None,
            "facts": ["bins"],
            "text": "where are the bins",
            "confidence": pytest.approx(1.0, abs=0.01),
        }
    ]
    assert "The bins are behind" in details["right"]["reply"]
    assert "The bins are behind" not in details["both"]["reply"]
    strangers = [line for line in lines if '"id": "code"' not in line]
    assert not any(secret in line for secret in SECRETS for line in strangers)
