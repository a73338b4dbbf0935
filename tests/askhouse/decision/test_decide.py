"""Decisions from probabilities given by hand."""

from __future__ import annotations

import pytest

from askhouse.decision.decide import decide
from askhouse.values import Outcome
from tests.factories import make_part
from tests.standins import WordEncoder, make_calibration


@pytest.mark.parametrize(
    ("kinds", "outcome"),
    [
        ({"chat": 0.8, "question": 0.1}, Outcome.CHAT),
        ({"chat": 0.22, "question": 0.2, "safety": 0.21}, Outcome.GAP),
        ({"chat": 0.2, "question": 0.5}, Outcome.GAP),
        ({"chat": 0.3, "damage": 0.4}, Outcome.ESCALATE),
    ],
)
def test_only_what_surely_wants_nothing_is_left_alone(
    kinds: dict[str, float], outcome: Outcome
) -> None:
    """
    A part that is most like chat, but little like anything, is passed on to the host.
    """
    calibration = make_calibration(WordEncoder())
    decision = decide(make_part("the stove"), (), kinds, None, calibration, verified=True)
    assert decision.outcome is outcome
