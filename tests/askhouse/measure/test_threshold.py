"""The threshold again, on labelled messages: what counts as wrong, and what may be promised."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from askhouse.decision.calibration import Calibration
from askhouse.measure.labelled import LabelledMessage
from askhouse.measure.threshold import Surest, messages_needed, refit, surest
from askhouse.values import House
from tests.standins import WordEncoder, make_assistant, make_calibration


def labelled(text: str, *facts: str, verified: bool = True) -> LabelledMessage:
    """A message to Ferry Lodge that these facts may answer; a gap without any."""
    part = {"outcome": "answer", "facts": facts} if facts else {"outcome": "gap"}
    return LabelledMessage.model_validate(
        {
            "id": "m",
            "property": "ferry-lodge",
            "verified": verified,
            "message": text,
            "parts": [part],
        }
    )


@pytest.fixture
def calibration() -> Calibration:
    return make_calibration(WordEncoder())


def found(
    house: House, folder: Path, calibration: Calibration, *messages: LabelledMessage
) -> list[Surest]:
    return surest(make_assistant([house], folder), messages, calibration)


def test_a_message_is_as_sure_as_its_best_fact(
    small_house: House, tmp_path: Path, calibration: Calibration
) -> None:
    """
    "bins" lies on a view of the fact, cosine 1: the stand-in's chance is 1 / (1 + e⁻⁶).
    """
    (right,) = found(small_house, tmp_path, calibration, labelled("where are the bins", "bins"))

    assert right.chance == pytest.approx(1 / (1 + math.exp(-6)), abs=1e-4)
    assert not right.wrong


def test_a_gap_and_another_fact_are_wrong(
    small_house: House, tmp_path: Path, calibration: Calibration
) -> None:
    """
    Whatever a gap is answered with is wrong, and so is a fact that the label does not name.
    """
    gap, other = found(
        small_house,
        tmp_path,
        calibration,
        labelled("where are the bins"),
        labelled("can we use the boat", "stove"),
    )

    assert gap.wrong
    assert gap.chance > 0.9
    assert other.wrong


def test_an_alarm_and_a_stranger_get_no_fact(
    small_house: House, tmp_path: Path, calibration: Calibration
) -> None:
    """
    At no threshold is an alarm answered from the facts, or a stranger told the door code.
    """
    alarm, stranger = found(
        small_house,
        tmp_path,
        calibration,
        labelled("there is gas in the kitchen"),
        labelled("what is the door code", verified=False),
    )

    assert (alarm.chance, alarm.wrong) == (0.0, False)
    assert stranger.chance < 0.001


def test_one_wrong_part_makes_a_wrong_reply(
    small_house: House, tmp_path: Path, calibration: Calibration
) -> None:
    """
    Of two parts, one right and one wrong, the wrong one counts.
    """
    (both,) = found(
        small_house,
        tmp_path,
        calibration,
        labelled("where are the bins? can we use the boat?", "bins"),
    )

    assert both.wrong


@pytest.mark.parametrize(
    ("risk", "confidence", "needed"),
    [
        # (1 - p)ⁿ = 0.05: 0.97⁹⁸ = 0.0505, 0.97⁹⁹ = 0.0490
        (0.03, 0.95, 99),
        # "Fifty-nine without an error": 0.95⁵⁸ = 0.0510, 0.95⁵⁹ = 0.0485
        (0.05, 0.95, 59),
        (0.5, 0.5, 1),
    ],
)
def test_the_fewest_messages(risk: float, confidence: float, needed: int) -> None:
    """
    With one message less, not even a set without an error keeps the promise.
    """
    assert messages_needed(risk, confidence) == needed

    right = [Surest(0.9, wrong=False)]
    enough = refit(right * needed, 1, risk=risk, confidence=confidence)
    short = refit(right * (needed - 1), 1, risk=risk, confidence=confidence)

    assert enough.kept
    assert enough.bound <= risk
    assert not short.kept
    assert short.needed == needed


def test_the_lowest_threshold_that_keeps_the_risk() -> None:
    """
    Of 200 messages, 5 are wrong, at 0.7; the bound for 1 of 200 is 2.35 %, for 5 of 200 5.2 %.

    So the threshold is just above 0.7, and one error at 0.8 is allowed.
    """
    right = [Surest(0.9, wrong=False)] * 194
    wrong = [Surest(0.805, wrong=True), *[Surest(0.705, wrong=True)] * 5]

    chosen = refit([*right, *wrong], 3, risk=0.03, confidence=0.95)

    assert chosen.threshold == pytest.approx(0.71)
    assert (chosen.errors, chosen.answered, chosen.houses) == (1, 195, 3)
    assert chosen.bound == pytest.approx(0.0235, abs=5e-5)


def test_sure_errors_keep_no_promise() -> None:
    """
    Where the surest replies are wrong there is no threshold, however many messages there are.
    """
    chosen = refit([Surest(0.999, wrong=True)] * 500, 2, risk=0.03, confidence=0.95)

    assert not chosen.kept
    assert (chosen.answered, chosen.errors) == (0, 0)


def test_no_messages_keep_no_promise() -> None:
    """
    An empty set promises nothing, and nothing is divided by zero.
    """
    assert not refit([], 0, risk=0.03, confidence=0.95).kept
