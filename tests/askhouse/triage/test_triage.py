"""Rules and head together: what rules raise stands, what the head adds, and how it is named."""

from __future__ import annotations

import pytest

from askhouse.triage.guidance import guidance
from askhouse.triage.triage import find_alarm
from askhouse.values import Alarm, Hazard, Kind, Level

CALM = {"question": 0.98, "safety": 0.01, "lockout": 0.01}
GAS = {"gas": 0.9, "fire": 0.1}


def _alarm(
    text: str, kinds: dict[str, float] = CALM, hazards: dict[str, float] = GAS
) -> Alarm | None:
    return find_alarm([text], guidance(), [(kinds, hazards)], safety=0.5, lockout=0.5)


def test_a_rule_stands_against_a_calm_head() -> None:
    """
    What a signal is sure of, no model takes away.
    """
    alarm = _alarm("the kitchen is on fire")

    assert alarm is not None
    assert (alarm.hazard, alarm.level, alarm.probability) == (Hazard.FIRE, Level.EMERGENCY, 1.0)


@pytest.mark.parametrize(
    ("text", "calm", "raised"),
    [
        ("the kitchen is on fire", True, False),
        ("the kitchen is on fire", False, True),
        ("we are locked out", True, False),
        ("we are locked out", False, True),
        # No other word does, nor does a second one in the same message.
        ("there is a strong smell of gas", True, True),
        ("the kitchen is on fire and there is a strong smell of gas", True, True),
    ],
)
def test_only_doubtful_words_give_way_to_heads_that_are_sure(
    text: str, calm: bool, raised: bool
) -> None:
    """
    The floor stays the floor.
    """
    kinds = {"question": 1.0, "safety": 0.0, "lockout": 0.0}

    alarm = find_alarm([text], guidance(), [(kinds, GAS)], safety=0.5, lockout=0.5, calm=calm)

    assert (alarm is not None) is raised


@pytest.mark.parametrize(
    ("share", "raised"),
    # From the threshold on, and not below.
    [(0.5, True), (0.4999, False)],
)
def test_the_head_adds_alarms_from_its_threshold_on(share: float, raised: bool) -> None:
    """
    A message without a word of danger is raised by the head alone.
    """
    kinds = {"question": 1 - share, "safety": share, "lockout": 0.0}

    alarm = _alarm("the thing in the hall seems odd", kinds)

    assert (alarm is not None) is raised
    if alarm is not None:
        assert (alarm.kind, alarm.hazard, alarm.probability) == (Kind.SAFETY, Hazard.GAS, share)


def test_an_unclear_hazard_gets_the_general_words() -> None:
    """
    Where no hazard stands out the alarm is raised all the same, and urgent enough to call.
    """
    kinds = {"question": 0.1, "safety": 0.9, "lockout": 0.0}

    alarm = _alarm("it happened again", kinds, {"gas": 0.39, "fire": 0.31, "medical": 0.30})

    assert alarm is not None
    assert (alarm.hazard, alarm.level) == (Hazard.UNCLEAR, Level.EMERGENCY)


def test_a_lockout_that_reads_more_like_harm_is_harm() -> None:
    """
    "Locked out, and he is inside": the head may see what the rule of a lockout does not.
    """
    kinds = {"question": 0.0, "safety": 0.6, "lockout": 0.4}

    alarm = _alarm("we are locked out", kinds)

    assert alarm is not None
    assert alarm.kind is Kind.SAFETY


@pytest.mark.parametrize(
    ("text", "kinds", "probability"),
    [
        # The rule alone.
        ("we are locked out", CALM, 1.0),
        # The head alone.
        ("number does nothing", {"question": 0.2, "safety": 0.1, "lockout": 0.7}, 0.7),
        # Both; the rule is certain.
        ("we are locked out", {"question": 0.0, "safety": 0.1, "lockout": 0.9}, 1.0),
    ],
)
def test_lockouts_are_urgent(text: str, kinds: dict[str, float], probability: float) -> None:
    """
    A lockout goes to the host at once, without a hazard.
    """
    alarm = _alarm(text, kinds)

    assert alarm is not None
    assert (alarm.kind, alarm.hazard, alarm.level) == (Kind.LOCKOUT, None, Level.URGENT)
    assert alarm.probability == probability


def test_an_ordinary_question_raises_nothing() -> None:
    """
    Neither rule nor head: no alarm.
    """
    assert _alarm("where do the bins go?") is None
