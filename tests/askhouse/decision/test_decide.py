"""Decisions from probabilities given by hand."""

from __future__ import annotations

import pytest

from askhouse.decision.decide import decide
from askhouse.values import Decision, Kind, Level, Outcome
from tests.factories import make_fact, make_hit, make_part
from tests.standins import WordEncoder, make_calibration


@pytest.mark.parametrize(
    ("kinds", "outcome"),
    [
        ({"chat": 0.8, "question": 0.1}, Outcome.CHAT),
        ({"chat": 0.22, "question": 0.2, "safety": 0.21}, Outcome.GAP),
        ({"chat": 0.2, "question": 0.5}, Outcome.GAP),
        ({"chat": 0.3, "damage": 0.4}, Outcome.ESCALATE),
        ({"chat": 0.3, "damage": 0.2, "complaint": 0.15}, Outcome.ESCALATE),
        ({"chat": 0.4, "damage": 0.35, "question": 0.2}, Outcome.GAP),
        ({"question": 0.4, "damage": 0.3, "request": 0.2}, Outcome.ESCALATE),
        ({"question": 0.5, "damage": 0.2, "request": 0.2}, Outcome.GAP),
    ],
)
def test_only_what_surely_wants_nothing_is_left_alone(
    kinds: dict[str, float], outcome: Outcome
) -> None:
    """
    A part that is most like chat, but little like anything, is passed on to the host;
    damage, request and complaint count together, since they end alike.
    """
    calibration = make_calibration(WordEncoder())
    decision = decide(make_part("the stove"), (), kinds, None, calibration, verified=True)
    assert decision.outcome is outcome


def test_what_is_not_surely_read_is_not_left_alone() -> None:
    """
    However like chat a part is, where its language is in doubt the host looks at it.
    """
    calibration = make_calibration(WordEncoder())
    decision = decide(
        make_part("nema vode"),
        (),
        {"chat": 0.99},
        None,
        calibration,
        verified=True,
        may_be_chat=False,
    )
    assert decision.outcome is Outcome.GAP


@pytest.mark.parametrize(
    ("named", "topic"),
    [
        ({"iron": "Iron and ironing board"}, "iron"),
        ({"iron": "Iron and ironing board", "sauna": "Sauna"}, None),
        ({}, None),
    ],
)
def test_a_gap_is_of_the_one_topic_that_is_named(named: dict[str, str], topic: str | None) -> None:
    """
    The host reads by name what is not written down, unless several topics are named.
    """
    calibration = make_calibration(WordEncoder())
    part, kinds = make_part("is there an iron"), {"question": 0.9}
    decision = decide(part, (), kinds, None, calibration, verified=True, named=named)

    assert decision.topic == topic
    assert ("Iron and ironing board" in decision.reason) is (topic is not None)


def _of_a_stranger(text: str) -> Decision:
    code = make_hit(make_fact("door-code", "The door code is 4826.", sensitive=True), chance=0.9)
    calibration = make_calibration(WordEncoder())
    kinds = {"request": 0.8}
    return decide(make_part(text), (code,), kinds, None, calibration, verified=False)


@pytest.mark.parametrize(
    "text",
    [
        "We're standing at the front door, could you send me the code please?",
        "Estamos delante de la casa, ¿nos manda el código?",
        "Nous sommes devant la maison, quel est le code ?",
        "Wir stehen vor der Haustür, wie ist der Code?",
        "Siamo davanti a casa, qual è il codice?",
        "We staan voor het huis, wat is de code?",
        "Estamos em frente à casa, qual é o código?",
    ],
)
def test_a_stranger_at_the_door_raises_a_lockout(text: str) -> None:
    """
    Whoever stands outside without the code wakes the host as any lockout does.
    """
    decision = _of_a_stranger(text)

    assert (decision.kind, decision.stranger) == (Kind.LOCKOUT, True)
    assert decision.alarm is not None
    assert (decision.alarm.kind, decision.alarm.level) == (Kind.LOCKOUT, Level.URGENT)


def test_a_stranger_elsewhere_raises_no_alarm() -> None:
    """
    A code asked for days ahead wakes nobody.
    """
    decision = _of_a_stranger("what will the door code be on Friday")

    assert (decision.kind, decision.alarm) == (Kind.REQUEST, None)
